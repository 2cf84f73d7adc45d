"""A forecast from what was measured, with a band for the uncertainty of the measured values and for chance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from growth.engine import forecast
from growth.engine.cohorts import cohorts
from growth.engine.curves import churn_by_age
from growth.records.churn_fit import BOUNDS, SECTIONS, Fit
from growth.records.estimate import FittedChurn, Measured
from growth.records.intervals import Rate
from growth.records.measured_ranges import churn_ratio
from growth.records.survival import seen_curve
from growth.records.to_scenario import assumptions, own_curve, plain_values, shown_plans
from growth.scenario import Scenario
from growth.scenario.section import LONGEST

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
        values["stay"]["comeback"]["comeback_rate"] = _around(measured.comeback, random)
    for plan, kind in zip(values["pay"]["plans"], shown_plans(measured).values(), strict=True):
        if kind.renewal:
            plan["renewal_rate"] = _around(kind.renewal, random)
        elif own_curve(kind, measured):
            plan["churn"] = mixed_curve(kind, ratio, random)
    values["grow"] = {
        "monthly_expansion_rate": _sum_draws(*measured.changes.rate("up"), random),
        "monthly_contraction_rate": _sum_draws(*measured.changes.rate("down"), random),
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


def _sum_draws(rate: Rate, events: float, random: np.random.Generator) -> np.ndarray:
    """Draw a rate that is a sum of so many changes, with Jeffreys' prior for the mean of a count."""
    return np.clip(rate.value * random.gamma(events + 0.5, size=DRAWS) / max(events, 0.5), 0, 1)


def _around(rate: Rate, random: np.random.Generator) -> np.ndarray:
    """Draw a share, normal with the width of its interval on each side."""
    z = random.standard_normal(DRAWS)
    width = np.where(z < 0, rate.value - rate.low, rate.high - rate.value)
    return np.clip(rate.value + width / 1.96 * z, 0, 1)


def mixed_curve(fitted: FittedChurn, ratio: np.ndarray, random: np.random.Generator) -> dict[str, Any]:
    """Draw churn curves from all that were fitted, by their AIC weights; return them as a section of survival by age.

    What the records say about ages beyond them depends on the curve, so a band around one curve alone is too narrow
    there. Source: Burnham and Anderson, "Model Selection and Multimodel Inference" (2nd ed. 2002), section 2.9.
    """
    usable = [fit for fit in fitted.fits if not fit.at_edge and np.isfinite(fit.covariance).all()]
    usable = usable if len(fitted.fits) > 1 and usable else [fitted.chosen or fitted.fits[0]]
    aic = np.array([fit.aic for fit in usable])
    weight = np.exp((aic.min() - aic) / 2)
    which = random.choice(len(usable), DRAWS, p=weight / weight.sum())
    ages = np.arange(1, LONGEST + 1)
    churn = np.empty((LONGEST, DRAWS))
    for number in np.unique(which).tolist():
        these = which == number
        section = SECTIONS[usable[number].curve].model_construct(**_curve(usable[number], random))
        churn[:, these] = np.broadcast_to(churn_by_age(section, ages=ages), churn.shape)[:, these]
    churn = np.clip(churn * ratio, 0, 1)
    alive = np.cumprod(1 - churn, axis=0)
    return {"curve": "measured", "survival": list(alive), "tail_monthly_churn_rate": churn[-1]}


def _curve(fit: Fit, random: np.random.Generator) -> dict[str, Any]:
    """Draw the parameters of a curve, as a section; those that were estimated alone vary."""
    from scipy.special import expit

    section: dict[str, Any] = {"curve": fit.curve, **fit.values}
    if np.isfinite(fit.covariance).all():
        for name, draws in zip(fit.low, _normal(fit.scaled, fit.covariance, random), strict=True):
            section[name] = np.clip(np.exp(draws), *BOUNDS[name]) if name in BOUNDS else expit(draws)
    return section


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
    changes = measured.changes
    scatter = (changes.up_squares.sum() + changes.down_squares.sum()) / base if base else 0.0
    # months in which more or fewer join than by chance: n expected have variance dispersion x n, of which Poisson is n
    joined = np.diagonal(customers[:, opening:])
    came = joined > 0
    bursts = (measured.joining.dispersion - 1) * (mrr[:, opening:][:, came] ** 2 / joined[came]).sum(axis=1)
    return bursts + size * (new + old * np.clip(1 - stay, 0, 1) + old * scatter * np.arange(1, scenario.months + 1))
