"""How well such forecasts would have done: from many months of the past, forecast what by now has happened.

Rolling origin (Tashman, 2000, International Journal of Forecasting 16, 437-450): at each origin only the months up to
it are measured. Beside it stand three plain rivals: the last value, a straight line, a constant growth rate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.errors import Problem
from growth.records.bridge import movements, spells
from growth.records.estimate import measure
from growth.records.forecast_band import forecast_measured
from growth.records.paid_months import spread_payments
from growth.records.read.rows import Rows
from growth.records.read.unreadable import RecordsError

RIVALS = ("last value", "straight line", "constant growth rate")
LOOK_BACK = 12  # months that line and growth rate are taken from


@dataclass(frozen=True, slots=True, eq=False)
class Backtest:
    """Forecasts of MRR beside what happened.

    origins: the last month each forecast knew, shape (origins,). actual, forecast, low, high: shape (origins,
    horizon), horizon months 1, 2, ...; NaN where the records end. rivals: by name, of the same shape. The band holds
    95%.
    """

    origins: np.ndarray
    actual: np.ndarray
    forecast: np.ndarray
    low: np.ndarray
    high: np.ndarray
    rivals: dict[str, np.ndarray]

    def error(self, name: str = "") -> np.ndarray:
        """Mean absolute error as a share of what happened, by horizon; of the forecast, or of the rival named."""
        guess = self.rivals[name] if name else self.forecast
        return np.nanmean(np.abs(guess - self.actual) / self.actual, axis=0)

    @property
    def counted(self) -> np.ndarray:
        """How many origins reach so far ahead, by horizon: the last ones see the records end before."""
        return np.isfinite(self.actual).sum(axis=0)

    def bias(self, name: str = "") -> np.ndarray:
        """Mean error with its sign, as a share of what happened, by horizon: above 0 promises too much."""
        guess = self.rivals[name] if name else self.forecast
        return np.nanmean((guess - self.actual) / self.actual, axis=0)

    @property
    def coverage(self) -> np.ndarray:
        """Share of the origins whose band holds what happened, by horizon."""
        held = (self.actual >= self.low) & (self.actual <= self.high)  # never where nothing is known of what happened
        return held.sum(axis=0) / self.counted


def run_backtest(
    rows: Rows, *, until: str | None = None, shortest: int = 18, horizon: int = 12, every: int = 1, seed: int = 0
) -> Backtest:
    """Forecast from every `every`-th month that has at least `shortest` months of records before it.

    Raises RecordsError where the records are shorter than shortest + horizon months.
    """
    book = spread_payments(rows, until=until)
    if book.months < shortest + horizon:
        rule = f"records of at least {shortest + horizon} months for a backtest"
        raise RecordsError([Problem("", rule, f"{book.months} months")])
    mrr = movements(book, spells(book)).closing_mrr.sum(axis=1)
    lengths = range(shortest, book.months, every)
    results = [_one(rows, book.first_month + (length - 1), mrr, length, horizon, seed) for length in lengths]
    actual, expected, low, high, *rivals = (np.stack(column) for column in zip(*results, strict=True))
    origins = book.first_month + np.array([length - 1 for length in lengths])
    return Backtest(origins, actual, expected, low, high, dict(zip(RIVALS, rivals, strict=True)))


def rival_forecasts(past: np.ndarray, horizon: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The three rivals from the MRR of past months: last value; least-squares line and growth rate of the last 12
    months.

    >>> [guess.round(6).tolist() for guess in rival_forecasts(np.array([100.0, 110.0]), 2)]
    [[110.0, 110.0], [120.0, 130.0], [121.0, 133.1]]
    """
    ahead, back = np.arange(1, horizon + 1), past[-LOOK_BACK - 1 :]
    slope, level = np.polyfit(np.arange(1 - back.size, 1), back, 1) if back.size > 1 else (0.0, back[-1])
    growth = (back[-1] / back[0]) ** (1 / (back.size - 1)) if back.size > 1 and back[0] > 0 else 1.0
    return np.full(horizon, past[-1]), level + slope * ahead, past[-1] * growth**ahead


def _one(rows: Rows, origin: np.datetime64, mrr: np.ndarray, length: int, horizon: int, seed: int) -> tuple:
    ahead = forecast_measured(measure(spread_payments(rows, until=str(origin)), seed=seed), months=horizon, seed=seed)
    actual = np.full(horizon, np.nan)
    known = mrr[length : length + horizon]
    actual[: known.size] = known
    return actual, ahead.mrr, *ahead.band(), *rival_forecasts(mrr[:length], horizon)
