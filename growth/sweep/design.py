"""The points of a sweep: a block of them at a time, so that a million take no more memory than a thousand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import ceil, log2, prod
from typing import Any, TypeAlias, cast

import numpy as np

from growth.errors import Problem
from growth.sweep.load_sweep import LoadedSweep, SweepError
from growth.sweep.sweep_file import MOST_POINTS_EVER, Axis, Value
from growth.uncertainty.sample import correlated

BLOCK = 50_000  # points worked on together
Levels: TypeAlias = tuple[Value, ...] | None
"""What the values of an axis may be, names of variants included; None for an axis sampled between two ends."""


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """The chosen points.

    levels: axis title -> what its values may be.
    codes: shape (points, axes), which level; for an axis sampled between two ends its value. None for a grid.
    count: the number of points.
    """

    loaded: LoadedSweep
    levels: dict[str, Levels]
    codes: np.ndarray | None
    count: int

    @property
    def sampled(self) -> bool:
        """Whether the points are a sample, so that results are estimates."""
        return self.loaded.sweep.points.sampled

    def rows(self, numbers: np.ndarray) -> dict[str, np.ndarray]:
        """Axis title -> its values at the points with these numbers: numbers, or objects for words."""
        if self.codes is None:
            index = np.unravel_index(numbers, [len(level or ()) for level in self.levels.values()])
        else:
            index = self.codes[numbers].T
        columns = {}
        for (title, level), part in zip(self.levels.items(), index, strict=True):
            if level is not None:  # words are objects
                part = np.array(level, None if all_numbers(level) else object)[part.astype(np.intp)]
            columns[title] = part
        return columns

    def blocks(self, size: int = BLOCK) -> Iterator[tuple[int, dict[str, np.ndarray]]]:
        """Each block's first point and its columns."""
        for start in range(0, self.count, size):
            yield start, self.rows(np.arange(start, min(start + size, self.count)))

    def point(self, number: int) -> dict[str, Any]:
        """One point: axis title -> plain value."""
        return {title: plain_value(column[0]) for title, column in self.rows(np.array([number])).items()}

    def chosen(self) -> np.ndarray:
        """The numbers of the points that get a report, ascending. Raises SweepError if there are too many."""
        reports = self.loaded.sweep.reports
        if reports.choose == "none":
            return np.arange(0)
        if reports.choose == "all":
            numbers = np.arange(self.count)
        else:
            numbers = np.concatenate([start + np.flatnonzero(self._matches(block)) for start, block in self.blocks()])
            if not numbers.size:
                raise SweepError([_no_match(self)], file=self.loaded.file)
        if len(numbers) > reports.at_most:
            fix = "Choose fewer, or say so: reports: at_most."
            raise SweepError(
                [Problem("reports.at_most", f"at most {reports.at_most:,} reports", f"{len(numbers):,}", fix)],
                file=self.loaded.file,
            )
        return numbers

    def _matches(self, block: dict[str, np.ndarray]) -> np.ndarray:
        size = len(next(iter(block.values())))
        found = np.zeros(size, bool)
        for wanted in self.loaded.sweep.reports.matching:
            here = np.ones(size, bool)
            for title, value in wanted.items():
                column = block[title]
                if column.dtype.kind == "f" and isinstance(value, (int, float)):
                    here &= np.isclose(column, value, rtol=1e-9, atol=0)
                else:
                    here &= column == value
            found |= here
        return found


def _no_match(design: Design) -> Problem:
    """Find the value under `reports: matching` that no point has, and name the values that points have."""
    for number, wanted in enumerate(design.loaded.sweep.reports.matching):
        for title, value in wanted.items():
            level = design.levels[title]
            if level is not None and value not in level:
                known = ", ".join(str(one) for one in level[:8]) + (", ..." if len(level) > 8 else "")
                return Problem(f"reports.matching[{number}].{title}", f"a value that a point has: {known}", str(value))
    return Problem("reports.matching", "values that some point has together; no point has all of one entry")


