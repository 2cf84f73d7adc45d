"""An answer read off a forecast: a number, or the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from growth.engine import Forecast
from growth.errors import MeasureError, Problem


@dataclass(frozen=True, slots=True, eq=False)
class Measure:
    """value: the number; None where it is undefined. Over draws an array of shape (draws,), NaN where undefined.

    reason: why it is undefined, in plain words; "" where it is defined (in every draw).
    """

    value: float | int | np.ndarray | None
    reason: str = ""

    @classmethod
    def of(cls, forecast: Forecast, values: Any, reason: str, *, whole: bool = False) -> Measure:
        """From an array of shape (1,) or (draws,), NaN where undefined; `reason` is kept only where something is."""
        values = np.asarray(values, dtype=float)
        missing = np.isnan(values)
        if forecast.scenario.draws is not None:
            values = np.broadcast_to(values, (forecast.scenario.draws,))
            return cls(values, reason if missing.any() else "")
        value = values.reshape(-1)[0]
        if np.isnan(value):
            return cls(None, reason)
        return cls(int(value) if whole else float(value))


def month_of(forecast: Forecast, month: int | None, *, first: int = 1) -> int:
    """The month asked for (None: the last), checked. Raises MeasureError outside first..months."""
    last = forecast.months
    month = last if month is None else month
    if not isinstance(month, (int, np.integer)) or not first <= month <= last:
        raise MeasureError([Problem("month", f"a whole number from {first} to {last}", str(month))])
    return int(month)


def window(forecast: Forecast, month: int | None, over: int) -> slice:
    """The `over` months that end with `month`, as a slice of a series; fewer where the forecast starts later."""
    month = month_of(forecast, month)
    if not isinstance(over, (int, np.integer)) or over < 1:
        raise MeasureError([Problem("over", "a whole number of months from 1 up", str(over))])
    return slice(max(month - over, 0), month)
