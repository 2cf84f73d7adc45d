"""Whether a number of a scenario could change its forecast at all, everything else being as it is.

An entry of the table of assumptions names one of these under `matters`, where there is something to ask. Each takes a
scenario and the place of the number in it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from growth.scenario.scenario import Scenario

Relevance: TypeAlias = Callable[["Scenario", tuple[str | int, ...]], bool]


def several_plans(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """Shares of plans: a sole plan has all."""
    return len(scenario.pay.plans) > 1


def several_lags(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """Shares paying later: a sole share is all."""
    return len(scenario.pay.delay_shares) > 1


def by_age(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """Ages of opening customers: where no churn, growth or billing depends on age, they change nothing."""
    plans = scenario.pay.plans
    curves = {(plan.churn or scenario.stay.churn).curve for plan in plans}
    yearly = any(plan.billing == "yearly" for plan in plans)
    return yearly or curves != {"constant"} or scenario.grow.last_age_months is not None


def mean_age(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """The mean age: ages that are counted go before it."""
    return scenario.opening.ages is None and by_age(scenario, place)


def curve_in_force(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """A churn curve: a plan follows it, that of all plans where it has none of its own, and has no renewal rate."""
    plans = scenario.pay.plans
    if place[0] == "stay":
        return any(plan.churn is None and plan.renewal_rate is None for plan in plans)
    return plans[int(place[2])].renewal_rate is None


def common_signup_rate(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """The sign-up rate of all channels: one of them counts visitors and has none of its own."""
    return any(getattr(channel, "signup_rate", 0) is None for channel in scenario.arrive.channels)


def common_conversion_rate(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """The conversion rate of all sign-ups: a channel has none of its own, or customers send sign-ups."""
    follow = any(getattr(channel, "conversion_rate", 0) is None for channel in scenario.arrive.channels)
    return follow or bool(np.any(np.asarray(scenario.sign_up.monthly_referral_rate) > 0))


def reaches_those_on_board(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """Churn over a price change: the change reaches customers on board."""
    return scenario.grow.price_changes[int(place[2])].applies_to == "all"


def lifetime_value_alone(scenario: Scenario, place: tuple[str | int, ...]) -> bool:
    """The discount rate: it changes what a customer is worth, and no month of the forecast."""
    return False
