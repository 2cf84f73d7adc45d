"""A new customer over a whole lifetime: what is kept at each age, its sum, and how it behaves in the end.

Arrays have shape (plans, ages, 1 or draws), sums (plans, 1 or draws); see `growth.engine.draws` for `read`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from growth.engine.draws import Read, stack
from growth.engine.life import YEAR, churn_factor, plan_churn, plan_growth

LIFETIME = 1200  # ages summed where churn never settles
EDGE = 1 - 1e-5  # a ratio from here up to ONE levels off too late to be told from growth without end
ONE = 1 - 1e-9  # a ratio from here on is 1 or more: the rest is rounding
FLAT = 1e-9  # growth of a year below this is none
NOTHING = 1e-200  # a year's sum below this has died out: numbers near the smallest float no longer halve

# How a sum over all ages behaves.
FINITE = 0  # it has a limit
GROWS = 1  # the terms grow, or hold only because those who stay pay more
LOYAL = 2  # the terms fade, too slowly for the sum to have a limit: churn falls like 1 / age
LOYAL_GROWS = 3  # the same, but growth wins in the end, beyond the ages looked at
UNSETTLED = 4  # there is a limit, but it is not reached within LIFETIME and has no closed form
STAYS = 5  # the terms stop falling above 0: some never leave


@dataclass(frozen=True, slots=True, eq=False)
class Lifetime:
    """A new customer of each plan by age, with the churn changes of one month and no price change.

    alive: S(a), the share still on board at ages 0, 1, ..., ages - 1. worth: W(a), their MRR for a price of 1. churn:
    h(a) at ages 1, 2, ..., ages - 1. growth: by how much those who stay pay more in a year, at the last ages, shape
    (plans, 1 or draws). fall: the power of age with which survival falls in the end, where churn falls like 1 / age;
    NaN where it does not; the same shape. yearly: which plans are billed by the year, shape (plans,).
    """

    alive: np.ndarray
    worth: np.ndarray
    churn: np.ndarray
    growth: np.ndarray
    fall: np.ndarray
    yearly: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class LifetimeSum:
    """A sum over all ages: its total (infinite or meaningless where `kind` is not FINITE), kind, and ratio of years."""

    total: np.ndarray
    kind: np.ndarray
    ratio: np.ndarray


def settled_ages(scenario: Any) -> int:
    """How many ages of a lifetime have to be looked at before `lifetime_sum` can close it: LIFETIME at most.

    Three years from the age after which every year repeats the one before: that of the last change of churn, or of
    growth. A constant curve, whose sum is a geometric series from the start, takes 36 ages and not 1,200.

    >>> from growth.scenario import Scenario
    >>> plans = [{"name": "Studio", "monthly_price": 20}]
    >>> settled_ages(Scenario(business="Fernhollow", pay={"plans": plans}, grow={"monthly_expansion_rate": 0.01,
    ...     "last_age_months": 30}))
    72
    """
    changes = [_last_change(plan.churn or scenario.stay.churn) for plan in scenario.pay.plans]
    years = -(-max(scenario.grow.last_age_months or 0, *changes) // YEAR)
    return min((years + 3) * YEAR, LIFETIME)


def _last_change(curve: Any) -> int:
    """The last age at which churn may differ from that of the age after; LIFETIME where it never settles."""
    if curve.curve == "early_late":
        return int(curve.early_months)
    if curve.curve == "measured":
        return len(curve.survival)
    return 0 if curve.curve == "constant" else LIFETIME


def lifetime(scenario: Any, *, month: int, read: Read, ages: int = LIFETIME) -> Lifetime:
    """A new customer's life on each plan, with the churn changes up to `month` and no price change.

    S(a) = S(a-1)(1 - h(a)), W(a) = W(a-1)(1 - h(a))(1 + e - k), S(0) = W(0) = 1. month: 1..T. ages: how many, 1 or
    more.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.5}})
    >>> lifetime(small, month=1, read=np.atleast_1d).alive[0, :3, 0].tolist()
    [1.0, 0.5, 0.25]
    """
    older = np.arange(1, ages)
    factor = churn_factor(scenario, month=month, read=read)
    churn = plan_churn(scenario, ages=older, month=month, read=read)
    up, down = plan_growth(scenario, ages=older, read=read)
    keep = 1 - churn
    if up is None or down is None:
        grown, growth = keep, np.zeros((len(scenario.pay.plans), 1))
    else:
        steps = np.broadcast_to(1 + up - down, (len(keep), len(older), (up - down).shape[-1]))
        grown, growth = keep * steps, steps[:, -YEAR:].prod(axis=1) - 1
    with np.errstate(over="ignore"):
        return Lifetime(
            alive=_from_one(keep),
            worth=_from_one(grown),
            churn=churn,
            growth=growth,
            fall=stack([_fall(plan, scenario.stay.churn, factor, read) for plan in scenario.pay.plans]),
            yearly=np.array([plan.billing == "yearly" for plan in scenario.pay.plans]),
        )


def _fall(plan: Any, usual: Any, factor: np.ndarray, read: Read) -> np.ndarray:
    """The exponent k with which S(a) falls like a^-k: alpha of the sBG, alpha x shape of the BDW, times the factor.

    A yearly plan with a renewal rate, and churn brought to 0, follow no such law: NaN.
    Source: S(a) = B(alpha, beta + a) / B(alpha, beta) ~ a^-alpha (Abramowitz and Stegun (1964) 6.1.47).
    """
    curve = plan.churn or usual
    if curve.curve not in ("sbg", "bdw") or (plan.billing == "yearly" and plan.renewal_rate is not None):
        return np.full(1, np.nan)
    power = read(curve.alpha) * (read(curve.shape) if curve.curve == "bdw" else 1.0) * factor
    return np.where(power > 0, power, np.nan)


def lifetime_sum(terms: np.ndarray, life: Lifetime, *, growth: np.ndarray) -> LifetimeSum:
    """The sum over all ages of `terms`, by what they do beyond the last age that is looked at.

    terms: shape (plans, ages, 1 or draws), ages whole years, three or more: `settled_ages` or LIFETIME. growth: by how
    much a term of one who stays grows in a year, in the end; shape (plans, 1 or draws).

    - Churn settles: each year is `ratio` times the one before, and the rest is last year x ratio / (1 - ratio).
    - Churn falls like 1 / age (the sBG, the BDW) and nothing grows: survivors of age A live another
      (k / h - 1) / (k - 1) steps on average, k = `fall` and h the churn of the next step, a month or a year; exact for
      the sBG, whose mean lifetime is (alpha + beta - 1) / (alpha - 1); none where k is 1 or less.
    - Churn falls like 1 / age and those who stay pay less and less: as where churn settles, if the rest is small.

    Source: mean of the sBG from its survival function (Fader and Hardie, 2007, equation 6) by summing the series.

    >>> from growth.scenario import Scenario
    >>> loyal = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "sbg", "alpha": 3, "beta": 400}})
    >>> life = lifetime(loyal, month=1, read=np.atleast_1d)
    >>> lifetime_sum(life.alive, life, growth=np.zeros((1, 1))).total.round(6).item()  # (3 + 400 - 1) / (3 - 1)
    201.0
    """
    years = [terms[:, -YEAR * (k + 1) : terms.shape[1] - YEAR * k].sum(axis=1) for k in range(3)]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        ratios = (np.where(b < NOTHING, 0.0, a / b) for a, b in pairwise(years))
        ratio, before = (np.where(np.isnan(one), np.inf, one) for one in ratios)  # terms beyond all numbers
        body = terms.sum(axis=1)
        tail = np.where(ratio < 1, years[0] * ratio / (1 - ratio), np.inf)
        small = (np.abs(ratio - before) <= 1e-6 * (1 - ratio)) | (tail <= 0.01 * body)
        rises, flat = growth > FLAT, np.abs(growth) <= FLAT
        total = body + tail
        kind = np.select([ratio < EDGE, ratio < ONE, rises], [FINITE, UNSETTLED, GROWS], STAYS)
        power = ~np.isnan(life.fall) & (years[0] >= NOTHING)
        if power.any():
            whole, sure = _power_sum(terms, life)
            total = np.where(power & flat, whole, total)
            slow = np.select([life.fall <= 1 + FLAT, sure], [LOYAL, FINITE], UNSETTLED)
            growing = np.where(ratio >= EDGE, GROWS, LOYAL_GROWS)
            fading = np.where((ratio < EDGE) & small, FINITE, UNSETTLED)
            kind = np.where(power, np.select([flat, rises], [slow, growing], fading), kind)
    total, kind, ratio = np.broadcast_arrays(total, kind, ratio)
    return LifetimeSum(total=total, kind=kind, ratio=ratio)


def _power_sum(terms: np.ndarray, life: Lifetime) -> tuple[np.ndarray, np.ndarray]:
    """The sum where churn falls like 1 / age, and whether it is known to one in a hundred."""
    totals, sures = [], []
    for number, yearly in enumerate(life.yearly):
        step = YEAR if yearly else 1
        age, after = _last_step(terms.shape[1], bool(yearly))
        fall = life.fall[number]
        left, left_before = (fall / life.churn[number, a - 1] for a in (after, after - step))
        rest = np.where(terms[number, age] > 0, step * terms[number, age] * (left - 1) / (fall - 1), 0.0)
        total = terms[number, :age].sum(axis=0) + rest
        bend = np.abs((left - left_before) - 1)  # 0 for the sBG: each step adds one to those that are left
        sures.append(~(bend * rest > 0.01 * (fall - 1) * total) & np.isfinite(total))
        totals.append(total)
    return stack(totals), stack(sures)


def _last_step(ages: int, yearly: bool) -> tuple[int, int]:
    """The last age whose next churn is known, and the age of that churn: a month, or a renewal, later."""
    return (ages - 2 * YEAR, ages - YEAR) if yearly else (ages - 2, ages - 1)


def leavers(terms: np.ndarray, life: Lifetime, whole: LifetimeSum, *, growth: np.ndarray) -> np.ndarray:
    """What leaves over a lifetime, per newcomer: the sum over ages a >= 1 of terms(a - 1) x churn(a).

    Where churn falls like 1 / age and nothing grows, all who are left at the last age leave some day. Shape (plans, 1
    or draws); infinite where the terms grow without end.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.5}})
    >>> life, none = lifetime(small, month=1, read=np.atleast_1d, ages=36), np.zeros((1, 1))
    >>> leavers(life.alive, life, lifetime_sum(life.alive, life, growth=none), growth=none).round(9).item()
    1.0
    """
    with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
        gone = terms[:, :-1] * life.churn
        last = gone[:, -YEAR:].sum(axis=1)
        usual = gone.sum(axis=1) + np.where(whole.ratio < 1, last * whole.ratio / (1 - whole.ratio), np.inf)
        usual = np.where((whole.kind == STAYS), gone.sum(axis=1), usual)
        ends = [_last_step(terms.shape[1], bool(yearly))[0] for yearly in life.yearly]
        every = np.stack([gone[p, :age].sum(axis=0) + terms[p, age] for p, age in enumerate(ends)])
        return np.where(~np.isnan(life.fall) & (np.abs(growth) <= FLAT), every, usual)


def _from_one(factors: np.ndarray) -> np.ndarray:
    ones = np.ones((factors.shape[0], 1, factors.shape[2]))
    return np.cumprod(np.concatenate([ones, factors], axis=1), axis=1)
