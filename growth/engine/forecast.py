"""The forecast: arrivals, then month by month who leaves, comes back and joins, and what they pay.

One scenario or many draws: where numbers of the scenario are arrays over draws, the draws are taken in blocks small enough to
stay in a processor's cache, so that memory beyond the result does not grow with them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import numpy as np

from growth.engine.arrive import Read, acquisition_spend, paying_stream, visitors
from growth.engine.life import Life, ageless, life_of, oldest_age
from growth.engine.result import Forecast
from growth.engine.step import CUSTOMERS, MRR, advance, join, opening_state

_BLOCK = 1 << 16  # cohorts x draws that one block of state holds: about 1 MB


def forecast(scenario: Any) -> Forecast:
    """Forecasts a validated scenario; see model.md beside this file for every equation.

    scenario: a growth.Scenario. Its numbers may be arrays over draws, shape (draws,).
    Returns a frozen Forecast whose series have shape (months,) or (draws, months).

    >>> from growth.scenario import Scenario
    >>> example = Scenario(business="example A", months=3, sign_up={"signup_rate": 1}, pay={"conversion_rate": 1,
    ...     "plans": [{"name": "one", "monthly_price": 20}]}, stay={"churn": {"curve": "constant",
    ...     "monthly_churn_rate": 0.1}}, arrive={"channels": [{"name": "all", "monthly_visitors": 10}]})
    >>> forecast(example).closing_mrr.round(9).tolist()
    [200.0, 380.0, 542.0]
    """
    draws = scenario.draws
    pooled = ageless(scenario)
    if draws is None:
        return Forecast.of(scenario, _run(scenario, read=_single, draws=1, pooled=pooled), draws=None)
    cohorts = 1 if pooled else scenario.months + oldest_age(scenario.opening) + 1
    size = max(_BLOCK // (cohorts * len(scenario.pay.plans)), 256)
    size = min(size, 8192)
    whole: dict[str, np.ndarray] = {}
    for start in range(0, draws, size):
        block = slice(start, min(start + size, draws))
        for name, part in _run(scenario, read=_reader(block), draws=block.stop - start, pooled=pooled).items():
            if part.shape[-1] == 1 and draws > 1:
                whole.setdefault(name, part)  # the same in every draw
                continue
            if name not in whole:
                whole[name] = np.empty((*part.shape[:-1], draws))
            whole[name][..., block] = part
    return Forecast.of(scenario, whole, draws=draws)


def cohorts(scenario: Any) -> tuple[np.ndarray, np.ndarray]:
    """Customers and MRR by cohort, each of shape (months, oldest + 1 + months) or (draws, months, oldest + 1 + months).

    Column j + oldest is the cohort that joined in month j; a column is 0 until its cohort joins.
    """
    read, draws = (_single, 1) if scenario.draws is None else (_reader(slice(None)), scenario.draws)
    states = states_at(scenario, months=range(1, scenario.months + 1), read=read, draws=draws)
    by_cohort = np.stack([states[month].sum(axis=0)[:, ::-1] for month in states])  # months, 2, cohorts, draws
    customers, mrr = (np.moveaxis(by_cohort[:, kind], -1, 0) for kind in (CUSTOMERS, MRR))
    return (customers[0], mrr[0]) if scenario.draws is None else (customers, mrr)


def states_at(scenario: Any, *, months: Iterable[int], read: Read, draws: int) -> dict[int, np.ndarray]:
    """The whole state, by plan and cohort and never pooled, at the close of each of `months` (0 is the opening)."""
    kept = dict.fromkeys(months)
    _run(scenario, read=read, draws=draws, pooled=False, keep=kept)
    return kept


def by_block(scenario: Any, function: Callable[[Read, int], np.ndarray], *, block: int = 1024) -> np.ndarray:
    """function(read, draws) of each block of draws, joined on the last axis; of the one scenario where it has no draws."""
    if scenario.draws is None:
        return function(_single, 1)
    starts = range(0, scenario.draws, block)
    slices = [slice(start, min(start + block, scenario.draws)) for start in starts]
    parts = [function(_reader(part), part.stop - part.start) for part in slices]
    widths = [part.stop - part.start for part in slices]
    return np.concatenate([np.broadcast_to(p, (*p.shape[:-1], n)) for p, n in zip(parts, widths, strict=True)], axis=-1)


def _run(scenario: Any, *, read: Read, draws: int, pooled: bool, keep: dict[int, Any] | None = None) -> dict[str, np.ndarray]:
    """Every stored series of one block, time first: shape (months, 1 or draws); closing series have month 0 in front."""
    months = scenario.months
    life = life_of(scenario, read=read, pooled=pooled)
    arrivals = arrivals_of(scenario, read)
    state = opening_state(scenario, life=life, read=read, draws=draws)
    plans = len(scenario.pay.plans)

    left = np.empty((months, plans, 2, draws))
    closing = np.empty((months + 1, plans, 2, draws))
    grown = np.zeros((2, months, plans, draws)) if life.expansion is not None or life.price_rate is not None else None
    returned = np.zeros((months, plans, 2, draws)) if scenario.stay.comeback else None
    billed = np.empty((3, months, draws)) if life.pays is not None else None  # cash in, payments, deferred
    if keep is not None and 0 in keep:
        keep[0] = state.copy()

    closing[0] = state.sum(axis=2)
    joining = np.empty((months, plans, 2, draws))
    referrals = Referrals(scenario, read, closing[0, :, CUSTOMERS].sum(axis=0))
    if not referrals.active:
        _share_out(joining, life, arrivals["new_customers"], slice(None))
    for month in range(1, months + 1):
        t = month - 1
        left[t], expansion, contraction = advance(state, life=life, month=month)
        if grown is not None:
            grown[0, t], grown[1, t] = expansion, contraction
        if referrals.active:
            referred = referrals.paying(month, closing[t, :, CUSTOMERS].sum(axis=0))
            _share_out(joining, life, (arrivals["new_customers"][t] + referred)[None], slice(t, month))
        newcomers = joining[t]
        if returned is not None and month > scenario.stay.comeback.after_months:
            returned[t] = read(scenario.stay.comeback.comeback_rate) * left[t - scenario.stay.comeback.after_months]
            newcomers = newcomers + returned[t]
        closing[month] = join(state, newcomers, life=life, month=month)
        if billed is not None:
            billed[:, t] = _bill(state, life, month)
        if keep is not None and month in keep:
            keep[month] = state.copy()
    return _series(arrivals, referrals, joining, returned, left, grown, closing, billed)


def arrivals_of(scenario: Any, read: Read) -> dict[str, np.ndarray]:
    """Visitors, sign-ups, new customers and acquisition spend of all channels, shape (months, 1 or draws)."""
    months, calendar_month = scenario.months, int(scenario.first_month[5:])
    total = dict.fromkeys(("visitors", "sign_ups", "new_customers", "acquisition_spend"), np.zeros((months, 1)))
    for channel in scenario.arrive.channels:
        steady, launched = visitors(channel, months=months, calendar_month=calendar_month, read=read)
        rate = read(scenario.sign_up.signup_rate if channel.signup_rate is None else channel.signup_rate)
        warm = channel.running_before and channel.first_month == 1
        signups = (steady + launched) * rate
        part = {
            "visitors": steady + launched,
            "sign_ups": signups,
            "new_customers": paying_stream(
                signups=signups,
                earlier=steady[0] * rate if warm else np.zeros(1),
                delay_shares=scenario.pay.delay_shares,
                conversion_rate=read(
                    scenario.pay.conversion_rate if channel.conversion_rate is None else channel.conversion_rate
                ),
            ),
            "acquisition_spend": acquisition_spend(channel, months=months, read=read),
        }
        total = {name: total[name] + part[name] for name in total}
    return total


class Referrals:
    """Sign-ups sent by customers on board, and how many of them pay when: the one feedback from customers to arrivals."""

    def __init__(self, scenario: Any, read: Read, opening_customers: np.ndarray):
        self.rate = read(scenario.sign_up.monthly_referral_rate)
        self.active = bool(np.any(self.rate))
        self.conversion = read(scenario.pay.conversion_rate)
        self.delay = scenario.pay.delay_shares
        self.warm = self.rate * opening_customers  # of each month before month 1
        self.signups: list[np.ndarray] = []

    def paying(self, month: int, customers_before: np.ndarray) -> np.ndarray:
        """New customers by referral in `month`, given the customers at the close of the month before."""
        self.signups.append(self.rate * customers_before)
        lagged = (self.warm if month - lag < 1 else self.signups[month - 1 - lag] for lag in range(len(self.delay)))
        return self.conversion * sum(part * signups for part, signups in zip(self.delay, lagged, strict=True))


def _share_out(joining: np.ndarray, life: Life, new_customers: np.ndarray, when: slice) -> None:
    """New customers of the months in `when`, shape (months, draws), to plans, and what they pay."""
    by_plan = new_customers[:, None] * life.share
    joining[when, :, CUSTOMERS] = by_plan
    joining[when, :, MRR] = by_plan * np.moveaxis(life.price, 1, 0)[when]


def _bill(state: np.ndarray, life: Life, month: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cash in, payments and deferred revenue of a month, each of shape (draws,)."""
    row = life.months - month
    pays, defers = life.pays[:, : month + life.oldest + 1], life.defers[:, : month + life.oldest + 1]
    customers, mrr = state[:, CUSTOMERS, row:], state[:, MRR, row:]
    return (
        np.einsum("pcd,pc->d", mrr, pays),
        np.einsum("pcd,pc->d", customers, np.minimum(pays, 1.0)),
        np.einsum("pcd,pc->d", mrr, defers),
    )


