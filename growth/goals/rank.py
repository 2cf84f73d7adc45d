"""Which lever: what an equal effort on each number would bring."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from growth.engine import Forecast, forecast
from growth.errors import MeasureError, Problem
from growth.goals.goal import series_of
from growth.goals.lever_fields import label_of, lever_fields, with_values
from growth.goals.price import break_even_loss_of
from growth.measures import goal_month
from growth.measures.lifetime import lifetime_value
from growth.scenario import Scenario
from growth.scenario.about_numbers import efforts_by_path
from growth.scenario.address import Field

if TYPE_CHECKING:
    import pandas as pd
    import plotly.graph_objects as go

EFFORT = 0.1  # a tenth better: common practice, no source
_ALIKE = 1e-6  # effects that differ by less than this share are those of one lever


@dataclass(frozen=True, eq=False)
class Effect:
    """What one lever would bring, moved by the effort in the direction that helps.

    Attributes
    ----------
    levers, labels : the addresses and words of the numbers that do the same: those that multiply one product, such as
        visitors, the sign-up rate and the conversion rate.
    now, then : the first one's value, and the value that the effort makes of it.
    gain : what it adds at the close of the last month, in money a month (customers for a goal of customers).
    share : the same as a share of what there is as things stand; NaN where there is nothing.
    goal_month : the month in which the scenario's goal of MRR is then reached; None where it is not, or without one.
    unit : the unit of the number.
    effort : by which share it is made better.
    """

    levers: tuple[str, ...]
    labels: tuple[str, ...]
    now: float
    then: float
    gain: float
    share: float
    goal_month: int | None
    unit: str
    effort: float


@dataclass(frozen=True, eq=False)
class Ranking:
    """Every lever by the same effort, the one that brings most first; made by `levers`.

    Attributes
    ----------
    effort : by which share each number is made better that has none of its own under the scenario's `efforts`.
    effects : one for each lever, or for each group of numbers that are one lever.
    goal_month : the month of the goal as things stand; None where it is not reached.
    point_of_churn : what one point less churn a month (5% to 4%) is worth at the end, in money a month; None without a
        constant churn rate of at least one point.
    sign_up : what a sign-up is worth over its lifetime, in money: the share who pay times lifetime value; None where
        lifetime value has no limit.
    visitor : what may be paid for a visitor at most, the same times the share who sign up; None as for `sign_up`.
    price_loss : the share of new customers who may be lost to prices higher by the effort before it costs money; None
        where nothing is left of them.
    """

    effort: float
    effects: tuple[Effect, ...]
    goal_month: int | None
    point_of_churn: float | None
    sign_up: float | None
    visitor: float | None
    price_loss: float | None

    @cached_property
    def frame(self) -> pd.DataFrame:
        """One row a lever: what it is, now and then, what it adds, and the month of the goal."""
        import pandas as pd

        return pd.DataFrame(
            {
                "lever": [" = ".join(one.labels) for one in self.effects],
                "now": [one.now for one in self.effects],
                "then": [one.then for one in self.effects],
                "gain": [one.gain for one in self.effects],
                "share": [one.share for one in self.effects],
                "goal month": pd.array([one.goal_month for one in self.effects], dtype="Int64"),
            },
            index=pd.Index([one.levers[0] for one in self.effects], name="address"),
        )

    def figure(self) -> go.Figure:
        """A bar a lever: what it adds."""
        from growth.charts import bars

        own = {one.levers: f", {one.effort:.0%} better" for one in self.effects if one.effort != self.effort}
        return bars(
            [", or ".join(one.labels) + own.get(one.levers, "") for one in self.effects],
            [one.share for one in self.effects],
            title=f"What {self.effort:.0%} better brings by the end",
            axis="change at the end of the forecast",
        )


def levers(scenario: Scenario, *, effort: float = EFFORT, kind: str = "mrr") -> Ranking:
    """Rank the numbers that a business can work on by what an equal effort on each would bring.

    Parameters
    ----------
    scenario : Scenario
        Single numbers or ranges (their likely values are taken), no draws.
    effort : float
        By which share each number is made better, above 0 and up to 1: a tenth more visitors, a tenth fewer leaving.
        Which direction is better is found by trying both. A number that the scenario lists under `efforts` gets
        better by the share stated there.
    kind : str
        What is looked at, at the close of the last month: see `growth.goals.KINDS`.

    Returns
    -------
    Ranking

    Raises
    ------
    MeasureError
        For an effort that is no share, or a scenario with draws.

    Examples
    --------
    All who join multiply three numbers: they are one lever.

    >>> scenario = Scenario(business="Fernhollow", months=24, opening={"customers": 0}, sign_up={"signup_rate": 0.05},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000}]},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.05}})
    >>> [(len(one.levers), round(one.share, 3)) for one in levers(scenario).effects]
    [(4, 0.1), (1, 0.05)]
    """
    if scenario.draws is not None:
        raise MeasureError([Problem("scenario", "single numbers or ranges: levers are ranked for one business")])
    if not 0 < effort <= 1:
        raise MeasureError([Problem("effort", "a share above 0, up to 1", str(effort))])
    base = forecast(scenario)
    before, month = float(series_of(base, kind)[-1]), goal_month(base).value
    own = efforts_by_path(scenario)
    found = [
        one
        for field in lever_fields(scenario, kind=kind)
        if (one := _effect(field, scenario, own.get(field.path, effort), kind, before))
    ]
    effects = tuple(sorted(_grouped(found), key=lambda one: -one.gain))
    worth = lifetime_value(base).value
    paying, signing = float(scenario.pay.conversion_rate), float(scenario.sign_up.signup_rate)
    sign_up = None if worth is None else paying * float(worth)
    return Ranking(
        effort,
        effects,
        None if month is None else int(month),
        _point_of_churn(scenario, before, kind),
        sign_up,
        None if sign_up is None else signing * sign_up,
        break_even_loss_of(scenario, effort=effort),
    )


def _effect(field: Field, scenario: Scenario, effort: float, kind: str, before: float) -> Effect | None:
    now, best = float(field.value), None
    for then in (now * (1 - effort), now * (1 + effort)):
        result = _forecast_with(scenario, field, then)
        if result is None or then == now:
            continue
        gain = float(series_of(result, kind)[-1]) - before
        if best is None or gain > best[0]:
            best = gain, then, goal_month(result).value
    if best is None or not best[0] > _ALIKE * abs(before):
        return None
    gain, then, month = best
    share = gain / abs(before) if before else np.nan
    return Effect(
        (field.path,), (label_of(field),), now, then, gain, share, None if month is None else int(month),
        field.assumption.unit, effort,
    )  # fmt: skip


def _grouped(effects: list[Effect]) -> list[Effect]:
    """Effects that are the same, put together, in the order of the file."""
    groups: list[Effect] = []
    for one in effects:
        twin = next((other for other in groups if _alike(one, other)), None)
        if twin is None:
            groups.append(one)
        else:
            together = replace(twin, levers=twin.levers + one.levers, labels=twin.labels + one.labels)
            groups[groups.index(twin)] = together
    return groups


def _alike(one: Effect, other: Effect) -> bool:
    """Whether both multiply one product: more of either brings the same."""
    more = one.then > one.now and other.then > other.now and one.effort == other.effort
    return more and abs(one.gain - other.gain) <= _ALIKE * abs(other.gain)


def _forecast_with(scenario: Scenario, field: Field, value: float) -> Forecast | None:
    changed = with_values(scenario, {field.path: value})
    return None if changed is None else forecast(changed)


def _point_of_churn(scenario: Scenario, before: float, kind: str) -> float | None:
    for field in lever_fields(scenario, kind=kind):
        if field.path == "stay.churn.monthly_churn_rate" and float(field.value) >= 0.01:
            result = _forecast_with(scenario, field, float(field.value) - 0.01)
            return None if result is None else float(series_of(result, kind)[-1]) - before
    return None
