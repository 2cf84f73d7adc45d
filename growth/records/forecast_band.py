"""A forecast from what was measured, with a band for the uncertainty of the measured values and for chance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from growth.engine import forecast
from growth.engine.cohorts import cohorts
from growth.records.churn_fit import BOUNDS, Fit
from growth.records.estimate import RECENT, Measured
from growth.records.intervals import Rate
from growth.records.survival import seen_curve
from growth.records.to_scenario import Value, assumptions, first_joining, own_curve, shown_kinds, steady_growth
from growth.scenario import Scenario

DRAWS = 400


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


def plain_values(part: Any) -> Any:
    """Return nested values without their comments, as `Scenario` takes them."""
    if isinstance(part, Value):
        return part.value
    if isinstance(part, dict):
        return {key: plain_values(value) for key, value in part.items()}
    return [plain_values(value) for value in part] if isinstance(part, list) else part


def _drawn(values: dict[str, Any], measured: Measured, random: np.random.Generator) -> dict[str, Any]:
    """Return the same scenario with arrays over draws for whatever was estimated."""
    channel = values["arrive"]["channels"][0]
    rate, error = steady_growth(measured.growth)
    z, other = random.standard_normal((2, DRAWS))
    growth = np.clip(rate + error * z, -0.5, 0.5)
    carried = first_joining(measured, growth) / (first_joining(measured, rate) or 1)
    shared = shared_error(measured.new_customers, months=measured.joins.size, error=error)
    level = _around(measured.new_customers, shared * z + np.sqrt(1 - shared**2) * other)
    relative = np.maximum(level / measured.new_customers.value, 0) if measured.new_customers.value else 1.0
    channel["monthly_visitors"] = channel["monthly_visitors"] * carried * relative
    channel["monthly_growth_rate"] = growth
    values["stay"]["churn"] = _curve(measured.chosen, random)
    if "comeback" in values["stay"] and measured.comeback:
        values["stay"]["comeback"]["comeback_rate"] = np.clip(
            _around(measured.comeback, random.standard_normal(DRAWS)), 0, 1
        )
    for plan, kind in zip(values["pay"]["plans"], shown_kinds(measured), strict=True):
        if kind.renewal:
            plan["renewal_rate"] = np.clip(_around(kind.renewal, random.standard_normal(DRAWS)), 0, 1)
        elif own_curve(kind, measured) and kind.chosen:
            plan["churn"] = _curve(kind.chosen, random)
    pick = random.integers(0, measured.expansion_draws.shape[1], DRAWS)
    rates = np.clip(measured.expansion_draws[:, pick], 0, 1)
    values["grow"] = {"monthly_expansion_rate": rates[0], "monthly_contraction_rate": rates[1]}
    return values


def _as_seen(values: dict[str, Any], measured: Measured, random: np.random.Generator | None = None) -> dict[str, Any]:
    """Return the same scenario with churn as observed; with a generator, in draws."""
    draws = DRAWS if random else 0
    values["stay"]["churn"] = seen_curve(measured.monthly_table, draws=draws, random=random)
    for plan, kind in zip(values["pay"]["plans"], shown_kinds(measured), strict=True):
        if "churn" in plan:
            plan["churn"] = seen_curve(kind.table, draws=draws, random=random)
    return values


def shared_error(level: Rate, *, months: int, error: float) -> float:
    """Return the correlation, 0 to 1, of the errors of level and growth: chance in the latest months moves both.

    The level is the mean of the last 12 of `months` months. Its middle is b months later than that of the months from
    which growth is estimated (24 at most), so an error e in growth means an error b e in the level. error: the standard
    error of growth.
    """
    behind = (min(months, 2 * RECENT) - min(months, RECENT)) / 2
    spread = (level.high - level.low) / (2 * 1.96 * level.value) if level.value else 0.0
    return min(behind * error / spread, 1.0) if spread else 0.0


def _around(rate: Rate, z: np.ndarray) -> np.ndarray:
    """Turn standard normal draws z into draws of the rate, with the width of its interval on each side."""
    return rate.value + np.where(z < 0, rate.value - rate.low, rate.high - rate.value) / 1.96 * z


def _curve(fit: Fit, random: np.random.Generator) -> dict[str, Any]:
    if not np.isfinite(fit.covariance).all():
        return {"curve": fit.curve, **fit.values}
    draws = _normal(fit.scaled, fit.covariance, random)
    names = [name for name in fit.values if name in fit.low]
    if fit.curve in ("constant", "early_late"):
        rates = 1 / (1 + np.exp(-draws))
        return {"curve": fit.curve, **fit.values, **dict(zip(names, rates, strict=True))}
    return {
        "curve": fit.curve,
        **{name: np.clip(np.exp(one), *BOUNDS[name]) for name, one in zip(names, draws, strict=True)},
    }


def _normal(mean: np.ndarray, covariance: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """Draw from a normal distribution, shape (parameters, DRAWS). A Cholesky factor is the same on every machine."""
    try:
        root = np.linalg.cholesky(covariance)
    except np.linalg.LinAlgError:  # not positive definite: along one direction the data say next to nothing
        return random.multivariate_normal(mean, covariance, DRAWS).T
    return mean[:, None] + root @ random.standard_normal((mean.size, DRAWS))


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
    scatter = ((book.mrr[before + 1] - book.mrr[before]) ** 2).sum() / base if base else 0.0
    return size * (new + old * np.clip(1 - stay, 0, 1) + old * scatter * np.arange(1, scenario.months + 1))
