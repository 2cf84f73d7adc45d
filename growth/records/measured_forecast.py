"""A forecast from what was measured, with its band, and how well such forecasts would have done in the past.

The band is that of the measured values, which are unsure, and of chance. In the past: rolling-origin evaluation
(Tashman, 2000, International Journal of Forecasting 16, 437-450): at each origin only the months up to it are measured.
The rivals: no change, a straight line through the last six months, and the net growth of the last month over and over.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from growth.engine import forecast
from growth.engine.cohorts import cohorts
from growth.errors import Problem, count_of
from growth.records.bridge import movements, spells
from growth.records.estimate import Measured, measure
from growth.records.measured_ranges import churn_ratio, mixed_curve
from growth.records.paid_months import spread_payments
from growth.records.read.rows import RecordsError, Rows
from growth.records.survival import seen_curve
from growth.records.to_scenario import assumptions, own_curve, plain_values, shown_plans
from growth.scenario import Scenario

DRAWS = 400
RIVALS = ("no change", "straight line", "last net growth")
LOOK_BACK = 6  # months through which the line is drawn
CLEARLY = 0.9  # of our error, at which a rival counts as better


@dataclass(frozen=True, slots=True, eq=False)
class ForecastBand:
    """A forecast of MRR with its uncertainty.

    scenario: what was forecast. mrr: expected at the close of months 1 to T, shape (T,). draws: samples of it, shape
    (draws, T).
    """

    scenario: Scenario
    mrr: np.ndarray
    draws: np.ndarray

    def band(self, share: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
        """Return the ends between which this share (0 to 1) of the draws lies, each of shape (T,)."""
        low, high = np.quantile(self.draws, [(1 - share) / 2, (1 + share) / 2], axis=0)
        return low, high


def forecast_measured(measured: Measured, *, months: int, seed: int = 0, seen: bool = False) -> ForecastBand:
    """Forecast the measured scenario.

    The draws vary new customers and their growth, the parameters of churn, renewals, comebacks, expansion and
    contraction within their standard errors. A normal variable adds the chance of single customers: Poisson arrivals,
    binomial stays, and the observed variance of what a customer pays.

    Parameters
    ----------
    measured : Measured
        From `measure`.
    months : int
        How far ahead, 1 to 120.
    seed : int
        Of the draws.
    seen : bool
        Take churn as observed at each age instead of the recommended curves.

    Returns
    -------
    ForecastBand

    Examples
    --------
    >>> from growth.records.demo import DemoBusiness, demo_book
    >>> from growth.records.estimate import measure
    >>> ahead = forecast_measured(measure(demo_book(DemoBusiness(months=24), seed=1)), months=6)
    >>> low, high = ahead.band()
    >>> bool((low < ahead.mrr).all() and (ahead.mrr < high).all())
    True
    """
    values = assumptions(measured, business="measured", months=months)
    plain = plain_values(values)
    scenario = Scenario(**(_as_seen(plain, measured) if seen else plain))
    point = forecast(scenario)
    random = np.random.default_rng(seed)
    varied = _drawn(plain_values(values), measured, random)
    drawn = forecast(Scenario(**(_as_seen(varied, measured, random) if seen else varied)))
    mrr = np.broadcast_to(drawn.closing_mrr, (DRAWS, months))
    noise = random.standard_normal((DRAWS, 1)) * np.sqrt(_single_customers(scenario, measured))
    return ForecastBand(scenario, point.closing_mrr, np.maximum(mrr + noise, 0))


def _drawn(values: dict[str, Any], measured: Measured, random: np.random.Generator) -> dict[str, Any]:
    """Return the same scenario with arrays over draws for whatever was estimated."""
    channel = values["arrive"]["channels"][0]
    first, growth = measured.joining.draw(random, DRAWS)
    usual = float(measured.joining.first(channel["monthly_growth_rate"]))
    channel["monthly_visitors"] = channel["monthly_visitors"] * (first / usual if usual else 1.0)
    channel["monthly_growth_rate"] = growth
    ratio = churn_ratio(measured, random, DRAWS)
    values["stay"]["churn"] = mixed_curve(measured, ratio, random)
    if "comeback" in values["stay"] and measured.comeback:
        values["stay"]["comeback"]["comeback_rate"] = measured.comeback.draw(random, DRAWS)
    for plan, kind in zip(values["pay"]["plans"], shown_plans(measured).values(), strict=True):
        if kind.renewal:
            plan["renewal_rate"] = kind.renewal.draw(random, DRAWS)
        elif own_curve(kind, measured):
            plan["churn"] = mixed_curve(kind, ratio, random)
    values["grow"] = {
        "monthly_expansion_rate": measured.changes.draw("up", random, DRAWS),
        "monthly_contraction_rate": measured.changes.draw("down", random, DRAWS),
    }
    return values


def _as_seen(values: dict[str, Any], measured: Measured, random: np.random.Generator | None = None) -> dict[str, Any]:
    """Return the same scenario with churn as observed; with a generator, in draws."""
    draws = DRAWS if random else 0
    values["stay"]["churn"] = seen_curve(measured.monthly_table, draws=draws, random=random)
    for plan, kind in zip(values["pay"]["plans"], shown_plans(measured).values(), strict=True):
        if "churn" in plan:
            plan["churn"] = seen_curve(kind.table, draws=draws, random=random)
    return values


def _single_customers(scenario: Scenario, measured: Measured) -> np.ndarray:
    """Return the variance of MRR by month, shape (T,), from single customers joining, staying and changing plan."""
    book = measured.book
    customers, mrr = cohorts(scenario)
    opening = mrr.shape[1] - scenario.months
    old, new = mrr[:, :opening].sum(axis=1), mrr[:, opening:].sum(axis=1)
    start = scenario.opening.customers
    stay = customers[:, :opening].sum(axis=1) / start if start else np.zeros(scenario.months)
    now = book.mrr[book.month == book.months - 1]
    size = float((now**2).sum() / now.sum()) if now.size else float(scenario.pay.plans[0].price)
    before = np.flatnonzero(book.goes_on)
    base = (book.mrr[before] ** 2).sum()
    changes = measured.changes
    scatter = (changes.up_squares.sum() + changes.down_squares.sum()) / base if base else 0.0
    # months in which more or fewer join than by chance: n expected have variance dispersion x n, of which Poisson is n
    joined = np.diagonal(customers[:, opening:])
    came = joined > 0
    bursts = (measured.joining.dispersion - 1) * (mrr[:, opening:][:, came] ** 2 / joined[came]).sum(axis=1)
    return bursts + size * (new + old * np.clip(1 - stay, 0, 1) + old * scatter * np.arange(1, scenario.months + 1))


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
    """Say in a sentence, without a full stop, which forecast was the least off so many months ahead, and what to use.

    The forecasts of one business share most of their months, so a rival counts as better only where its mean error is
    lower by a tenth or more; our own rule.
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
