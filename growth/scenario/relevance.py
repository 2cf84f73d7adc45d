"""Whether changing a number alone could change the forecast.

An assumption's entry names one of these functions under `matters` if the answer depends on the scenario. Each takes a
scenario and the place of the number, and returns a bool.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from growth.scenario.scenario import Scenario

Relevance: TypeAlias = Callable[["Scenario", tuple[str | int, ...]], bool]


def several_plans(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """Shares of plans: there is more than one plan."""
    return len(scenario.pay.plans) > 1


def several_lags(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """Shares paying later: there is more than one share."""
    return len(scenario.pay.delay_shares) > 1


def by_age(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """Ages of opening customers: churn, growth or billing of some plan depends on age.

    >>> from growth.scenario import Scenario
    >>> by_age(Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 29}]}), ("opening", "ages"))
    False
    """
    plans = scenario.pay.plans
    curves = {(plan.churn or scenario.stay.churn).curve for plan in plans}
    yearly = any(plan.billing == "yearly" for plan in plans)
    return yearly or curves != {"constant"} or scenario.grow.last_age_months is not None


def mean_age(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """The mean age: it is unused if `ages` is given."""
    return scenario.opening.ages is None and by_age(scenario, place)


def curve_in_force(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """A churn curve: some plan without a renewal rate uses it, as its own or as the scenario's."""
    plans = scenario.pay.plans
    if place[0] == "stay":
        return any(plan.churn is None and plan.renewal_rate is None for plan in plans)
    return plans[int(place[2])].renewal_rate is None


def common_signup_rate(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """The common sign-up rate: some channel of visitors has no rate of its own."""
    return any(getattr(channel, "signup_rate", 0) is None for channel in scenario.arrive.channels)


def common_conversion_rate(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """The common conversion rate: some channel has no rate of its own, or there are referrals."""
    follow = any(getattr(channel, "conversion_rate", 0) is None for channel in scenario.arrive.channels)
    return follow or bool(np.any(np.asarray(scenario.sign_up.monthly_referral_rate) > 0))


def reaches_those_on_board(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """Churn provoked by a price change: the change applies to existing customers."""
    return scenario.grow.price_changes[int(place[2])].applies_to == "all"


def lifetime_value_alone(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """The discount rate: it changes lifetime value, but no month of the forecast."""
    return False
