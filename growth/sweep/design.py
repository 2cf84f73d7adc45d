"""The points of a sweep: a block of them at a time, so that a million take no more memory than a thousand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, log2, prod
from typing import Any

import numpy as np

from growth.errors import Problem
from growth.sweep.load_sweep import Plan, SweepError
from growth.sweep.sweep_file import MOST_POINTS_EVER, Axis

BLOCK = 50_000  # points worked on together


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """The chosen points.

    levels: axis title -> what its values may be: an array of numbers, or a tuple of words, variants' names included;
            None for an axis that is sampled between two ends.
    codes:  (points, axes) whole numbers, which level; or for a sample, (points, axes) numbers; None for a grid.
    count:  how many points.
    """

    plan: Plan
    levels: dict[str, tuple | None]
    codes: np.ndarray | None
    count: int

    @property
    def sampled(self) -> bool:
        """Whether the points are a sample, so that what is read off them is an estimate."""
        return self.plan.sweep.points.method in ("latin_hypercube", "sobol")

    def rows(self, numbers: np.ndarray) -> dict[str, np.ndarray]:
        """Axis title -> its values at the points with these numbers: numbers, or objects for words."""
        if self.codes is None:
            index = np.unravel_index(numbers, [len(level) for level in self.levels.values()])
        else:
            index = self.codes[numbers].T
        columns = {}
        for (title, level), part in zip(self.levels.items(), index, strict=True):
            columns[title] = part if level is None else _array(level)[part.astype(np.intp)]
        return columns

    def block(self, start: int, stop: int) -> dict[str, np.ndarray]:
        """Axis title -> its values at points start..stop."""
        return self.rows(np.arange(start, stop))

    def blocks(self, size: int = BLOCK) -> Iterator[tuple[int, dict[str, np.ndarray]]]:
        """Each block's first point and its columns."""
        for start in range(0, self.count, size):
            yield start, self.block(start, min(start + size, self.count))

    def point(self, number: int) -> dict[str, Any]:
        """One point: axis title -> plain value."""
        return {title: plain_value(column[0]) for title, column in self.block(number, number + 1).items()}

    def chosen(self) -> np.ndarray:
        """The numbers of the points that get a report, ascending. Raises SweepError where they are too many."""
        reports = self.plan.sweep.reports
        if reports.choose == "none":
            return np.arange(0)
        if reports.choose == "all":
            numbers = np.arange(self.count)
        else:
            numbers = np.concatenate([start + np.flatnonzero(self._matches(block)) for start, block in self.blocks()])
            if not numbers.size:
                raise SweepError([_no_match(self)], file=self.plan.file)
        if len(numbers) > reports.at_most:
            fix = "Choose fewer, or say so: reports: at_most."
            raise SweepError(
                [Problem("reports.at_most", f"at most {reports.at_most:,} reports", f"{len(numbers):,}", fix)],
                file=self.plan.file,
            )
        return numbers

    def _matches(self, block: dict[str, np.ndarray]) -> np.ndarray:
        size = len(next(iter(block.values())))
        found = np.zeros(size, bool)
        for wanted in self.plan.sweep.reports.matching:
            here = np.ones(size, bool)
            for title, value in wanted.items():
                column = block[title]
                same = np.isclose(column, value, rtol=1e-9, atol=0) if column.dtype.kind == "f" else column == value
                here &= same
            found |= here
        return found


def _no_match(design: Design) -> Problem:
    """Which value of `reports: matching` no point has, with those that points have."""
    for number, wanted in enumerate(design.plan.sweep.reports.matching):
        for title, value in wanted.items():
            level = design.levels[title]
            if level is not None and value not in level:
                known = ", ".join(str(one) for one in level[:8]) + (", ..." if len(level) > 8 else "")
                return Problem(f"reports.matching[{number}].{title}", f"a value that a point has: {known}", str(value))
    return Problem("reports.matching", "values that some point has together; no point has all of one entry")


