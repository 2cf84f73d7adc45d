"""How far each axis of a sweep moves an answer, and whether the points can tell which moves it most."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from growth.sweep.design import Design
from growth.sweep.evaluate import MEASURES, table
from growth.sweep.store import store_of

BINS = 5  # ranges into which a sampled axis is cut where it is shown
MOST_CELLS = 64  # into which it is cut where its share is worked out
MOST_LEVELS = 12
RESAMPLES = 200
SPAN = "{low} to {high}"
SURE = 0.975  # share of the resamples in which an axis is ahead before it is said to be
Texts = Callable[[Sequence[Any]], list[str]]


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """An axis cut into a few levels: their words in order, and the level of each row of the table.

    cut: whether they are ranges into which the values of a sampled axis were cut.
    """

    title: str
    words: tuple[str, ...]
    codes: np.ndarray
    cut: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Influence:
    """How far an axis moves a measure.

    levels: the axis.
    share: of the measure's variance, what the axis explains alone, 0 to 1.
    error: standard error of the share where the points are a sample, else 0.
    chance: the share that an axis without influence stays below in 95 of 100 samples; 0 where there is no sample.
    low, high: the least and greatest mean over the levels; low_word, high_word: the levels they belong to.
    tied: whether it cannot be told from the axis before it in the list.
    """

    levels: Levels
    share: float
    error: float
    chance: float
    low: float
    high: float
    low_word: str
    high_word: str
    tied: bool = False


def read_points(folder: str | Path) -> pd.DataFrame:
    """Read the table that a sweep wrote, a row for each point; `report` is "" if the report is not there."""
    store = store_of(folder)
    with store.open("points.parquet") as file:
        points = pd.read_parquet(file)
    return points.assign(report=points["report"].where(points["report"].isin(store.names("reports")), ""))


def points_of(design: Design) -> pd.DataFrame:
    """Compute the table of a sweep in memory, without reports."""
    return pd.concat([pd.DataFrame(rows) for rows in table(design)], ignore_index=True).assign(report="")


def axes_of(points: pd.DataFrame) -> list[str]:
    """The columns that vary: those between the point's number and the measures."""
    return [name for name in points.columns if name not in ("point", "report", *MEASURES)]


def levels_of(points: pd.DataFrame, title: str, texts: Texts | None = None, span: str = SPAN) -> Levels:
    """The axis cut into levels: its values, or five ranges with equally many points where it has more than twelve.

    texts: turns values into words; None shows plain numbers. span: how a range is said.
    """
    texts = texts or (lambda values: [word_of(value) for value in values])
    column = points[title]
    distinct = column.unique()
    if len(distinct) <= MOST_LEVELS or column.dtype.kind not in "if":
        ordered = sorted(distinct) if column.dtype.kind in "if" else list(distinct)
        codes = pd.Categorical(column, categories=ordered).codes
        return Levels(title, tuple(texts(ordered)), np.asarray(codes))
    codes, edges = pd.qcut(column, BINS, labels=False, retbins=True, duplicates="drop")
    rounded = [float(text.replace(",", "")) for text in short(edges)]
    words = tuple(span.format(low=low, high=high) for low, high in pairwise(texts(rounded)))
    return Levels(title, words, codes.to_numpy(), cut=True)


def influences(
    points: pd.DataFrame,
    measure: str,
    *,
    sampled: bool = False,
    texts: Mapping[str, Texts] | None = None,
    span: str = SPAN,
) -> list[Influence]:
    """All axes, ordered by how far they move the measure, the most influential first.

    The share is the first-order sensitivity index Var(E[Y | axis]) / Var(Y), each level weighted by its points.
    Source: Saltelli et al. (2008), "Global Sensitivity Analysis: The Primer", section 1.2.8 (from memory). What axes
    do together is in no axis's share. An axis sampled between two ends is cut into about as many cells as the square
    root of the points, and what chance alone would put between them is taken off: epsilon squared of the analysis of
    variance (Kelley 1935, from memory). For a sample its standard error is a bootstrap's (Efron 1979, from memory), and
    `chance` comes from the F test of the one-way analysis of variance.

    points: a row a point; rows in which the measure is undefined are left out. sampled: whether they are a sample, so
    that shares are estimates. texts: axis -> what turns its values into words. span: how a range of values is said.

    >>> points = pd.DataFrame({"point": range(4), "a": [0, 0, 1, 1], "b": [0, 1, 0, 1], "closing_mrr": [0.0, 1, 2, 3]})
    >>> [(one.levels.title, one.share) for one in influences(points, "closing_mrr")]
    [('a', 0.8), ('b', 0.2)]
    """
    values = points[measure].to_numpy(float)
    here = np.flatnonzero(~np.isnan(values))
    if not here.size:
        return []
    axes = [levels_of(points, title, (texts or {}).get(title), span) for title in axes_of(points)]
    cells = [(_finer(points[one.title].to_numpy()[here]) if one.cut else one.codes[here], one.cut) for one in axes]
    shares = np.array([_share(values[here], codes, fine=fine) for codes, fine in cells])
    drawn = _resampled(values[here], cells) if sampled else shares[None, :]
    order = np.argsort(-shares, kind="stable")
    found: list[Influence] = []
    for place, index in enumerate(order):
        levels = axes[index]
        means = pd.Series(values[here]).groupby(levels.codes[here]).mean()
        low, high = means.idxmin(), means.idxmax()
        before = order[place - 1] if place else index
        ahead = float(np.mean(drawn[:, before] > drawn[:, index] + 1e-9))
        found.append(
            Influence(
                levels,
                float(shares[index]),
                float(drawn[:, index].std()) if sampled else 0.0,
                _chance(*cells[index]) if sampled else 0.0,
                float(means[low]),
                float(means[high]),
                levels.words[low],
                levels.words[high],
                tied=place > 0 and ahead < SURE,
            )
        )
    return found


