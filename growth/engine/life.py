"""What can happen to the customers of each plan, by age: the numbers that the monthly step reads.

Arrays stand in the order (plan, age, draw); the last axis is 1 where a number is the same in every draw. Ages run from 1
upwards. Where nothing depends on age, all cohorts share one row and the age axis has length 1 ("pooled").
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from growth.engine.curves import churn_by_age
from growth.engine.draws import Read, stack

YEAR = 12


@dataclass(frozen=True, slots=True, eq=False)
class Life:
    """The numbers of one scenario (or of a block of its draws) that the monthly step reads.

    months: T. oldest: the largest age A of an opening customer (0 where pooled).
    churn, keep: share leaving and staying at ages 1..T+A, shape (plans, ages, draws).
    expansion, contraction: shares of the stayers' MRR, shape (plans, ages or 1, draws); None where both are zero.
    renews: 1.0 at the ages at which a plan's customers can meet a price change, shape (plans, ages, 1).
    churn_scale: the factor on churn in months 1..T, shape (T, draws), or None.
    price_rate, provoked: change in price, and churn over it, of those on board in month t, shape (plans, T, draws), or None.
    price: what a new customer pays in months 1..T, shape (plans, T, draws). share: of new customers, shape (plans, draws).
    pays, defers: months paid for and months still owed at age 0, 1, 2, ..., shape (plans, ages); None without a yearly plan.
    """

    months: int
    oldest: int
    pooled: bool
    churn: np.ndarray
    keep: np.ndarray
    expansion: np.ndarray | None
    contraction: np.ndarray | None
    renews: np.ndarray
    churn_scale: np.ndarray | None
    price_rate: np.ndarray | None
    provoked: np.ndarray | None
    price: np.ndarray
    share: np.ndarray
    pays: np.ndarray | None
    defers: np.ndarray | None


def ageless(scenario: Any) -> bool:
    """Whether no churn, growth or billing depends on age, so that all cohorts can share one row."""
    plans = scenario.pay.plans
    curves = [plan.churn or scenario.stay.churn for plan in plans]
    return (
        scenario.grow.last_age_months is None
        and all(plan.billing == "monthly" for plan in plans)
        and all(curve.curve == "constant" for curve in curves)
    )


def oldest_age(opening: Any) -> int:
    """The largest age among the opening customers, in months."""
    return max(entry.age_months for entry in opening.ages) if opening.ages else 2 * opening.mean_age_months


def life_of(scenario: Any, *, read: Read, pooled: bool) -> Life:
    """The numbers of a scenario by plan, age and draw. Raises nothing: the scenario is valid."""
    months, plans = scenario.months, scenario.pay.plans
    oldest = 0 if pooled else oldest_age(scenario.opening)
    ages = np.arange(1, 2 if pooled else months + oldest + 1)
    churn = plan_churn(scenario, ages=ages, read=read)
    expansion, contraction = plan_growth(scenario, ages=ages, read=read)
    yearly = np.array([plan.billing == "yearly" for plan in plans])[:, None]
    since = np.arange(len(ages) + 1)
    rate, provoked = _price_changes(scenario, read)
    return Life(
        months=months,
        oldest=oldest,
        pooled=pooled,
        churn=churn,
        keep=1 - churn,
        expansion=expansion,
        contraction=contraction,
        renews=np.where(yearly, ages % YEAR == 0, True)[:, :, None].astype(float),
        churn_scale=_churn_scale(scenario, read),
        price_rate=rate,
        provoked=provoked,
        price=new_prices(scenario, read=read),
        share=stack([read(plan.share) for plan in plans]),
        pays=np.where(yearly, YEAR * (since % YEAR == 0), 1.0) if yearly.any() else None,
        defers=np.where(yearly, YEAR - 1.0 - since % YEAR, 0.0) if yearly.any() else None,
    )


def plan_churn(scenario: Any, *, ages: np.ndarray, read: Read) -> np.ndarray:
    """Churn by plan and age, before any change by month: shape (plans, ages, 1 or draws). `ages` are 1, 2, 3, ..."""
    rows = []
    for plan in scenario.pay.plans:
        churn = churn_by_age(plan.churn or scenario.stay.churn, ages=ages, read=read)
        rows.append(churn if plan.billing == "monthly" else _yearly_churn(plan, churn, read))
    return np.stack(np.broadcast_arrays(*rows))


def _yearly_churn(plan: Any, churn: np.ndarray, read: Read) -> np.ndarray:
    """Nobody leaves but at ages 12, 24, ...: there whoever does not renew, or would have left within the year."""
    years = len(churn) // YEAR
    if plan.renewal_rate is None:
        leaving = -np.expm1(_log_keep(churn[: years * YEAR]).reshape(years, YEAR, churn.shape[1]).sum(axis=1))
    else:
        leaving = np.broadcast_to(1 - read(plan.renewal_rate), (years, *read(plan.renewal_rate).shape))
    yearly = np.zeros((len(churn), leaving.shape[-1]))
    yearly[YEAR - 1 : years * YEAR : YEAR] = leaving
    return yearly


def plan_growth(scenario: Any, *, ages: np.ndarray, read: Read) -> tuple[np.ndarray | None, np.ndarray | None]:
    """Expansion and contraction of those who stay, by plan and age, shape (plans, ages or 1, 1 or draws), or None, None."""
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


def _log_keep(churn: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore"):
        return np.log1p(-churn)  # -inf where all leave


def _compound_loss(rate: np.ndarray, times: np.ndarray) -> np.ndarray:
    """1 - (1 - rate)^times, without the cancellation where the rate is small."""
    return np.where(times > 0, -np.expm1(np.maximum(times, 1) * _log_keep(rate)), 0.0)


def churn_scale_at(scenario: Any, *, month: int, read: Read) -> np.ndarray:
    """What churn is multiplied by in a month, shape (1 or draws,)."""
    factors = [read(change.factor) for change in scenario.stay.churn_changes if change.from_month <= month]
    return np.prod(np.broadcast_arrays(np.ones(1), *factors), axis=0)


def _churn_scale(scenario: Any, read: Read) -> np.ndarray | None:
    if not scenario.stay.churn_changes:
        return None
    return stack([churn_scale_at(scenario, month=month, read=read) for month in range(1, scenario.months + 1)])


def _reaches(change: Any, plan: Any) -> bool:
    return change.plan is None or change.plan == plan.name


def new_prices(scenario: Any, *, read: Read) -> np.ndarray:
    """What a new customer pays in months 1..T, shape (plans, T, 1 or draws)."""
    rows = []
    for plan in scenario.pay.plans:
        price = np.broadcast_to(read(plan.monthly_price), (scenario.months, *read(plan.monthly_price).shape))
        for change in scenario.grow.price_changes:
            if _reaches(change, plan):
                price = price * np.where(_from(change.month, scenario.months), 1 + read(change.change_rate), 1.0)
        rows.append(price)
    return np.stack(np.broadcast_arrays(*rows))


def _price_changes(scenario: Any, read: Read) -> tuple[np.ndarray | None, np.ndarray | None]:
    changes = [change for change in scenario.grow.price_changes if change.applies_to == "all"]
    if not changes:
        return None, None
    rates, provoked = [], []
    month = np.arange(1, scenario.months + 1)[:, None]
    for plan in scenario.pay.plans:
        rate = leave = np.zeros((scenario.months, 1))
        for change in changes:
            if _reaches(change, plan):
                wait = YEAR if plan.billing == "yearly" else 1
                meets = (month >= change.month) & (month < change.month + wait)
                more, over_it = (
                    np.where(meets, read(value), 0.0) for value in (change.change_rate, change.provoked_churn_rate)
                )
                rate = rate + more + rate * more  # 1 + rate multiplies
                leave = leave + over_it - leave * over_it  # 1 - leave multiplies
        rates.append(rate)
        provoked.append(leave)
    return np.stack(np.broadcast_arrays(*rates)), np.stack(np.broadcast_arrays(*provoked))


def _from(month: int, months: int) -> np.ndarray:
    return (np.arange(1, months + 1) >= month)[:, None]
