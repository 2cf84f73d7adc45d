"""Prices over time: what new customers pay, whom a price change keeps from joining, and what it does to those on board.

`read`: see `growth.engine.draws`. Scenarios are valid, so nothing is checked and nothing raised.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from growth.engine.draws import YEAR, Array, Read, by_month

if TYPE_CHECKING:
    from growth.scenario import Scenario
    from growth.scenario.pay import Plan
    from growth.scenario.stay import PriceChange


def _reaches(change: PriceChange, plan: Plan) -> bool:
    return change.plan is None or change.plan == plan.name


def new_prices(scenario: Scenario, *, read: Read) -> Array:
    """The price for a new customer in months 1..T: the plan's price then x (1 + change_rate) of each change so far.

    Money a month, of shape (plans, T, 1 or draws); a yearly plan counts a twelfth of its yearly price.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", months=3, pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     grow={"price_changes": [{"month": 3, "change_rate": 0.5, "applies_to": "new"}]})
    >>> new_prices(small, read=np.atleast_1d).ravel().tolist()
    [20.0, 20.0, 30.0]
    """
    rows = []
    for number, plan in enumerate(scenario.pay.plans):
        price = _listed(scenario, number, read)
        price = np.broadcast_to(price, (scenario.months, *price.shape[1:]))
        for change in scenario.grow.price_changes:
            if _reaches(change, plan):
                price = price * np.where(_from(change.month, scenario.months), 1 + read(change.change_rate), 1.0)
        rows.append(price)
    return np.stack(np.broadcast_arrays(*rows))


def _listed(scenario: Scenario, plan: int, read: Read) -> Array:
    return by_month(scenario, lambda now: now.pay.plans[plan].price, read=read)


def joining_shares(scenario: Scenario, *, read: Read) -> Array:
    """The share of new customers who join each plan, without those lost to its price changes so far.

    Shape (plans, T, 1 or draws); (plans, 1, 1 or draws) where price changes lose nobody.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", months=3, pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     grow={"price_changes": [{"month": 3, "change_rate": 0.5, "lost_new_rate": 0.25}]})
    >>> joining_shares(small, read=np.atleast_1d).ravel().tolist()
    [1.0, 1.0, 0.75]
    """
    rows = []
    for plan in scenario.pay.plans:
        share = read(plan.share)[None]
        for change in scenario.grow.price_changes:
            if _reaches(change, plan) and np.any(change.lost_new_rate):
                share = share * np.where(_from(change.month, scenario.months), 1 - read(change.lost_new_rate), 1.0)
        rows.append(share)
    return np.stack(np.broadcast_arrays(*rows))


def price_changes(scenario: Scenario, *, read: Read) -> tuple[Array | None, Array | None]:
    """For those on board in months 1..T: the change in price, and the share that leaves over it; None without any.

    Fractions of shape (plans, T, 1 or draws). Yearly plans meet a change at the next renewal, within a year.
    """
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


def _from(month: int, months: int) -> npt.NDArray[np.bool_]:
    return (np.arange(1, months + 1) >= month)[:, None]