def design_of(plan: Plan) -> Design:
    """The points of a checked sweep. Raises SweepError where they are more than the file allows."""
    sweep = plan.sweep
    method = sweep.points.method
    levels = {axis.title: _levels(axis, plan, sampled=method in ("latin_hypercube", "sobol")) for axis in sweep.axes}
    if method == "grid":
        count, codes = prod(len(level) for level in levels.values()), None
    elif method == "listed":
        count, (levels, codes) = len(sweep.points.listed), _listed(plan, levels)
    else:
        count, codes = sweep.points.size, None
    if count > sweep.points.at_most:
        fix = f"Take fewer values, or say so: points: at_most: {count}."
        if count > MOST_POINTS_EVER:
            fix = f"Take fewer values: a sweep holds at most {MOST_POINTS_EVER:,} points."
        problem = Problem("points.at_most", f"at most {sweep.points.at_most:,} points", f"{count:,}", fix)
        raise SweepError([problem], file=plan.file)
    if method in ("latin_hypercube", "sobol"):
        codes = _sample(plan, levels)
    return Design(plan, levels, codes, count)


def _levels(axis: Axis, plan: Plan, *, sampled: bool) -> tuple | None:
    if axis.variants:
        return tuple(variant.name for variant in axis.variants)
    if axis.values is not None:
        return axis.values
    whole = plan.fields[axis.field].entry is not None and plan.fields[axis.field].entry.whole
    if sampled and axis.steps is None:
        return tuple(range(int(axis.lowest), int(axis.highest) + 1)) if whole else None
    spread = np.linspace(axis.lowest, axis.highest, axis.steps)
    if whole and np.any(spread != np.round(spread)):
        raise SweepError([Problem(axis.title, "steps that fall on whole numbers", f"{axis.steps} steps")])
    return tuple(int(value) for value in spread) if whole else tuple(float(f"{value:.12g}") for value in spread)


def _listed(plan: Plan, levels: dict[str, Any]) -> tuple[dict[str, Any], np.ndarray]:
    """The listed points as codes into the distinct values of each axis."""
    found: dict[str, list] = {title: [] for title in levels}
    codes = np.empty((len(plan.sweep.points.listed), len(levels)), int)
    for row, point in enumerate(plan.sweep.points.listed):
        for column, title in enumerate(levels):
            value = point[title]
            axis = plan.sweep.axes[column]
            if axis.variants and value not in levels[title]:
                known = ", ".join(levels[title])
                raise SweepError([Problem(f"points.listed[{row}].{title}", f"one of {known}", str(value))])
            if value not in found[title]:
                found[title].append(value)
            codes[row, column] = found[title].index(value)
    return {title: tuple(values) for title, values in found.items()}, codes


def _sample(plan: Plan, levels: dict[str, tuple | None]) -> np.ndarray:
    """A sample on the unit cube, stretched to each axis's range, or cut into its levels."""
    try:
        from scipy.stats import qmc
    except ModuleNotFoundError:
        raise SweepError("a sample needs scipy; install growth-workbook[sweep]") from None

    points = plan.sweep.points
    if points.method == "sobol":
        sampler = qmc.Sobol(d=len(levels), rng=np.random.default_rng(points.seed))
        unit = sampler.random_base2(ceil(log2(points.size)))[: points.size]
    else:
        unit = qmc.LatinHypercube(d=len(levels), rng=np.random.default_rng(points.seed)).random(points.size)
    for column, (axis, level) in enumerate(zip(plan.sweep.axes, levels.values(), strict=True)):
        if level is None:
            unit[:, column] = axis.lowest + unit[:, column] * (axis.highest - axis.lowest)
        else:
            unit[:, column] = np.minimum(np.floor(unit[:, column] * len(level)), len(level) - 1)
    return unit


def _array(level: tuple) -> np.ndarray:
    numbers = all(isinstance(value, (int, float)) and not isinstance(value, bool) for value in level)
    if numbers and any(isinstance(value, float) for value in level):
        return np.array(level, float)
    if numbers:
        return np.array(level)
    array = np.empty(len(level), object)
    array[:] = level
    return array


def plain_value(value: Any) -> Any:
    """A value of a column as Python's own number, word or truth value."""
    return value.item() if isinstance(value, np.generic) else value
