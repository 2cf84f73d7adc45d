"""Scenarios side by side: what each comes to, and how far it is from the first."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from growth.engine import Forecast, forecast
from growth.errors import MeasureError, Problem
from growth.measures import Measure, ceiling, left, lifetime, month
from growth.scenario import Scenario
from growth.scenario.what_if import changed

if TYPE_CHECKING:
    import pandas as pd
    import plotly.graph_objects as go

TODAY = "today's numbers"
CLOSES = (12, 24, 36)  # months that are looked at, beside the last
SERIES = (("mrr", "closing_mrr"), ("customers", "closing_customers"), ("left", "net_cash"))
MEASURES: tuple[tuple[str, Callable[[Forecast], Measure], str], ...] = (
    ("goal_month", month.goal_month, "month of the goal"),
    ("left_month", left.left_month, "month from which the wanted amount is left"),
    ("ceiling_mrr", ceiling.growth_ceiling, "growth ceiling, MRR"),
    ("lowest_cash", month.lowest_cash, "lowest cash"),
    ("lifetime_value", lifetime.lifetime_value, "lifetime value (LTV)"),
    ("payback_months", lifetime.payback_months, "months to pay back CAC"),
)
_WORDS = {"mrr": "MRR", "customers": "customers", "left": "cash left"}


def what_if_forecasts(scenario: Scenario) -> dict[str, Forecast]:
    """The forecast of each of a scenario's what-ifs, by title. Raises ScenarioError if one is not valid."""
    return {one.title: forecast(changed(scenario, one)) for one in scenario.what_ifs}


def what_if_notes(scenario: Scenario) -> dict[str, str]:
    """The note of each of a scenario's what-ifs that has one, by title."""
    return {one.title: one.note for one in scenario.what_ifs if one.note}


def closes(months: int) -> tuple[int, ...]:
    """The months to compare in a forecast of so many months: 12, 24, 36 and the last.

    >>> closes(30), closes(36), closes(6)
    ((12, 24, 30), (12, 24, 36), (6,))
    """
    return (*(close for close in CLOSES if close < months), months)


def amounts(result: Forecast, months: int) -> dict[str, float]:
    """What a forecast comes to: `mrr.12`, `customers.12`, `left.12`, ..., `churn`, and each of MEASURES.

    `left` is the net cash of that month; `churn` the share of customers who leave in the last month. NaN where there is
    no such number. The page computes the same (`what_ifs.js`).

    Parameters
    ----------
    result : Forecast
        Without draws.
    months : int
        Of the first scenario: `closes(months)` are looked at.
    """
    found = {
        f"{name}.{close}": float(getattr(result, series)[close - 1]) if close <= result.months else np.nan
        for name, series in SERIES
        for close in closes(months)
    }
    found["churn"] = float(result.monthly_customer_churn_rate[-1])
    for name, function, _ in MEASURES:
        value = function(result).value
        found[name] = np.nan if value is None else float(value)
    return found


