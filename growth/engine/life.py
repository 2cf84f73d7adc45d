"""What can happen to the customers of each plan, by age: the numbers that the monthly step reads.

Arrays stand in the order (plan, age, draw); the last axis is 1 where a number is the same in every draw. Ages run from
1 upwards. Where nothing depends on age, all cohorts share one row and the age axis has length 1 ("pooled"). Rates are
fractions a month. `scenario` is a valid growth.Scenario everywhere, so nothing is checked and nothing raised; `read`:
see `growth.engine.draws`.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from growth.engine.curves import churn_by_age
from growth.engine.draws import YEAR, Array, Read, Whole, by_month
from growth.engine.pay import joining_shares, new_prices, price_changes

if TYPE_CHECKING:
    from growth.scenario import Scenario
    from growth.scenario.pay import Plan

_NEVER = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Life:
    """The numbers of one scenario (or of a block of its draws) that the monthly step reads.

    Made by `life_of`. With T months, ages in months, rates as fractions:

    months: T. oldest: the largest age A of an opening customer (0 where pooled). pooled: all cohorts in one row.
    churn, keep: share leaving and staying at ages 1..T+A, one array for each stretch of months without a change of
        rates, shape (plans, ages, draws).
    stretch: for months 1..T, the index into `churn`, `keep`, `expansion` and `contraction`.
    expansion, contraction: shares of the stayers' MRR, shape (plans, ages or 1, draws), one array a stretch; None
        where both are zero throughout.
    renews: 1.0 at the ages at which a plan's customers can meet a price change, shape (plans, ages, 1).
    price_rate, provoked: change in price, and churn over it, of those on board in months 1..T, shape (plans, T, draws),
        or None.
    price: money a month that a new customer pays in months 1..T, shape (plans, T, draws).
    share: of new customers, those lost to price changes taken off, shape (plans, T or 1, draws).
    pays, defers: months paid for and months still owed at age 0, 1, 2, ..., shape (plans, ages); None without a yearly
        plan.
    """

    months: int
    oldest: int
    pooled: bool
    churn: tuple[Array, ...]
    keep: tuple[Array, ...]
    stretch: tuple[int, ...]
    expansion: tuple[Array, ...] | None
    contraction: tuple[Array, ...] | None
    renews: Array
    price_rate: Array | None
    provoked: Array | None
    price: Array
    share: Array
    pays: Array | None
    defers: Array | None


def ageless(scenario: Scenario) -> bool:
    """Whether no churn, growth or billing depends on age, so that all cohorts can share one row.

    >>> from growth.scenario import Scenario
    >>> ageless(Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]}))
    True
    """
    plans = scenario.pay.plans
    curves = [plan.churn or scenario.stay.churn for plan in plans]
    return (
        scenario.grow.last_age_months is None
        and all(plan.billing == "monthly" for plan in plans)
        and all(curve.curve == "constant" for curve in curves)
    )


def oldest_age(scenario: Scenario) -> int:
    """The largest age among the opening customers, in months.

    That of the oldest entry in `opening.ages`; else twice the stated mean age; else 11 where a plan is billed by the
    year, whose opening customers are then spread evenly over their year; else 0.

    >>> from growth.scenario import Scenario
    >>> oldest_age(Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     opening={"customers": 10, "mean_age_months": 6}))
    12
    """
    opening = scenario.opening
    if opening.ages:
        return max(entry.age_months for entry in opening.ages)
    if opening.mean_age_months is not None:
        return 2 * opening.mean_age_months
    return YEAR - 1 if any(plan.billing == "yearly" for plan in scenario.pay.plans) else 0


def life_of(scenario: Scenario, *, read: Read, pooled: bool) -> Life:
    """The numbers of a scenario by plan, age and draw, for ages 1..T + A; see `Life`. pooled: only where `ageless`.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", months=2, pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.25}})
    >>> life_of(small, read=np.atleast_1d, pooled=True).keep[0].tolist()
    [[[0.75]]]
    """
    months, plans = scenario.months, scenario.pay.plans
    oldest = 0 if pooled else oldest_age(scenario)
    ages = np.arange(1, 2 if pooled else months + oldest + 1)
    changed = {change.from_month for change in scenario.stay.churn_changes} | {start for start, _ in scenario.later}
    starts = [1, *sorted(changed & {*range(2, months + 1)})]
    curves = _plan_curves(scenario, ages=ages, read=read)
    churn = tuple(
        _scaled_churn(scenario, curves, month=month, read=read)
        if scenario.in_force(month) is scenario
        else plan_churn(scenario, ages=ages, month=month, read=read)
        for month in starts
    )
    expansion, contraction = _growth_by_stretch(scenario, starts, ages=ages, read=read)
    yearly = np.array([plan.billing == "yearly" for plan in plans])[:, None]
    since = np.arange(len(ages) + 1)
    rate, provoked = price_changes(scenario, read=read)
    return Life(
        months=months,
        oldest=oldest,
        pooled=pooled,
        churn=churn,
        keep=tuple(1 - part for part in churn),
        stretch=tuple(bisect_right(starts, month) - 1 for month in range(1, months + 1)),
        expansion=expansion,
        contraction=contraction,
        renews=np.where(yearly, ages % YEAR == 0, True)[:, :, None].astype(float),
        price_rate=rate,
        provoked=provoked,
        price=new_prices(scenario, read=read),
        share=joining_shares(scenario, read=read),
        pays=np.where(yearly, YEAR * (since % YEAR == 0), 1.0) if yearly.any() else None,
        defers=np.where(yearly, YEAR - 1.0 - since % YEAR, 0.0) if yearly.any() else None,
    )


def plan_churn(scenario: Scenario, *, ages: Whole, month: int, read: Read) -> Array:
    """Churn by plan and age in a month: the share of those who reached age a - 1 that leave at age a, by the curves in
    force in that month.

    Monthly plans: f h(a), at most 1, with h the plan's curve and f the factor of all churn changes up to the month.
    Yearly plans: 0 except at ages 12, 24, ...; there f (1 - renewal_rate), at most 1, or without a renewal rate
    1 - product over the last twelve ages of (1 - f h(a)).

    ages: whole months 1, 2, ..., n, none left out. month: 1..T. Fractions, 0..1, of shape (plans, n, 1 or draws).

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20,
    ...     "billing": "yearly", "renewal_rate": 0.75}]})
    >>> plan_churn(small, ages=np.arange(1, 14), month=1, read=np.atleast_1d)[0, 10:, 0].tolist()  # ages 11, 12, 13
    [0.0, 0.25, 0.0]
    """
    scenario = scenario.in_force(month)
    return _scaled_churn(scenario, _plan_curves(scenario, ages=ages, read=read), month=month, read=read)


def _plan_curves(scenario: Scenario, *, ages: Whole, read: Read) -> list[Array]:
    """Each plan's churn by age as its curve has it, shape (ages, 1 or draws)."""
    return [churn_by_age(plan.churn or scenario.stay.churn, ages=ages, read=read) for plan in scenario.pay.plans]


