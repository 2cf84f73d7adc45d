"""How well such forecasts would have done in the past, beside three plain rivals.

Rolling-origin evaluation (Tashman, 2000, International Journal of Forecasting 16, 437-450): at each origin only the
months up to it are measured. The rivals: the last value, a straight line, a constant growth rate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.errors import Problem
from growth.records.bridge import movements, spells
from growth.records.estimate import measure
from growth.records.forecast_band import forecast_measured
from growth.records.paid_months import spread_payments
from growth.records.read.rows import RecordsError, Rows

RIVALS = ("last value", "straight line", "constant growth rate")
LOOK_BACK = 12  # months from which the line and the growth rate are taken


@dataclass(frozen=True, slots=True, eq=False)
class Backtest:
    """Forecasts of MRR beside what happened.

    origins: the last month known to each forecast, shape (origins,). actual, forecast: shape (origins, horizon), for 1,
    2, ... months ahead; actual is NaN beyond the end of the records. low, high: the 95% band. rivals: forecasts of the
    rivals by name, of the same shape.
    """

    origins: np.ndarray
    actual: np.ndarray
    forecast: np.ndarray
    low: np.ndarray
    high: np.ndarray
    rivals: dict[str, np.ndarray]

    def error(self, name: str = "") -> np.ndarray:
        """Return the mean absolute error as a share of the actual value, by horizon; name: of a rival instead."""
        guess = self.rivals[name] if name else self.forecast
        return np.nanmean(np.abs(guess - self.actual) / self.actual, axis=0)

    @property
    def counted(self) -> np.ndarray:
        """How many forecasts can be compared, by horizon: the records end too early for the last origins."""
        return np.isfinite(self.actual).sum(axis=0)

    def bias(self, name: str = "") -> np.ndarray:
        """Return the mean signed error as a share of the actual value, by horizon; above 0 the forecast is too high."""
        guess = self.rivals[name] if name else self.forecast
        return np.nanmean((guess - self.actual) / self.actual, axis=0)

    @property
    def coverage(self) -> np.ndarray:
        """The share of forecasts whose band holds the actual value, by horizon."""
        held = (self.actual >= self.low) & (self.actual <= self.high)  # never where nothing is known of what happened
        return held.sum(axis=0) / self.counted


def run_backtest(
    rows: Rows, *, until: str | None = None, shortest: int = 18, horizon: int = 12, every: int = 1, seed: int = 0
) -> Backtest:
    """Forecast from past months and compare with what happened.

    Parameters
    ----------
    rows : Rows
        From `read_records`.
    until : str, optional
        The last month to use, such as "2025-12"; without it that of the latest date.
    shortest : int
        How many months of records the first origin has.
    horizon : int
        How many months ahead to forecast.
    every : int
        Take every so many months as an origin.
    seed : int
        Of bootstrap and draws.

    Returns
    -------
    Backtest

    Raises
    ------
    RecordsError
        The records are shorter than shortest + horizon months.
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
    """Forecast as the three rivals do, from the MRR of past months: last value, least-squares line, growth rate.

    >>> [guess.round(6).tolist() for guess in rival_forecasts(np.array([100.0, 110.0]), 2)]
    [[110.0, 110.0], [120.0, 130.0], [121.0, 133.1]]
    """
    ahead, back = np.arange(1, horizon + 1), past[-LOOK_BACK - 1 :]
    slope, level = np.polyfit(np.arange(1 - back.size, 1), back, 1) if back.size > 1 else (0.0, back[-1])
    growth = (back[-1] / back[0]) ** (1 / (back.size - 1)) if back.size > 1 and back[0] > 0 else 1.0
    return np.full(horizon, past[-1]), level + slope * ahead, past[-1] * growth**ahead


def _one(
    rows: Rows, origin: np.datetime64, mrr: np.ndarray, length: int, horizon: int, seed: int
) -> tuple[np.ndarray, ...]:
    ahead = forecast_measured(measure(spread_payments(rows, until=str(origin)), seed=seed), months=horizon, seed=seed)
    actual = np.full(horizon, np.nan)
    known = mrr[length : length + horizon]
    actual[: known.size] = known
    return actual, ahead.mrr, *ahead.band(), *rival_forecasts(mrr[:length], horizon)
