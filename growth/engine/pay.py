"""Sign-ups and when they become customers; prices over time, and whom a price change keeps away or drives off.

Arrays of arrivals have shape (months, 1) or (months, draws), time first. For `read` see `growth.engine.draws`.
Scenarios are valid, so nothing is checked and nothing raised.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from growth.engine.arrive import Later, acquisition_spend, brought
from growth.engine.draws import YEAR, Array, Read, at, by_month

if TYPE_CHECKING:
    from growth.scenario import Number, Scenario
    from growth.scenario.pay import Plan
    from growth.scenario.stay import PriceChange


def arrivals_of(scenario: Scenario, *, read: Read, season_at_mean: bool = False) -> dict[str, Array]:
    """Totals of all channels by month, without referrals.

    Sign-ups are visitors x signup_rate, or counted directly by a channel of sign-ups; new customers come from
    `paying_stream`, or are counted directly by a channel of customers. A channel's own rates override the scenario's.
    People a month, and money a month for acquisition_spend, of shape (months, 1 or draws). season_at_mean: the mean of
    a season's twelve factors in every month.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", months=2, pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000, "monthly_cost": 80}]},
    ...     sign_up={"signup_rate": 0.05})
    >>> {name: values.ravel().tolist() for name, values in arrivals_of(small, read=np.atleast_1d).items()}
    {'visitors': [1000.0, 1000.0], 'sign_ups': [50.0, 50.0], 'new_customers': [10.0, 10.0],
     'acquisition_spend': [80.0, 80.0]}
    """
    months, calendar_month = scenario.months, int(scenario.first_month[5:])
    total = dict.fromkeys(("visitors", "sign_ups", "new_customers", "acquisition_spend"), np.zeros((months, 1)))
    for number, channel in enumerate(scenario.arrive.channels):
        later = Later.of(scenario, number)
        steady, launched = brought(
            channel,
            months=months,
            calendar_month=calendar_month,
            read=read,
            season_at_mean=season_at_mean,
            later=later,
        )
        part = {"acquisition_spend": acquisition_spend(channel, months=months, read=read, later=later)}
        if channel.kind == "customers":
            part["new_customers"] = steady
        else:
            rate = np.ones((1, 1))
            if channel.kind != "sign_ups":
                part["visitors"] = steady + launched
                rate = by_month(scenario, partial(_signup_rate, number=number), read=read)
            part["sign_ups"] = (steady + launched) * rate
            warm = channel.running_before and channel.first_month == 1
            part["new_customers"] = paying_stream(
                signups=part["sign_ups"],
                earlier=steady[0] * rate[0] if warm else np.zeros(1),
                delay_shares=scenario.pay.delay_shares,
                conversion_rate=by_month(scenario, partial(_conversion_rate, number=number), read=read),
            )
        total |= {name: total[name] + values for name, values in part.items()}
    return total


def _signup_rate(scenario: Scenario, *, number: int) -> Number:
    own: Number | None = getattr(scenario.arrive.channels[number], "signup_rate", None)
    return scenario.sign_up.signup_rate if own is None else own


def _conversion_rate(scenario: Scenario, *, number: int) -> Number:
    own: Number | None = getattr(scenario.arrive.channels[number], "conversion_rate", None)
    return scenario.pay.conversion_rate if own is None else own


def paying_stream(*, signups: Array, earlier: Array, delay_shares: tuple[float, ...], conversion_rate: Array) -> Array:
    """New customers in month t: conversion_rate x the sum over lags l of delay_shares[l] x sign-ups in month t - l.

    `signups` are >= 0, of shape (months, 1 or draws); `earlier` is their number in each month before month 1, of shape
    (1 or draws,). `delay_shares` add up to 1; share l starts paying l months after signing up. `conversion_rate`, 0..1,
    is that of the month in which they pay: a number, or shape (months or 1, 1 or draws). Returns customers a month, of
    shape (months, 1 or draws).

    >>> paying_stream(signups=np.array([[10.0], [20.0]]), earlier=np.array([10.0]), delay_shares=(0.5, 0.5),
    ...     conversion_rate=np.array([0.1])).ravel().tolist()
    [1.0, 1.5]
    """
    if delay_shares == (1.0,):
        return signups * conversion_rate
    lags = len(delay_shares) - 1
    before = np.broadcast_to(earlier, (lags, *np.broadcast_shapes(earlier.shape, signups.shape[1:])))
    whole = np.concatenate([before, np.broadcast_to(signups, (len(signups), *before.shape[1:]))])
    months = len(signups)
    paying = sum(part * whole[lags - lag : lags - lag + months] for lag, part in enumerate(delay_shares))
    return paying * conversion_rate


class Referrals:
    """Referred sign-ups and when they start paying: the only feedback from customers to arrivals.

    Sign-ups in month t are monthly_referral_rate x customers at the end of month t - 1; they convert like any others.
    Call `paying` for months 1, 2, ... in order. `opening_customers` counts all plans at the end of month 0, with shape
    (1 or draws,).

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}],
    ...     "conversion_rate": 0.5}, sign_up={"monthly_referral_rate": 0.1})
    >>> referrals = Referrals(small, read=np.atleast_1d, opening_customers=np.array([40.0]))
    >>> referrals.paying(1, np.array([40.0])), referrals.paying(2, np.array([60.0]))
    (array([2.]), array([3.]))
    """

    def __init__(self, scenario: Scenario, *, read: Read, opening_customers: Array):
        self.rate = by_month(scenario, lambda now: now.sign_up.monthly_referral_rate, read=read)
        self.active = bool(np.any(self.rate))
        self.conversion = by_month(scenario, lambda now: now.pay.conversion_rate, read=read)
        self.delay = scenario.pay.delay_shares
        self.warm = self.rate[0] * opening_customers  # of each month before month 1
        self.signups: list[Array] = []

    def paying(self, month: int, customers_before: Array) -> Array:
        """New customers by referral in `month`, given the customers at the end of the month before."""
        self.signups.append(at(self.rate, month) * customers_before)
        lagged = (self.warm if month - lag < 1 else self.signups[month - 1 - lag] for lag in range(len(self.delay)))
        sent = sum(part * signups for part, signups in zip(self.delay, lagged, strict=True))
        return at(self.conversion, month) * sent


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
