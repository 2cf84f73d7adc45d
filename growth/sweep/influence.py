"""What a sweep's table of points says: which axis moves an answer most, and the answer over two axes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from growth.sweep.design import Design
from growth.sweep.evaluate import MEASURES, table
from growth.sweep.store import store_of

BINS = 5  # into which a sampled axis is cut
MOST_LEVELS = 12


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """An axis as few levels: their words in order, and for each row of the table which one it is in.

    cut: whether they are ranges into which the values of a sampled axis were cut.
    """

    title: str
    words: tuple[str, ...]
    codes: np.ndarray
    cut: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Influence:
    """How far an axis moves a measure. share: of the measure's variance, what the axis explains alone (0 to 1).

    low, high: the least and greatest mean over the axis's levels, and the levels they belong to.
    """

    levels: Levels
    share: float
    low: float
    high: float
    low_word: str
    high_word: str


def read_points(folder: str | Path) -> pd.DataFrame:
    """The table that a sweep wrote to a folder or an address, a row a point; `report` is "" where it is not there."""
    store = store_of(folder)
    with store.open("points.parquet") as file:
        points = pd.read_parquet(file)
    return points.assign(report=points["report"].where(points["report"].isin(store.names("reports")), ""))


def points_of(design: Design) -> pd.DataFrame:
    """The table of a sweep computed here and now, without reports."""
    return pd.concat([pd.DataFrame(rows) for rows in table(design)], ignore_index=True).assign(report="")


def axes_of(points: pd.DataFrame) -> list[str]:
    """The columns that are varied: those between the point's number and the measures."""
    return [name for name in points.columns if name not in ("point", "report", *MEASURES)]


def levels_of(points: pd.DataFrame, title: str) -> Levels:
    """The axis cut into levels: its values, or five ranges with equally many points where it has more than twelve."""
    column = points[title]
    distinct = column.unique()
    if len(distinct) <= MOST_LEVELS or column.dtype.kind not in "if":
        ordered = sorted(distinct) if column.dtype.kind in "if" else list(distinct)
        codes = pd.Categorical(column, categories=ordered).codes
        return Levels(title, tuple(word_of(value) for value in ordered), np.asarray(codes))
    codes, edges = pd.qcut(column, BINS, labels=False, retbins=True, duplicates="drop")
    words = tuple(f"{low} to {high}" for low, high in pairwise(short(edges)))
    return Levels(title, words, codes.to_numpy(), cut=True)


def influences(points: pd.DataFrame, measure: str) -> list[Influence]:
    """Every axis by how much it moves the measure, the most first: Var(E[Y | axis]) / Var(Y), the first-order index.

    Source: Saltelli et al. (2008), "Global Sensitivity Analysis: The Primer", section 1.2.8 (from memory). Rows in
    which the measure is undefined are left out; what axes do together is in no axis's share.

    >>> points = pd.DataFrame({"point": range(4), "a": [0, 0, 1, 1], "b": [0, 1, 0, 1], "closing_mrr": [0.0, 1, 2, 3]})
    >>> [(one.levels.title, one.share) for one in influences(points, "closing_mrr")]
    [('a', 0.8), ('b', 0.2)]
    """
    found = []
    for title in axes_of(points):
        levels = levels_of(points, title)
        values = points[measure].to_numpy(float)
        here = ~np.isnan(values)
        if not here.any():
            continue
        grouped = pd.Series(values[here]).groupby(levels.codes[here])
        means, sizes = grouped.mean(), grouped.size()
        mean, spread = values[here].mean(), values[here].var()
        share = float((sizes * (means - mean) ** 2).sum() / here.sum() / spread) if spread > 0 else 0.0
        low, high = means.idxmin(), means.idxmax()
        found.append(Influence(levels, share, means[low], means[high], levels.words[low], levels.words[high]))
    return sorted(found, key=lambda one: -one.share)


def over_two(
    points: pd.DataFrame, measure: str, rows: Levels, columns: Levels, where: np.ndarray | None = None
) -> np.ndarray:
    """The measure's mean over the points in each pair of levels, shape (rows, columns); NaN where there is none."""
    values = points[measure].to_numpy(float)
    use = ~np.isnan(values) if where is None else ~np.isnan(values) & where
    total = np.zeros((len(rows.words), len(columns.words)))
    count = np.zeros_like(total)
    np.add.at(total, (rows.codes[use], columns.codes[use]), values[use])
    np.add.at(count, (rows.codes[use], columns.codes[use]), 1)
    with np.errstate(invalid="ignore"):
        return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def short(values: Sequence[float]) -> list[str]:
    """Numbers with as few significant digits, at least two, as leave each within a twentieth of the smallest step.

    >>> short([0.0200123, 0.0319, 0.08]), short([1234.5, 1250.2])
    (['0.02', '0.032', '0.08'], ['1,234', '1,250'])
    """
    values = np.asarray(values, float)
    room = np.diff(np.unique(values)).min(initial=np.inf) / 20
    for digits in range(2, 17):
        rounded = np.array([float(f"{value:.{digits}g}") for value in values])
        if (abs(rounded - values) <= room).all():
            break
    return [f"{value:,.15g}" for value in rounded]


def word_of(value: Any) -> str:
    """A value of an axis as it is shown."""
    return f"{value:.6g}" if isinstance(value, (float, np.floating)) else str(value)
