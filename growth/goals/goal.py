"""A goal: an amount of something, by a month."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.engine import Forecast, forecast
from growth.errors import MeasureError, Problem
from growth.measures import money_left
from growth.measures.measure import SAME, month_of
from growth.scenario import Scenario
from growth.uncertainty import spread_of

KINDS = {
    "mrr": "MRR",
    "customers": "customers",
    "cash": "cash left in the month",
    "profit": "profit of the month, revenue counted as it is earned",
}
"""What a goal may be an amount of."""
SURE = {"mrr": "closing_mrr", "customers": "closing_customers"}
"""Those that may be asked for with a chance, and the series that they look at."""


@dataclass(frozen=True, slots=True)
class Goal:
    """An amount that is to be there at the close of a month.

    Attributes
    ----------
    amount : of money a month, or of customers.
    by : the month, 1 to the forecast's last.
    kind : one of `KINDS`.
    chance : None for the likely path; a share between 0 and 1 where the amount is to be reached in so many cases.
    """

    amount: float
    by: int
    kind: str = "mrr"
    chance: float | None = None

    def reached_by(self, scenario: Scenario) -> float:
        """What the scenario comes to in the goal's terms: reached where it is at least `amount`."""
        if self.chance is not None:
            until = scenario.model_copy(update={"months": self.by})  # nothing that comes later matters
            return float(spread_of(until, series=SURE[self.kind]).quantile(1 - self.chance)[-1])
        return float(series_of(forecast(scenario), self.kind)[self.by - 1])

    def reached_in_draws(self, scenario: Scenario) -> np.ndarray:
        """The same for each draw of a scenario with draws, shape (draws,), for a goal without a chance."""
        return series_of(forecast(scenario), self.kind)[:, self.by - 1]

    def above_by(self, value: float) -> float:
        """By how much a value of `reached_by` passes the amount (a logarithm if it can be), below 0 if not."""
        return float(np.log(value / self.amount)) if value > 0 and self.amount > 0 else value - self.amount

    def is_reached(self, value: float) -> bool:
        """Whether a value of `reached_by` is enough; amounts that differ by rounding are the same."""
        return value >= self.amount - SAME * abs(self.amount)


def series_of(result: Forecast, kind: str) -> np.ndarray:
    """The series that a goal of this kind looks at, months 1 to T.

    >>> scenario = Scenario(business="Fernhollow", months=1, opening={"customers": 10, "mrr": 200},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}}, bill={"monthly_fixed_costs": 50},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> series_of(forecast(scenario), "profit").tolist()
    [130.0]
    """
    if kind == "mrr":
        return result.closing_mrr
    if kind == "customers":
        return result.closing_customers
    return money_left(result, as_earned=kind == "profit")


def checked_goal(scenario: Scenario, *, amount: float | None, by: int | None, kind: str, chance: float | None) -> Goal:
    """Make a goal for this scenario; without an amount the scenario's own goal of MRR, without a month its last.

    Raises
    ------
    MeasureError
        For a kind, an amount, a month or a chance that cannot be, or a scenario with draws.
    """
    if scenario.draws is not None:
        raise MeasureError([Problem("scenario", "single numbers or ranges: a lever is sought for one business")])
    if kind not in KINDS:
        raise MeasureError([Problem("kind", f"one of {', '.join(KINDS)}", str(kind))])
    if amount is None and kind == "mrr" and scenario.goal_mrr is not None:
        amount = float(scenario.goal_mrr)
    if amount is None or not (amount > 0 or kind in ("cash", "profit")) or not abs(amount) <= 1e9:
        raise MeasureError([Problem("goal", "an amount above 0, up to 1,000,000,000", str(amount))])
    if chance is not None and not (0 < chance < 1 and kind in SURE):
        rule = "a share between 0 and 1, for a goal of MRR or customers"
        raise MeasureError([Problem("chance", rule, str(chance))])
    month = month_of(forecast(scenario), by)
    return Goal(float(amount), month, kind, chance)
