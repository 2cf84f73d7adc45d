"""A second, plain computation of what comes after a forecast: a hundred years in which nothing changes any more.

It starts from the engine's cohorts at the end of the forecast, which other tests hold against `naive.py`, and takes
from there the definitions of `growth/engine/model.md`; it shares nothing with the measures.
"""

from __future__ import annotations

import naive
import numpy as np
from scipy.special import betaln

from growth.engine.cohorts import states_at
from growth.engine.draws import single

YEARS = 100


def hundred_years(scenario, months: int = 12 * YEARS) -> np.ndarray:
    """MRR at the close of each month after the forecast, if what comes in at its end goes on.

    Newcomers of channels as in the last month, every season at its mean; all rates and prices as then.
    """
    end = scenario.in_force(scenario.months)
    plans, last, back = scenario.pay.plans, scenario.months, end.stay.comeback
    flat, waiting, aboard = level_of_channels(scenario), *positions(scenario)
    ages = aboard.shape[2] + months
    keep, grow = (np.stack(part) for part in zip(*(rates(scenario, plan, ages) for plan in plans), strict=True))
    share = np.array([plan.share * naive.comes_at_that_price(scenario, plan, last) for plan in plans])
    price = np.array([naive.price_for_new(scenario, plan, last) for plan in plans])
    refer = end.sign_up.monthly_referral_rate * end.pay.conversion_rate
    state = np.zeros((2, len(plans), ages + 1))
    state[:, :, : aboard.shape[2]] = aboard
    total = np.full(months, np.inf)
    for month in range(months):
        new = (flat + refer * state[0].sum()) * share
        moved = state[:, :, :-1] * keep
        waiting.append((state[:, :, :-1] - moved).sum(axis=2))
        state[:, :, 1:] = moved
        state[1, :, 1:] *= grow
        state[0, :, 0], state[1, :, 0] = new, new * price
        if back is not None and len(waiting) > back.after_months:
            state[:, :, 0] += back.comeback_rate * waiting[-1 - back.after_months]
        total[month] = state[1].sum()
        if not total[month] < 1e40:
            break
        if state[0].sum() > 1e40:
            if (share * price).any():
                break
            # customers without end whose MRR is none
            free = price == 0
            state[0, free], refer, waiting = 0.0, 0.0, [np.zeros_like(one) for one in waiting]
    return total


def level_of_channels(scenario) -> float:
    """New customers of the last month by channels, every season at its mean."""
    even = scenario.model_dump(mode="json")
    for channel in even["arrive"]["channels"]:
        if channel.get("season"):
            channel["season"] = [sum(channel["season"]) / 12] * 12
    even = type(scenario)(**even)
    arrivals = [naive.channel_months(even, number) for number in range(len(even.arrive.channels))]
    return naive.new_customers(even, arrivals, [0.0] * even.months, even.months)


def positions(scenario) -> tuple[list[np.ndarray], np.ndarray]:
    """What left in each month, (customers or MRR, plans); who is on board at the end, (the same, ages)."""
    last = scenario.months
    states = states_at(scenario, months=range(last + 1), read=single, draws=1)
    left = []
    for month in range(1, last + 1):
        before, now = (states[when][:, :, last - month + 1 :, 0] for when in (month - 1, month))
        with np.errstate(invalid="ignore", divide="ignore"):
            gone = np.where(before[:, 0] > 0, 1 - now[:, 0] / before[:, 0], 0.0)
        left.append(np.stack([(before[:, kind] * gone).sum(axis=1) for kind in (0, 1)]))
    return left, np.moveaxis(states[last][..., 0], 1, 0)


def at_the_end(scenario, plan) -> tuple:
    """A plan and the scenario as they are in the last month."""
    end = scenario.in_force(scenario.months)
    return end.pay.plans[scenario.pay.plans.index(plan)], end