def _series(arrivals, referrals, joining, returned, left, grown, closing, billed) -> dict[str, np.ndarray]:
    """The block's series by name, plans added up."""
    nothing = np.zeros((len(left), 1))
    closing = _add_plans(closing)
    joined, gone = _add_plans(joining), _add_plans(left)
    back = _add_plans(returned) if returned is not None else None
    sent = np.stack(referrals.signups) if referrals.active else nothing
    series = {
        "visitors": arrivals["visitors"],
        "sign_ups": arrivals["sign_ups"] + sent,
        "referred_sign_ups": sent,
        "acquisition_spend": arrivals["acquisition_spend"],
        "customers": closing[:, CUSTOMERS],
        "mrr": closing[:, MRR],
        "new_customers": joined[:, CUSTOMERS],
        "new_mrr": joined[:, MRR],
        "lost_customers": gone[:, CUSTOMERS],
        "churned_mrr": gone[:, MRR],
        "returned_customers": nothing if back is None else back[:, CUSTOMERS],
        "reactivation_mrr": nothing if back is None else back[:, MRR],
        "expansion_mrr": nothing if grown is None else _add_plans(grown[0]),
        "contraction_mrr": nothing if grown is None else _add_plans(grown[1]),
        "deferred_revenue": nothing if billed is None else billed[2],
    }
    if billed is not None:
        series["cash_in"], series["payments"] = billed[0], billed[1]
    return series


def _add_plans(by_plan: np.ndarray) -> np.ndarray:
    return by_plan[:, 0] if by_plan.shape[1] == 1 else by_plan.sum(axis=1)


def _single(value: Any) -> np.ndarray:
    return np.array([value], dtype=np.float64)


def _reader(block: slice) -> Read:
    def read(value: Any) -> np.ndarray:
        return value[block] if isinstance(value, np.ndarray) else np.array([value], dtype=np.float64)

    return read