def leaders(found: Sequence[Influence]) -> list[Influence]:
    """The axes that may be the one that moves the measure most: the first, and those that cannot be told from it.

    None where the first explains no more than chance would.
    """
    if not found or found[0].share <= max(found[0].chance, 1e-9):
        return []
    count = 1
    while count < len(found) and found[count].tied:
        count += 1
    return list(found[:count])


def over_two(
    points: pd.DataFrame, measure: str, rows: Levels, columns: Levels, where: np.ndarray | None = None
) -> np.ndarray:
    """The measure's mean over the points in each pair of levels, shape (rows, columns); NaN where there is none."""
    use = points[measure].notna() if where is None else points[measure].notna() & where
    means = points.loc[use, measure].groupby([rows.codes[use], columns.codes[use]]).mean().unstack()
    return means.reindex(index=range(len(rows.words)), columns=range(len(columns.words))).to_numpy(float)


def short(values: Sequence[float] | np.ndarray) -> list[str]:
    """Numbers with as few significant digits, at least two, as leave each within a twentieth of the smallest step.

    >>> short([0.0200123, 0.0319, 0.08]), short([1234.5, 1250.2])
    (['0.02', '0.032', '0.08'], ['1,234', '1,250'])
    """
    numbers = np.asarray(values, float)
    room = np.diff(np.unique(numbers)).min(initial=np.inf) / 20
    for digits in range(2, 17):
        rounded = np.array([float(f"{value:.{digits}g}") for value in numbers])
        if (abs(rounded - numbers) <= room).all():
            break
    return [f"{value:,.15g}" for value in rounded]


def word_of(value: Any) -> str:
    """Format a value of an axis without a unit."""
    return f"{value:.6g}" if isinstance(value, (float, np.floating)) else str(value)


def _finer(column: np.ndarray) -> np.ndarray:
    """Cut a sampled axis into cells of equally many points, so fine that chance has to be subtracted."""
    cells = min(max(round(len(column) ** 0.5), BINS), MOST_CELLS)
    ranks = np.argsort(np.argsort(column, kind="stable"))
    return ranks * cells // len(column)


def _share(values: np.ndarray, codes: np.ndarray, *, fine: bool = False) -> float:
    """The share of the variance of `values` that lies between the groups of `codes`, each weighted by its size.

    fine: less what chance alone puts there, at least 0.
    """
    spread = values.var()
    if spread <= 0:
        return 0.0
    sizes = np.bincount(codes)
    means = np.bincount(codes, weights=values) / np.maximum(sizes, 1)
    share = float(np.average((means - values.mean()) ** 2, weights=sizes) / spread)
    groups = int(np.count_nonzero(sizes))
    return max(_less_chance(share, groups, len(values)), 0.0) if fine and groups < len(values) else share


def _less_chance(share: float, groups: int, count: int) -> float:
    """Epsilon squared: a share of the variance less what chance alone puts between so many groups of `count` points."""
    return share - (1 - share) * (groups - 1) / (count - groups)


def _resampled(values: np.ndarray, cells: Sequence[tuple[np.ndarray, bool]]) -> np.ndarray:
    """The shares of each axis over bootstrap resamples of the points, shape (RESAMPLES, axes)."""
    generator = np.random.default_rng(0)
    draws = (generator.integers(0, len(values), len(values)) for _ in range(RESAMPLES))
    return np.array([[_share(values[draw], codes[draw], fine=fine) for codes, fine in cells] for draw in draws])


def _chance(codes: np.ndarray, fine: bool) -> float:
    """The share that groups without influence stay below in 95 of 100 samples: of F(groups - 1, count - groups)."""
    from scipy.stats import f

    count, groups = len(codes), len(np.unique(codes))
    if groups < 2 or count <= groups:
        return 1.0
    critical = float(f.ppf(0.95, groups - 1, count - groups))
    share = critical / (critical + (count - groups) / (groups - 1))
    return _less_chance(share, groups, count) if fine else share
