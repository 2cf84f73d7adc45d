"""How well forecasts of these records would have done in the past, and whether a plain rule would have done better.

Rolling-origin evaluation (Tashman, 2000, International Journal of Forecasting 16, 437-450): at each origin only the
months up to it are measured. The rivals: no change, a straight line through the last six months, and the net growth of
the last month over and over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.errors import Problem, count_of
from growth.records.bridge import movements, spells
from growth.records.estimate import measure
from growth.records.measured_forecast import forecast_measured
from growth.records.paid_months import spread_payments
from growth.records.read.rows import RecordsError, Rows

RIVALS = ("no change", "straight line", "last net growth")
LOOK_BACK = 6  # months through which the line is drawn
CLEARLY = 0.9  # of our error, at which a rival counts as better


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
        return np.nanmean(np.abs(self._off(name)), axis=0)

    @property
    def counted(self) -> np.ndarray:
        """How many forecasts can be compared, by horizon: the records end too early for the last origins."""
        return np.isfinite(self.actual).sum(axis=0)

    def bias(self, name: str = "") -> np.ndarray:
        """Return the mean signed error as a share of the actual value, by horizon; above 0 the forecast is too high."""
        return np.nanmean(self._off(name), axis=0)

    def _off(self, name: str) -> np.ndarray:
        return (self.rivals[name] if name else self.forecast) / self.actual - 1

    @property
    def coverage(self) -> np.ndarray:
        """The share of forecasts whose band holds the actual value, by horizon."""
        held = (self.actual >= self.low) & (self.actual <= self.high)  # never where nothing is known of what happened
        return held.sum(axis=0) / self.counted


def run_backtest(
    rows: Rows,
    *,
    until: str | None = None,
    grace: int | None = None,
    shortest: int = 18,
    horizon: int = 12,
    every: int = 1,
    seed: int = 0,
) -> Backtest:
    """Forecast from past months and compare with what happened.

    Parameters
    ----------
    rows : Rows
        From `read_records`.
    until : str, optional
        The last month to use, such as "2025-12"; without it that of the latest date.
    grace : int, optional
        As for `spread_payments`.
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

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> from growth.records.demo import DemoBusiness, write_demo
    >>> from growth.records.read import read_records
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "charges.csv"
    ...     _ = write_demo(DemoBusiness(months=30), file, seed=1)
    ...     test = run_backtest(read_records(file), every=12)
    >>> test.origins.astype(str).tolist()
    ['2025-06']
    """
    book = spread_payments(rows, until=until, grace=grace)
    if book.months < shortest + horizon:
        rule = f"records of at least {count_of(shortest + horizon, 'month')} for a backtest"
        raise RecordsError([Problem("", rule, f"{book.months} months")])
    mrr = movements(book, spells(book)).closing_mrr.sum(axis=1)
    lengths = range(shortest, book.months, every)
    happened = np.append(mrr, np.full(horizon, np.nan))
    results = []
    for length in lengths:
        known = spread_payments(rows, until=str(book.calendar_month(length - 1)), grace=grace)
        ahead = forecast_measured(measure(known, seed=seed), months=horizon, seed=seed)
        rivals = rival_forecasts(mrr[:length], horizon)
        results.append((happened[length : length + horizon], ahead.mrr, *ahead.band(), *rivals))
    actual, expected, low, high, *guesses = (np.stack(column) for column in zip(*results, strict=True))
    origins = np.array([book.calendar_month(length - 1) for length in lengths])
    return Backtest(origins, actual, expected, low, high, dict(zip(RIVALS, guesses, strict=True)))


def rival_forecasts(past: np.ndarray, horizon: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Forecast as the three rivals do, from the MRR of past months, in the order of RIVALS.

    >>> [guess.round(6).tolist() for guess in rival_forecasts(np.array([100.0, 110.0, 114.0]), 2)]
    [[114.0, 114.0], [122.0, 129.0], [118.0, 122.0]]
    """
    ahead, back = np.arange(1, horizon + 1), past[-LOOK_BACK:]
    slope, level = np.polyfit(np.arange(1 - back.size, 1), back, 1) if back.size > 1 else (0.0, back[-1])
    gained = past[-1] - past[-2] if past.size > 1 else 0.0
    return np.full(horizon, past[-1]), level + slope * ahead, past[-1] + gained * ahead


def verdict(test: Backtest) -> list[str]:
    """Say how far off the forecasts were beside their rivals, and which one has been the best for this business.

    Parameters
    ----------
    test : Backtest
        From `run_backtest`.

    Returns
    -------
    list of str
        Lines of text: a table by months ahead, then a sentence.

    Examples
    --------
    >>> one, off = np.array([[100.0]]), np.array([[110.0]])
    >>> rivals = dict(zip(RIVALS, (off, off + 5, off + 10), strict=True))
    >>> test = Backtest(np.array(["2025-12"]), one, one + 2, one - 9, one + 9, rivals)
    >>> verdict(test)[2].split()[:3]  # a month ahead, one forecast, off by 2%
    ['1', '1', '2.0%']
    """
    names = ("", *RIVALS)
    shown = [n for n in (1, 3, 6, 12, test.actual.shape[1]) if n <= test.actual.shape[1] and test.counted[n - 1]]
    lines = ["mean error of forecasts made in the past, by months ahead:", "  months  forecasts"]
    lines[-1] += "".join(f"{name or 'this forecast':>18}" for name in names) + f"{'in the 95% band':>18}"
    for n in dict.fromkeys(shown):
        errors = "".join(f"{test.error(name)[n - 1]:>18.1%}" for name in names)
        lines.append(f"  {n:>6}  {test.counted[n - 1]:>9}{errors}{test.coverage[n - 1]:>18.0%}")
    return [*lines, best(test, shown[-1]) + "."] if shown else lines


def best(test: Backtest, ahead: int) -> str:
    """Say which forecast was the least off so many months ahead, and what to use.

    The forecasts of one business share most of their months, so a rival counts as better only where its mean error is
    lower by a tenth or more; our own rule.

    Parameters
    ----------
    test : Backtest
        From `run_backtest`.
    ahead : int
        How many months ahead, from 1.

    Returns
    -------
    str
        A sentence without a full stop.

    Examples
    --------
    >>> one, off = np.array([[100.0]]), np.array([[110.0]])
    >>> rivals = dict(zip(RIVALS, (off, off + 5, off + 10), strict=True))
    >>> test = Backtest(np.array(["2025-12"]), one, one + 2, one - 9, one + 9, rivals)
    >>> best(test, 1)[-43:]
    ', "no change", by 10.0%: take this forecast'
    """
    errors = {name: float(test.error(name)[ahead - 1]) for name in RIVALS}
    rival, ours = min(RIVALS, key=errors.__getitem__), float(test.error()[ahead - 1])
    months, many = f"{count_of(ahead, 'month')} ahead", count_of(int(test.counted[ahead - 1]), "forecast")
    if errors[rival] <= CLEARLY * ours:
        return (
            f'{months}, over {many}, the plain rule "{rival}" was off by {errors[rival]:.1%} and this forecast by '
            f"{ours:.1%}: for this business take the rule"
        )
    near = "too near to prefer the rule" if errors[rival] < ours else "take this forecast"
    return (
        f'{months}, over {many}, this forecast was off by {ours:.1%} and the best plain rule, "{rival}", by '
        f"{errors[rival]:.1%}: {near}"
    )