def _scaled_churn(scenario: Scenario, curves: list[Array], *, month: int, read: Read) -> Array:
    factor = churn_factor(scenario, month=month, read=read)
    rows = []
    for plan, curve in zip(scenario.pay.plans, curves, strict=True):
        churn = np.minimum(curve * factor, 1.0)
        rows.append(churn if plan.billing == "monthly" else _yearly_churn(plan, churn, factor, read))
    return np.stack(np.broadcast_arrays(*rows))


def _yearly_churn(plan: Plan, churn: Array, factor: Array, read: Read) -> Array:
    """Churn at renewals alone; `churn` is what it would be month by month, with the factor in it."""
    years = len(churn) // YEAR
    if plan.renewal_rate is None:
        leaving = -np.expm1(_log_keep(churn[: years * YEAR]).reshape(years, YEAR, churn.shape[1]).sum(axis=1))
    else:
        not_renewed = np.minimum((1 - read(plan.renewal_rate)) * factor, 1.0)
        leaving = np.broadcast_to(not_renewed, (years, *not_renewed.shape))
    yearly = np.zeros((len(churn), leaving.shape[-1]))
    yearly[YEAR - 1 : years * YEAR : YEAR] = leaving
    return yearly


def plan_growth(scenario: Scenario, *, ages: Whole, read: Read) -> tuple[Array | None, Array | None]:
    """Expansion and contraction of those who stay, by plan and age: shares of their MRR, or None, None without either.

    Monthly plans: e and k at ages up to last_age_months. Yearly plans: at ages 12, 24, ... alone (1 + e)^n - 1 and
    1 - (1 - k)^n, n the months of the year before up to last_age_months. ages: shape (n,), as in `plan_churn`.
    Returns shape (plans, n, 1 or draws), n = 1 where every age is the same.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     grow={"monthly_expansion_rate": 0.02, "last_age_months": 1})
    >>> plan_growth(small, ages=np.array([1, 2]), read=np.atleast_1d)[0].round(9).tolist()
    [[[0.02], [0.0]]]
    """
    up, down = read(scenario.grow.monthly_expansion_rate), read(scenario.grow.monthly_contraction_rate)
    if not (np.any(up) or np.any(down)):
        return None, None
    last = scenario.grow.last_age_months
    plans = scenario.pay.plans
    if last is None and all(plan.billing == "monthly" for plan in plans):
        return np.broadcast_to(up, (len(plans), 1, *up.shape)), np.broadcast_to(down, (len(plans), 1, *down.shape))
    limit = np.inf if last is None else last
    age = ages[:, None].astype(float)
    monthly = (age <= limit).astype(float)  # how many months of growth fall due at an age
    yearly = np.where(age % YEAR == 0, np.clip(limit - (age - YEAR), 0, YEAR), 0.0)
    due = np.stack([yearly if plan.billing == "yearly" else monthly for plan in plans])
    return np.where(due > 0, np.expm1(due * np.log1p(up)), 0.0), _compound_loss(down, due)