def design_of(loaded: LoadedSweep) -> Design:
    """The points of a checked sweep. Raises SweepError if there are more than the file allows."""
    points = loaded.sweep.points
    levels = {axis.title: _levels(axis, loaded) for axis in loaded.sweep.axes}
    codes = None
    if points.method == "listed":
        count, (levels, codes) = len(points.listed), _listed(loaded, levels)
    else:
        count = points.size or prod(len(level or ()) for level in levels.values())
    if count > points.at_most:
        fix = f"Take fewer values, or say so: points: at_most: {count}."
        if count > MOST_POINTS_EVER:
            fix = f"Take fewer values: a sweep holds at most {MOST_POINTS_EVER:,} points."
        problem = Problem("points.at_most", f"at most {points.at_most:,} points", f"{count:,}", fix)
        raise SweepError([problem], file=loaded.file)
    if points.sampled:
        codes = _sample(loaded, levels, count)
    return Design(loaded, levels, codes, count)


def _levels(axis: Axis, loaded: LoadedSweep) -> Levels:
    if axis.variants:
        return tuple(variant.name for variant in axis.variants)
    if axis.values is not None:
        return axis.values
    low, high = _ends(axis)
    entry = loaded.entry(axis)
    whole = entry is not None and entry.whole
    if axis.steps is None:
        return tuple(range(int(low), int(high) + 1)) if whole else None
    spread = np.linspace(low, high, axis.steps)
    if whole and np.any(spread != np.round(spread)):
        raise SweepError([Problem(axis.title, "steps that fall on whole numbers", f"{axis.steps} steps")])
    return tuple(int(value) for value in spread) if whole else tuple(float(f"{value:.12g}") for value in spread)


def _ends(axis: Axis) -> tuple[float, float]:
    """Both ends of an axis without values or variants; the file then gives them."""
    return cast("float", axis.lowest), cast("float", axis.highest)


def _listed(loaded: LoadedSweep, levels: dict[str, Levels]) -> tuple[dict[str, Levels], np.ndarray]:
    """Encode the listed points as indices into the distinct values of each axis."""
    found: dict[str, list[Value]] = {title: [] for title in levels}
    codes = np.empty((len(loaded.sweep.points.listed), len(levels)), int)
    for row, point in enumerate(loaded.sweep.points.listed):
        for column, title in enumerate(levels):
            value = point[title]
            axis = loaded.sweep.axes[column]
            known = [variant.name for variant in axis.variants]
            if known and value not in known:
                raise SweepError([Problem(f"points.listed[{row}].{title}", f"one of {', '.join(known)}", str(value))])
            if value not in found[title]:
                found[title].append(value)
            codes[row, column] = found[title].index(value)
    return {title: tuple(values) for title, values in found.items()}, codes


def _sample(loaded: LoadedSweep, levels: dict[str, Levels], size: int) -> np.ndarray:
    """Sample the unit cube, scaled to each axis's range or cut into its levels."""
    try:
        from scipy.stats import qmc
    except ModuleNotFoundError:
        raise SweepError("a sample needs scipy; install growth-workbook[sweep]") from None

    points = loaded.sweep.points
    if points.method == "sobol":
        sampler = qmc.Sobol(d=len(levels), rng=np.random.default_rng(points.seed))
        unit = sampler.random_base2(ceil(log2(size)))[:size]
    else:
        unit = qmc.LatinHypercube(d=len(levels), rng=np.random.default_rng(points.seed)).random(size)
    unknowns = [loaded.unknowns.get(axis.title) for axis in loaded.sweep.axes]
    shares = {unknown.address: unit[:, column] for column, unknown in enumerate(unknowns) if unknown}
    shares = correlated(loaded.base, shares) if shares else {}
    for column, (axis, level) in enumerate(zip(loaded.sweep.axes, levels.values(), strict=True)):
        if unknown := unknowns[column]:
            unit[:, column] = unknown.values_at(shares[unknown.address])
        elif level is None:
            low, high = _ends(axis)
            unit[:, column] = low + unit[:, column] * (high - low)
        else:
            unit[:, column] = np.minimum(np.floor(unit[:, column] * len(level)), len(level) - 1)
    return unit


def all_numbers(values: Iterable[Any]) -> bool:
    """Whether all values are numbers; True and False do not count.

    >>> all_numbers([1, 2.5]), all_numbers([True]), all_numbers(["a", 1])
    (True, False, False)
    """
    return all(isinstance(value, (int, float, np.number)) and not isinstance(value, bool) for value in values)


def plain_value(value: Any) -> Any:
    """A value of a column as a plain Python number, string or bool."""
    return value.item() if isinstance(value, np.generic) else value
