"""A new customer's lifetime: survival and MRR by age, their sum over all ages, and its long-run behaviour.

Arrays have shape (plans, ages, 1 or draws), sums (plans, 1 or draws); see `growth.engine.draws` for `read`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from growth.engine.curves import LIFETIME
from growth.engine.draws import YEAR, Read, stack
from growth.engine.life import churn_factor, plan_churn, plan_growth

if TYPE_CHECKING:
    from growth.scenario import Scenario
    from growth.scenario.pay import Plan
    from growth.scenario.stay import Churn

EDGE = 1 - 1e-5  # a ratio between this and ONE cannot be told from unbounded growth
ONE = 1 - 1e-9  # a ratio above this is taken as 1 or more: the rest is rounding
FLAT = 1e-9  # yearly growth below this is taken as none
BARELY = 1.05  # survival that falls like a^-k with k up to this: most of the lifetime lies beyond a century
FADED = 1e-4  # a last year below this share of the sum adds at most 1% in a century, if the terms do not rise
SLOW = 0.999  # a yearly ratio above this leaves more than nine tenths after a century
NOTHING = 1e-200  # a year's sum below this is taken as 0: ratios of subnormal floats are meaningless

# How a sum over all ages behaves.
FINITE = 0  # it has a limit
GROWS = 1  # the terms grow, or hold up only because those who stay pay more
LOYAL = 2  # the terms fall, but too slowly for the sum to converge: churn falls like 1 / age
LOYAL_GROWS = 3  # likewise, but growth wins eventually, beyond the ages summed
UNSETTLED = 4  # the sum converges, but not within LIFETIME, and has no closed form
STAYS = 5  # the terms settle above 0: some customers never leave


@dataclass(frozen=True, slots=True, eq=False)
class Lifetime:
    """A new customer of each plan by age, with the churn changes of one month and no price change.

    alive: S(a), the share still subscribed at ages 0, 1, ..., ages - 1. worth: W(a), MRR per unit of price. churn:
    h(a) at ages 1, 2, ..., ages - 1. growth: yearly growth in what a staying customer pays, at the last ages, of shape
    (plans, 1 or draws). fall: the k of S(a) ~ a^-k, if churn falls like 1 / age, else NaN; the same shape. yearly:
    which plans are billed yearly, shape (plans,).
    """

    alive: np.ndarray
    worth: np.ndarray
    churn: np.ndarray
    growth: np.ndarray
    fall: np.ndarray
    yearly: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class LifetimeSum:
    """A sum over all ages.

    total: infinite or meaningless unless `known`. kind: what the terms do in the end. ratio: the last year over the one
    before. faded: whether the sum has all but settled within LIFETIME, whatever the terms do later. century: the sum of
    the first LIFETIME ages. left: of those on board, at least this is left after LIFETIME, if ratio >= ONE.
    late: the last year of the century.
    """

    total: np.ndarray
    kind: np.ndarray
    ratio: np.ndarray
    faded: np.ndarray
    century: np.ndarray
    left: np.ndarray
    late: np.ndarray

    @property
    def known(self) -> np.ndarray:
        """Whether the total is the level that the sum reaches."""
        known: np.ndarray = (self.kind == FINITE) | self.faded
        return known


def lifetime(scenario: Scenario, *, month: int, read: Read, ages: int = LIFETIME) -> Lifetime:
    """A new customer's life on each plan, at the rates in force in `month` and without price changes.

    S(a) = S(a-1)(1 - h(a)), W(a) = W(a-1)(1 - h(a))(1 + e - k), S(0) = W(0) = 1. month: 1..T. ages: how many, 0
    included; >= 1.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.5}})
    >>> lifetime(small, month=1, read=np.atleast_1d).alive[0, :3, 0].tolist()
    [1.0, 0.5, 0.25]
    """
    scenario, older = scenario.in_force(month), np.arange(1, ages)
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


def _fall(plan: Plan, usual: Churn, factor: np.ndarray, read: Read) -> np.ndarray:
    """The exponent k with which S(a) falls like a^-k: alpha of the sBG, alpha x shape of the BDW, times the factor.

    NaN for a yearly plan with a renewal rate, and for churn that a change brings to 0.
    Source: S(a) = B(alpha, beta + a) / B(alpha, beta) ~ a^-alpha (Abramowitz and Stegun (1964) 6.1.47).
    """
    curve = plan.churn or usual
    renewed = plan.billing == "yearly" and plan.renewal_rate is not None
    if renewed or (curve.curve != "sbg" and curve.curve != "bdw"):
        return np.full(1, np.nan)
    power = read(curve.alpha) * (read(curve.shape) if curve.curve == "bdw" else 1.0) * factor
    return np.where(power > 0, power, np.nan)


def lifetime_sum(terms: np.ndarray, life: Lifetime, *, growth: np.ndarray) -> LifetimeSum:
    """Sum terms over all ages, extrapolating beyond the last age given.

    - Churn settles: each year is `ratio` times the one before, and the rest is last year x ratio / (1 - ratio).
    - Churn falls like 1 / age (the sBG, the BDW) and nothing grows: survivors of age A live another
      (k / h - 1) / (k - 1) steps on average, k = `fall` and h the churn of the next step, a month or a year; exact for
      the sBG, whose mean lifetime is (alpha + beta - 1) / (alpha - 1). The sum diverges if k <= 1; with k up to BARELY
      it takes thousands of years, and is not known for our purposes.
    - Churn falls like 1 / age and those who stay pay less and less: as if churn settled, provided the rest is small.
    - A last year below FADED of the sum: the sum over the ages given, if they are LIFETIME or the terms do not rise.

    Source: mean of the sBG from its survival function (Fader and Hardie, 2007, equation 6) by summing the series.

    terms: by age from 0, shape (plans, ages, 1 or draws), for `settled_ages` or LIFETIME ages. growth: the long-run
    yearly growth of a staying customer's term, shape (plans, 1 or draws).

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
        ratio, before = (np.where(np.isnan(one), np.inf, one) for one in ratios)  # the terms overflowed
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
            slow = np.select([life.fall <= 1 + FLAT, sure & (life.fall > BARELY)], [LOYAL, FINITE], UNSETTLED)
            growing = np.where(ratio >= EDGE, GROWS, LOYAL_GROWS)
            fading = np.where((ratio < EDGE) & small, FINITE, UNSETTLED)
            kind = np.where(power, np.select([flat, rises], [slow, growing], fading), kind)
        later = (LIFETIME - terms.shape[1]) // YEAR  # years that were not looked at
        more = np.where(np.abs(ratio - 1) < 1 - ONE, later, ratio * (1 - ratio**later) / (1 - ratio))
        century = body + (np.where(years[0] > 0, years[0] * more, 0.0) if later else 0.0)
        left = np.minimum(terms[:, -1] * ratio**later, ratio ** (LIFETIME // YEAR))  # of newcomers, of older customers
        late = years[0] * (ratio**later if later else 1.0)
        faded = (years[0] <= FADED * body) & (kind != FINITE) & ((later == 0) | ~rises)
        total = np.where(faded, body, total)
    return LifetimeSum(*np.broadcast_arrays(total, kind, ratio, faded, century, left, late))


def _power_sum(terms: np.ndarray, life: Lifetime) -> tuple[np.ndarray, np.ndarray]:
    """The sum if churn falls like 1 / age, and whether it is accurate to 1%."""
    totals, sures = [], []
    for number, yearly in enumerate(life.yearly):
        step = YEAR if yearly else 1
        age, after = _last_step(terms.shape[1], bool(yearly))
        fall = life.fall[number]
        left, left_before = (fall / life.churn[number, a - 1] for a in (after, after - step))
        rest = np.where(terms[number, age] > 0, step * terms[number, age] * (left - 1) / (fall - 1), 0.0)
        total = terms[number, :age].sum(axis=0) + rest
        bend = np.abs((left - left_before) - 1)  # 0 for the sBG
        sures.append(~(bend * rest > 0.01 * (fall - 1) * total) & np.isfinite(total))
        totals.append(total)
    return stack(totals), stack(sures)


def _last_step(ages: int, yearly: bool) -> tuple[int, int]:
    """The last age followed by a known churn, and the age of that churn, a month or a renewal later."""
    return (ages - 2 * YEAR, ages - YEAR) if yearly else (ages - 2, ages - 1)


def outlasts(terms: np.ndarray, life: Lifetime, *, growth: np.ndarray, faded: np.ndarray) -> np.ndarray:
    """Whether newcomers' terms fade to nothing while what older customers pay holds up for a century or grows.

    Shape (plans, 1 or draws). terms, growth: as for `lifetime_sum`; faded: as it says.

    >>> from growth.scenario import Scenario
    >>> odd = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "measured", "survival": [0.5, 0], "tail_monthly_churn_rate": 0}})
    >>> life = lifetime(odd, month=1, read=np.atleast_1d, ages=48)
    >>> outlasts(life.alive, life, growth=np.zeros((1, 1)), faded=np.zeros((1, 1), bool)).item()
    True
    """
    kept = (1 - life.churn[:, -YEAR:]).prod(axis=1)
    power = ~np.isnan(life.fall)
    goes_on = (kept * (1 + growth) > SLOW) | (power & (growth > FLAT))
    outlast: np.ndarray = goes_on & (faded | (terms[:, -1] == 0))
    return outlast


def leavers(terms: np.ndarray, life: Lifetime, whole: LifetimeSum, *, growth: np.ndarray) -> np.ndarray:
    """Losses over a lifetime per new customer: the sum over ages a >= 1 of terms(a - 1) x churn(a).

    If churn falls like 1 / age and nothing grows, everyone left at the last age leaves eventually. `whole` is what
    `lifetime_sum` gave for the same arguments. Shape (plans, 1 or draws); infinite if the terms grow without bound.

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
        usual = np.where((whole.kind == STAYS) | whole.faded, gone.sum(axis=1), usual)
        ends = [_last_step(terms.shape[1], bool(yearly))[0] for yearly in life.yearly]
        every = np.stack([gone[p, :age].sum(axis=0) + terms[p, age] for p, age in enumerate(ends)])
        return np.where(~np.isnan(life.fall) & (np.abs(growth) <= FLAT), every, usual)


def _from_one(factors: np.ndarray) -> np.ndarray:
    ones = np.ones((factors.shape[0], 1, factors.shape[2]))
    return np.cumprod(np.concatenate([ones, factors], axis=1), axis=1)