def _growth_by_stretch(
    scenario: Scenario, starts: list[int], *, ages: Whole, read: Read
) -> tuple[tuple[Array, ...] | None, tuple[Array, ...] | None]:
    """`plan_growth` of every stretch of months, of one shape but for the draws; None, None where there is no growth."""
    if not scenario.later:
        up, down = plan_growth(scenario, ages=ages, read=read)
        return (None, None) if up is None or down is None else ((up,) * len(starts), (down,) * len(starts))
    found = [plan_growth(scenario.in_force(month), ages=ages, read=read) for month in starts]
    shape = next((up.shape[:2] for up, _ in found if up is not None), None)
    if shape is None:
        return None, None
    none = np.zeros((*shape, 1))
    ups, downs = zip(*found, strict=True)
    return tuple(none if up is None else up for up in ups), tuple(none if down is None else down for down in downs)


def _log_keep(churn: Array) -> Array:
    with np.errstate(divide="ignore"):
        return np.log1p(-churn)  # -inf where all leave


def _compound_loss(rate: Array, times: Array) -> Array:
    """1 - (1 - rate)^times, without the cancellation where the rate is small."""
    return np.where(times > 0, -np.expm1(np.maximum(times, 1) * _log_keep(rate)), 0.0)


def churn_factor(scenario: Scenario, *, month: int, read: Read) -> Array:
    """What churn is multiplied by in a month: the product of the factors of all changes up to it, shape (1 or draws,).

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn_changes": [{"from_month": 4, "factor": 0.5}]})
    >>> [churn_factor(small, month=month, read=np.atleast_1d).item() for month in (3, 4)]
    [1.0, 0.5]
    """
    factors = [read(change.factor) for change in scenario.stay.churn_changes if change.from_month <= month]
    product: Array = np.prod(np.broadcast_arrays(np.ones(1), *factors), axis=0)
    return product


def comeback_rates(scenario: Scenario, *, read: Read) -> Array:
    """The share of leavers who come back, in months 1..T: shape (T or 1, 1 or draws), 0 without comebacks.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> comeback_rates(small, read=np.atleast_1d).tolist()
    [[0.0]]
    """
    return by_month(scenario, lambda now: now.stay.comeback.comeback_rate if now.stay.comeback else _NEVER, read=read)