def rates(scenario, plan, ages: int) -> tuple[np.ndarray, np.ndarray]:
    """The share that stays, and what its MRR is multiplied by, on reaching ages 1..ages; all as in the last month."""
    plan, scenario = at_the_end(scenario, plan)
    factor = 1.0
    for change in scenario.stay.churn_changes:
        factor *= change.factor if change.from_month <= scenario.months else 1.0
    when = np.arange(1, ages + 1)
    monthly = np.minimum(factor * churn_by_age(plan.churn or scenario.stay.churn, when), 1.0)
    if plan.billing == "monthly":
        keep = 1 - monthly
    elif plan.renewal_rate is not None:
        keep = np.where(when % 12 == 0, 1 - min(factor * (1 - plan.renewal_rate), 1.0), 1.0)
    else:
        years = (1 - monthly)[: ages // 12 * 12].reshape(-1, 12).prod(axis=1)
        keep = np.ones(ages)
        keep[11 : ages // 12 * 12 : 12] = years
    grown = [naive.growth_at(scenario, plan, age, scenario.months) for age in range(1, min(ages, 400) + 1)]
    grow = np.array([1 + more - less for more, less in grown])
    return keep, np.concatenate([grow, np.tile(grow[-12:], -(-ages // 12))])[:ages] if ages > 400 else grow


def churn_by_age(curve, when: np.ndarray) -> np.ndarray:
    if curve.curve == "bdw":
        alive = betaln(curve.alpha, curve.beta + np.concatenate([[0], when]) ** curve.shape)
        return -np.expm1(np.diff(alive))
    if curve.curve == "sbg":
        return curve.alpha / (curve.alpha + curve.beta + when - 1)
    near = np.array(
        [naive.curve_at(curve, int(age)) for age in when[:400]]
    )  # beyond, a curve of any other kind repeats
    return np.concatenate([near, np.full(max(when.size - 400, 0), near[-1])])


def little(scenario, ages: int = 200_000) -> float:
    """Where MRR settles by Little's law: newcomers x mean lifetime, with whoever is sent by them or comes back.

    Lifetimes are added up age by age; what falls like a power of age beyond that is its integral, A S(A) / (q - 1);
    with a power so near 1 that its sum cannot be told from one without end it is NaN.
    """
    end = scenario.in_force(scenario.months)
    refer = end.sign_up.monthly_referral_rate * end.pay.conversion_rate
    back = end.stay.comeback.comeback_rate if end.stay.comeback else 0.0
    lasts, worth, vague = 0.0, 0.0, False
    for plan in scenario.pay.plans:
        if plan.share * naive.comes_at_that_price(scenario, plan, scenario.months) == 0:
            continue
        keep, grow = rates(scenario, plan, ages)
        for kind, price in ((0, 1.0), (1, naive.price_for_new(scenario, plan, scenario.months))):
            if price == 0:
                continue
            factors = keep if kind == 0 else keep * grow
            terms = np.concatenate([[1.0], np.cumprod(factors)])
            first = terms[:1200]
            half = terms.size // 2
            late, later = terms[half - 12 : half].sum(), terms[-12:].sum()
            power = np.log2(late / later) if later > 1e-12 else np.inf
            heavy = power < np.inf and (kind == 0 or bool((np.abs(grow[-12:] - 1) < 1e-9).all()))
            if first[-12:].sum() <= 1e-4 * first.sum() and not heavy:  # a hundred years add it up
                terms = first
            left = (terms[:-1] * (1 - keep[: terms.size - 1])).sum()
            vague |= bool(later >= 1e-12 and first is not terms and 1 < power < 1.01)
            rest = 0.0 if later < 1e-12 or first is terms else terms[-1] * ages / (power - 1) if power > 1 else np.inf
            share = plan.share * naive.comes_at_that_price(scenario, plan, scenario.months)
            one = share * price * (terms.sum() + rest) / max(1 - back * (left + terms[-1]), 0.0)
            lasts, worth = lasts + (one if kind == 0 else 0), worth + (one if kind else 0)
    if vague and level_of_channels(scenario) > 0:
        return np.nan
    return float(level_of_channels(scenario) * worth / (1 - refer * lasts)) if refer * lasts < 1 else np.inf
