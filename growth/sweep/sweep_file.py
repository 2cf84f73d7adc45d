"""The sweep file: which scenario, which axes, how the points are chosen, and which of them get a report.

A YAML file with the one root key `sweep`. Fields are written as in the scenario file, with dots:
`stay.churn.monthly_churn_rate`, `pay.plans.Studio.monthly_price` (an item of a list by its name, or by its number from
0).
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, get_args

from pydantic import Field, StrictFloat, StrictInt, model_validator

from growth.scenario.entry import Assumption
from growth.scenario.section import Name, Section, Text, broken, unique_names

ALWAYS = ("closing_mrr", "closing_customers", "goal_month")
More = Literal[
    "cash",
    "left_month",
    "growth_ceiling",
    "lowest_cash",
    "lowest_cash_month",
    "break_even_month",
    "net_revenue_retention",
]
MORE: tuple[More, ...] = get_args(More)
MOST_POINTS = 10_000  # where the file does not allow more
MOST_POINTS_EVER = 10_000_000
MOST_REPORTS = 500
Value = StrictInt | StrictFloat | bool | str | None


def _count(label: str, high: float, low: float = 1) -> Assumption:
    return Assumption(label, "number", low, high, whole=True)


class Variant(Section):
    """One named choice of a variant axis: the fields it changes together."""

    name: Name
    set: Annotated[dict[str, Any], Field(min_length=1)]


class Axis(Section):
    """One thing that varies: a field over `values` or from `from` to `to`, or several fields by named `variants`.

    steps: how many values from `from` to `to`, both included; a sampled sweep draws between the two and needs no steps.
    """

    name: Name | None = None
    field: Name | None = None
    values: Annotated[tuple[Value, ...] | None, Field(min_length=1, max_length=100_000)] = None
    lowest: Annotated[StrictInt | StrictFloat | None, Field(alias="from")] = None
    highest: Annotated[StrictInt | StrictFloat | None, Field(alias="to")] = None
    steps: Annotated[int, _count("Steps", 100_000, 2)] | None = None
    variants: Annotated[tuple[Variant, ...], Field(max_length=1000)] = ()

    @model_validator(mode="after")
    def _one_kind(self) -> Axis:
        ranged = self.lowest is not None or self.highest is not None
        if bool(self.variants) == (self.field is not None):
            raise broken("an axis has either a field or variants")
        if self.variants:
            unique_names("variants", self.variants)
            if self.name is None:
                raise broken("an axis of variants has a name")
            if self.values is not None or ranged or self.steps:
                raise broken("an axis of variants has neither values nor a range")
        elif (self.values is not None) == ranged:
            raise broken("an axis has either values, or from and to", self.field)
        if ranged and (self.lowest is None or self.highest is None or not self.lowest < self.highest):
            raise broken("from below to, both given", f"{self.lowest} and {self.highest}")
        if self.steps and not ranged:
            raise broken("steps go with from and to", self.steps)
        if self.values is not None and len({repr(value) for value in self.values}) < len(self.values):
            raise broken("each value once", self.field)
        return self

    @property
    def title(self) -> str:
        """What the axis is called: its name, or its field."""
        return self.name or self.field or ""  # one of the two is there


class Points(Section):
    """How points are chosen: all combinations of the axes' values, a list, or a sample spread evenly over them.

    Latin hypercube: McKay, Beckman and Conover (1979), Technometrics 21(2); Sobol: Sobol (1967). Both by SciPy's qmc.
    """

    method: Literal["grid", "listed", "latin_hypercube", "sobol"] = "grid"
    listed: Annotated[tuple[dict[str, Any], ...], Field(max_length=100_000)] = ()
    size: Annotated[int, _count("Points of the sample", MOST_POINTS_EVER)] | None = None
    seed: Annotated[int, _count("Seed", 2**32 - 1, 0)] = 0
    at_most: Annotated[int, _count("Most points", MOST_POINTS_EVER)] = MOST_POINTS

    @property
    def sampled(self) -> bool:
        """Whether the points are a sample, so that results are estimates."""
        return self.method in ("latin_hypercube", "sobol")

    @model_validator(mode="after")
    def _fits(self) -> Points:
        if (self.method == "listed") != bool(self.listed):
            raise broken("listed goes with method: listed", self.method)
        if self.sampled != (self.size is not None):
            raise broken("size goes with method: latin_hypercube or sobol, which need it", self.method)
        return self


class Reports(Section):
    """Which points get a notebook report: all, none, or those that match one of `matching` (axis -> value)."""

    choose: Literal["all", "none", "matching"] = "all"
    matching: Annotated[tuple[dict[str, Value], ...], Field(max_length=10_000)] = ()
    at_most: Annotated[int, _count("Most reports", 1_000_000)] = MOST_REPORTS

    @model_validator(mode="after")
    def _fits(self) -> Reports:
        if (self.choose == "matching") != bool(self.matching):
            raise broken("matching goes with choose: matching", self.choose)
        return self


class Sweep(Section):
    """A whole sweep file."""

    title: Name
    note: Text = ""
    scenario: Name
    axes: Annotated[tuple[Axis, ...], Field(min_length=1, max_length=20)]
    points: Points = Points()
    reports: Reports = Reports()
    measures: Annotated[tuple[More, ...], Field(max_length=len(MORE))] = MORE
    """Beside those that are always there; the ceiling and retention take most of the time of a large sweep."""

    @model_validator(mode="after")
    def _axes(self) -> Sweep:
        for what in ("title", "field"):
            names = [getattr(axis, what) for axis in self.axes if getattr(axis, what) is not None]
            for name in names:
                if names.count(name) > 1:
                    raise broken("axes: each once", name)
        for axis in self.axes:
            if axis.lowest is not None and axis.steps is None and not self.points.sampled:
                raise broken(f"axes: {axis.title}: steps, how many values from {axis.lowest} to {axis.highest}")
        return self
