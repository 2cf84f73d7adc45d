"""Customers followed: those on board in one month seen again in a later one, and a new customer over a lifetime."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from growth.engine.cohorts import states_at
from growth.engine.draws import Array, Read, by_block
from growth.engine.life import YEAR, ageless, life_of, plan_churn, plan_growth
from growth.engine.step import CUSTOMERS, MRR, advance

if TYPE_CHECKING:
    from growth.scenario import Scenario
    from growth.scenario.churn import Churn

LIFETIME = 1200  # months over which a lifetime is summed before its tail is closed as a geometric series
EDGE = 1 - 1e-5  # a ratio this near 1 has no level that could be told from growth without end
NOTHING = 1e-200  # a year's sum below this has died out: numbers near the smallest float no longer halve


def followed(scenario: Scenario, *, start: int, end: int) -> Array:
    """The customers on board at the close of `start`, followed to the close of `end`; nobody joins them.

    start, end: whole months, 0 <= start <= end <= T. Returns shape (5, 1 or draws): customers and MRR at the start;
    customers, MRR, and MRR without any gain (neither expansion nor price rises) at the end.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", months=2, opening={"customers": 10, "mrr": 200},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]}, grow={"monthly_expansion_rate": 0.25},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.5}})
    >>> followed(small, start=0, end=2).ravel().round(9).tolist()
    [10.0, 200.0, 2.5, 78.125, 50.0]
    """

    pooled = ageless(scenario)

    def block(read: Read, draws: int) -> Array:
        life = life_of(scenario, read=read, pooled=pooled)
        no_gain = replace(
            life,
            expansion=None if life.expansion is None else np.zeros_like(life.expansion),
            price_rate=None if life.price_rate is None else np.minimum(life.price_rate, 0.0),
        )
        then = states_at(scenario, months=[start], read=read, draws=draws, pooled=pooled)[start]
        net, gross = then.copy(), then.copy()
        for month in range(start + 1, end + 1):
            advance(net, life=life, month=month)
            advance(gross, life=no_gain, month=month)
        then, net, gross = (state.sum(axis=(0, 2)) for state in (then, net, gross))
        return np.stack([then[CUSTOMERS], then[MRR], net[CUSTOMERS], net[MRR], gross[MRR]])

    return by_block(scenario, block)


def settled_ages(scenario: Scenario) -> int:
    """How many ages of a lifetime have to be looked at before `lifetime_sum` can close it: LIFETIME at most.

    Three years from the age after which every year repeats the one before: that of the last change of churn, or of
    growth. So a constant curve, whose sum is a geometric series from the start, takes 36 ages and not 1,200.

    >>> from growth.scenario import Scenario
    >>> plans = [{"name": "Studio", "monthly_price": 20}]
    >>> settled_ages(Scenario(business="Fernhollow", pay={"plans": plans}, grow={"monthly_expansion_rate": 0.01,
    ...     "last_age_months": 30}))
    72
    """
    changes = [_last_change(plan.churn or scenario.stay.churn) for plan in scenario.pay.plans]
    years = -(-max(scenario.grow.last_age_months or 0, *changes) // YEAR)
    return min((years + 3) * YEAR, LIFETIME)


def _last_change(curve: Churn) -> int:
    """The last age at which churn may differ from that of the age after; LIFETIME where it never settles."""
    if curve.curve == "early_late":
        return curve.early_months
    if curve.curve == "measured":
        return len(curve.survival)
    return 0 if curve.curve == "constant" else LIFETIME


def lifetime(scenario: Scenario, *, month: int, read: Read, ages: int = LIFETIME) -> tuple[Array, Array, Array]:
    """A new customer's life by plan, with the churn changes up to `month` and no price change.

    S(a) = S(a-1)(1 - h(a)), W(a) = W(a-1)(1 - h(a))(1 + e - k), S(0) = W(0) = 1. month: 1..T. ages: how many, 1 or
    more. Returns survival S and MRR relative to the price W at ages 0..ages - 1, and churn h at ages 1..ages - 1, each
    of shape (plans, ages, 1 or draws).

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.5}})
    >>> lifetime(small, month=1, read=np.atleast_1d)[0][0, :3, 0].tolist()
    [1.0, 0.5, 0.25]
    """
    older = np.arange(1, ages)
    churn = plan_churn(scenario, ages=older, month=month, read=read)
    up, down = plan_growth(scenario, ages=older, read=read)
    keep = 1 - churn
    grown = keep if up is None or down is None else keep * (1 + up - down)
    with np.errstate(over="ignore"):
        return _from_one(keep), _from_one(grown), churn


def lifetime_sum(terms: Array) -> tuple[Array, Array, npt.NDArray[np.bool_]]:
    """The sum over ages of terms of shape (plans, ages, draws), with a tail that goes on as the last two years do.

    ages: whole years, three or more; `settled_ages` or LIFETIME.
    sum + last year x rho / (1 - rho), rho = last year / the year before. Returns that, infinite where rho is 1 or more;
    rho; and whether the sum can be trusted: rho below EDGE, and either settled (as it is where churn is constant) or a
    tail of at most 1% of the sum. Each has shape (plans, draws).

    >>> total, rho, sure = lifetime_sum((0.99 ** np.arange(LIFETIME))[None, :, None])
    >>> total.round(6).item(), sure.item()  # 1 / (1 - 0.99)
    (100.0, True)
    """
    years = [terms[:, -YEAR * (k + 1) : terms.shape[1] - YEAR * k].sum(axis=1) for k in range(3)]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        ratios = (np.where(b < NOTHING, 0.0, a / b) for a, b in pairwise(years))
        rho, before = (np.where(np.isnan(ratio), np.inf, ratio) for ratio in ratios)  # terms beyond all numbers
        body = terms.sum(axis=1)
        tail = np.where(rho < 1, years[0] * rho / (1 - rho), np.inf)
        settled = (np.abs(rho - before) <= 1e-6 * (1 - rho)) | (tail <= 0.01 * body)
        return body + tail, rho, (rho < EDGE) & settled


def _from_one(factors: Array) -> Array:
    ones = np.ones((factors.shape[0], 1, factors.shape[2]))
    return np.cumprod(np.concatenate([ones, factors], axis=1), axis=1)