@dataclass(frozen=True, eq=False)
class Comparison:
    """Scenarios side by side, the first of which is the base; made by `compare`.

    Attributes
    ----------
    forecasts : mapping of str to Forecast
        By name, the base first.
    notes : mapping of str to str
        What is said of them; a name without a note is left out.
    """

    forecasts: Mapping[str, Forecast]
    notes: Mapping[str, str]

    @cached_property
    def frame(self) -> pd.DataFrame:
        """A row for each number, and for each scenario a column; NaN where there is no such number.

        Money is in the scenarios' currency, churn a fraction a month.
        """
        import pandas as pd

        months = next(iter(self.forecasts.values())).months
        table = pd.DataFrame({name: amounts(one, months) for name, one in self.forecasts.items()})
        return table.rename(index=self._labels(months)).rename_axis("number")

    @cached_property
    def differences(self) -> pd.DataFrame:
        """`frame` less the base's column, which is left out."""
        base, *others = self.forecasts
        return self.frame[others].sub(self.frame[base], axis=0)

    def figure(self) -> go.Figure:
        """MRR of all as lines on one chart, with their names beside them."""
        from growth.charts import comparison_chart

        return comparison_chart(self.forecasts)

    def text(self) -> str:
        """The table as text for a terminal: each number with its difference to the base in brackets, then the notes."""
        base, *others = self.forecasts
        rows = [["", *self.forecasts]]
        for label, values in self.frame.iterrows():
            if values.isna().all():
                continue
            cells = [_shown(str(label), values[base], sign="")]
            for name in others:
                gap = values[name] - values[base]
                told, more = _shown(str(label), values[name], sign=""), _shown(str(label), gap, sign="+")
                cells.append(f"{told} ({more})" if any(digit in more for digit in "123456789") else told)
            rows.append([str(label), *cells])
        widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
        lines = [
            "  ".join([row[0].ljust(widths[0]), *(cell.rjust(w) for cell, w in zip(row[1:], widths[1:], strict=True))])
            for row in rows
        ]
        notes = [f"{name}: {note}" for name, note in self.notes.items()]
        return "\n".join([*(line.rstrip() for line in lines), *notes])

    def _labels(self, months: int) -> dict[str, str]:
        labels = {f"{name}.{close}": f"{_WORDS[name]}, month {close}" for name, _ in SERIES for close in closes(months)}
        return labels | {"churn": "customers leaving, last month"} | {name: label for name, _, label in MEASURES}


def compare(scenarios: Scenario | Mapping[str, Scenario]) -> Comparison:
    """Forecast several scenarios and set them side by side.

    Parameters
    ----------
    scenarios : Scenario or mapping of str to Scenario
        One scenario, which is compared with its own what-ifs under the name "today's numbers"; or several by the names
        to show, the first of which is the base. Without draws; ranges count by their likely values.

    Returns
    -------
    Comparison

    Raises
    ------
    MeasureError
        There are fewer than two scenarios to compare, one has draws, or their currencies differ.
    ScenarioError
        A what-if is not valid.

    Examples
    --------
    >>> channels = [{"name": "search", "monthly_visitors": 1000}]
    >>> plans = [{"name": "Studio", "monthly_price": 20}]
    >>> halved = {"name": "halved_churn", "changes": [{"field": "stay.churn.monthly_churn_rate", "times": 0.5}]}
    >>> sections = {"arrive": {"channels": channels}, "pay": {"plans": plans}, "what_ifs": [halved]}
    >>> compare(Scenario(business="Kiln", months=12, **sections)).differences.loc["MRR, month 12"].round(2).to_dict()
    {'halved churn': 216.38}
    """
    if isinstance(scenarios, Scenario):
        if scenarios.draws is not None:
            raise _refused(TODAY, scenarios)
        if not scenarios.what_ifs:
            fix = "Write some under what_ifs, or hand in several scenarios by name."
            raise MeasureError([Problem("what_ifs", "at least one what-if to compare with", "none", fix)])
        return Comparison({TODAY: forecast(scenarios), **what_if_forecasts(scenarios)}, what_if_notes(scenarios))
    if len(scenarios) < 2:
        raise MeasureError([Problem("scenarios", "at least two scenarios, by the name to show", str(len(scenarios)))])
    for name, one in scenarios.items():
        if one.draws is not None:
            raise _refused(name, one)
    money = sorted({one.currency for one in scenarios.values()})
    if len(money) > 1:
        raise MeasureError([Problem("scenarios", "scenarios in one currency", ", ".join(money))])
    return Comparison({name: forecast(one) for name, one in scenarios.items()}, {})


def _refused(name: str, scenario: Scenario) -> MeasureError:
    return MeasureError([Problem(name, "single numbers or ranges, no draws", f"{scenario.draws} draws")])


def _shown(label: str, value: float, *, sign: str) -> str:
    if np.isnan(value):
        return "\N{EN DASH}"
    if label.startswith("customers leaving"):
        return f"{100 * value:{sign}.2f}%"
    return f"{value:{sign},.1f}" if label.startswith("customers") else f"{value:{sign},.0f}"
