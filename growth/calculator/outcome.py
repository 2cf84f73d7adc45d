"""Facts of a forecast that its sentences are chosen by: how its end stands to the ceiling, whether joining varies,
whether it has costs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from growth.calculator.language import LOCALE
from growth.calculator.number_words import roughly
from growth.engine import Forecast
from growth.measures import growth_ceiling
from growth.measures.measure import SAME, Measure
from growth.measures.reason import Reason
from growth.scenario import Scenario
from growth.scenario.arrive import AnyChannel
from growth.scenario.stay import Bill

LEVEL_KNOWN = ("above", "below", "same", "later")  # what `settling` gives where a level is known
EARNED = 0.02  # recognised revenue is told beside cash where they leave amounts further apart than this
MOVES = 0.05  # a rate that changes by less than this share is told as one number


def settling(forecast: Forecast) -> str:
    """How the forecast's end stands to the ceiling, as the answer says it.

    "above": growing towards it; "below": shrinking towards it; "same": it stays there; "later": it settles there in the
    end, but the last months do not point that way; "growing": nothing stops growth; "open": no level is known at which
    it settles; else the code of a `Reason` why it settles, or has not yet, at no known level.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> settling(growth.forecast(scenario))
    'below'
    """
    ceiling, closing = growth_ceiling(forecast), float(forecast.closing_mrr[-1])
    span = 12 if seasonal(forecast.scenario) or yearly(forecast.scenario) else 1
    way = compared(closing, float(mrr_of(forecast)[max(forecast.months - span, 0)]))
    level = value_of(ceiling)
    if level is None:
        if not Reason(ceiling.code).endless:
            return ceiling.code
        return "growing" if way > 0 else "open"
    side = compared(level, closing)
    if side == way:
        return {1: "above", -1: "below", 0: "same"}[side]
    return "later"


def ceiling_text(forecast: Forecast, locale: str = LOCALE) -> str:
    """The ceiling as the answer writes it, in order with the goal, or without one with the closing MRR; "" without one.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> ceiling_text(growth.forecast(scenario))
    '€0'
    """
    level = value_of(growth_ceiling(forecast))
    return "" if level is None else roughly(level, forecast.scenario.currency, locale, named=named(forecast))


def nothing(forecast: Forecast, ceiling: Measure) -> bool:
    """Whether nobody is on board and nobody joins."""
    there = (forecast.opening_mrr, forecast.closing_mrr, forecast.closing_customers)
    return not any(series.any() for series in there) and not ceiling.value and not ceiling.code


def has_costs(scenario: Scenario) -> bool:
    """Whether the scenario has costs or cash, at first or from a later month on, so that the answer speaks of them."""
    later = (now for start, now in scenario.later if start <= scenario.months)
    return any(_costs(now.bill, now.arrive.channels) for now in (scenario, *later))


def _costs(bill: Bill, channels: Sequence[AnyChannel]) -> bool:
    costs = any(getattr(bill, name) for name in bill.cash_fields())
    return costs or any(channel.kind == "paid" or channel.monthly_cost for channel in channels)


def compared(a: float, b: float) -> int:
    """1 where a is more than b, -1 where it is less, 0 where they differ by rounding alone.

    >>> compared(2, 1), compared(1, 2), compared(1, 1 + 1e-9)
    (1, -1, 0)
    """
    return 0 if abs(a - b) <= SAME * max(abs(a), abs(b)) else 1 if a > b else -1


def joining_varies(forecast: Forecast) -> bool:
    """Whether newcomers of some months (with a season: of the first twelve) are not those of the end."""
    if seasonal(forecast.scenario):
        over = ends(forecast.new_customers, np.ones(forecast.months), 12)
        return over is not None and abs(over[1] - over[0]) > MOVES * max(over)
    new, end = forecast.new_customers, forecast.new_customers[-1]
    return bool((np.abs(new - end) > MOVES * np.maximum(new, end)).any())


def seasonal(scenario: Scenario) -> bool:
    """Whether any channel has a season."""
    return any(channel.season is not None for channel in scenario.arrive.channels)


def yearly(scenario: Scenario) -> bool:
    """Whether any plan is billed by the year."""
    return any(plan.billing == "yearly" for plan in scenario.pay.plans)


def mrr_of(forecast: Forecast) -> np.ndarray:
    """MRR at the close of months 0, 1, ..., T."""
    return np.concatenate([forecast.opening_mrr[:1], forecast.closing_mrr])


def named(forecast: Forecast) -> tuple[float, ...]:
    """The amounts of MRR that stand in the sentence beside the ceiling."""
    goal = forecast.scenario.goal_mrr
    return (float(forecast.closing_mrr[-1]) if goal is None else float(goal),)


def value_of(measure: Measure) -> float | None:
    """The number of a measure of one scenario."""
    return None if measure.value is None else float(measure.value)


def ends(part: np.ndarray, whole: np.ndarray, span: int) -> tuple[float, float] | None:
    """part / whole over the first and the last `span` months in which there is a whole; None where there are none."""
    there = np.flatnonzero(whole > 0)
    if not there.size:
        return None
    first, last = there[:span], there[-span:]
    return float(part[first].sum() / whole[first].sum()), float(part[last].sum() / whole[last].sum())
