"""A forecast from what was measured, with its band: that of the measured values, which are unsure, and of chance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from growth.engine import forecast
from growth.engine.cohorts import cohorts
from growth.records.estimate import Measured
from growth.records.measured_ranges import churn_ratio, mixed_curve
from growth.records.survival import seen_curve
from growth.records.to_scenario import assumptions, own_curve, plain_values, shown_plans
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
