"""An answer read off a forecast: a number, or the reason why there is none."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import Any

import numpy as np

from growth.engine import Forecast
from growth.errors import MeasureError, Problem
from growth.measures.reason import NO_REASON, REASONS, Reason

SAME = 1e-6  # amounts of MRR or cash that differ by less than this share are the same: the rest is rounding
ROUNDING = 1e-9  # of all that was taken in: how well a sum of cash over the months is known


@dataclass(frozen=True, slots=True, eq=False)
class Measure:
    """What was asked of a forecast.

    value: the number; None where it is undefined. Over draws an array of shape (draws,), NaN where undefined.
    reason: why it is undefined, in plain words; "" where it is defined (in every draw). code: the same as a short code
    where the reason is one of `growth.measures.reason.Reason`, else "".

    >>> Measure(None, "nobody joined").value is None
    True
    """

    value: float | int | np.ndarray | None
    reason: str = ""
    code: str = ""

    @classmethod
    def of(cls, forecast: Forecast, values: Any, reason: Reason | str, *, whole: bool = False) -> Measure:
        """From an array of shape (1,) or (draws,), NaN where undefined; `reason` is kept only where something is.

        whole: without draws the value is an int, such as a month.
        """
        values = np.asarray(values, dtype=float)
        missing = np.isnan(values)
        words, code = (reason.words, reason.value) if isinstance(reason, Reason) else (reason, "")
        if forecast.scenario.draws is not None:
            values = np.broadcast_to(values, (forecast.scenario.draws,))
            return cls(values, words, code) if missing.any() else cls(values)
        value = values.reshape(-1)[0]
        if np.isnan(value):
            return cls(None, words, code)
        return cls(int(value) if whole else float(value))

    @classmethod
    def by_number(cls, forecast: Forecast, values: np.ndarray, numbers: np.ndarray) -> Measure:
        """From values and the number of the reason why each is undefined; 0 or NO_REASON where it is defined."""
        undefined = (numbers > 0) & (numbers < NO_REASON)
        first = numbers[undefined][:1]
        return cls.of(forecast, np.where(undefined, np.nan, values), REASONS[int(first[0]) - 1] if first.size else "")


def month_for_good(holds: np.ndarray) -> np.ndarray:
    """The first month, 1..T, from which something holds in every month, by draw; NaN where it does not in the last.

    >>> month_for_good(np.array([[True, False, True, True], [True, True, True, False]]))
    array([ 3., nan])
    """
    from_here = np.logical_and.accumulate(holds[..., ::-1], axis=-1)[..., ::-1]
    return np.where(from_here[..., -1], from_here.argmax(axis=-1) + 1, np.nan)


def whole_number(
    field: str, value: Any, *, low: int, high: int, rule: str = "a whole number from {low} to {high}"
) -> int:
    """The value as an int. Raises MeasureError, which names `field` and `rule`, unless it is whole and low..high.

    >>> whole_number("month", 3, low=1, high=12)
    3
    >>> whole_number("month", 13, low=1, high=12)
    Traceback (most recent call last):
    growth.errors.MeasureError: month: a whole number from 1 to 12 (found 13)
    """
    fits = isinstance(value, (int, np.integer)) and not isinstance(value, bool) and low <= value <= high
    if not fits:
        raise MeasureError([Problem(field, rule.format(low=low, high=high), str(value))])
    return int(value)


def month_of(forecast: Forecast, month: int | None) -> int:
    """The month asked for, 1..T; None: the last. Raises MeasureError outside of it.

    >>> import growth
    >>> plans = [{"name": "Studio", "monthly_price": 20}]
    >>> month_of(growth.forecast(growth.Scenario(business="Fernhollow", months=24, pay={"plans": plans})), None)
    24
    """
    return forecast.months if month is None else whole_number("month", month, low=1, high=forecast.months)


def window(forecast: Forecast, *, month: int | None, over: int) -> slice:
    """The `over` months that end with `month` (None: the last), as a slice of a series; fewer where it starts later.

    over: whole months, >= 1. Raises MeasureError for a month outside the forecast, or an `over` below 1.

    >>> import growth
    >>> plans = [{"name": "Studio", "monthly_price": 20}]
    >>> forecast = growth.forecast(growth.Scenario(business="Fernhollow", months=24, pay={"plans": plans}))
    >>> window(forecast, month=None, over=12), window(forecast, month=3, over=12)
    (slice(12, 24, None), slice(0, 3, None))
    """
    month = month_of(forecast, month)
    over = whole_number("over", over, low=1, high=sys.maxsize, rule="a whole number of months from {low} up")
    return slice(max(month - over, 0), month)
