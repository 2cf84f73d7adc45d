"""The short formulas of a steady business, and whether a scenario is one."""

from __future__ import annotations

from dataclasses import dataclass

from growth.engine import Forecast
from growth.errors import ScenarioError
from growth.scenario import Scenario
from growth.scenario.file import load_scenario
from growth.scenario.range import likely_values

_AMOUNTS = {  # by kind of channel: what doubles so that twice as many arrive
    "steady": ("monthly_visitors", "visitor_ceiling"),
    "content": ("monthly_pieces", "earlier_pieces"),
    "paid": ("monthly_budget",),
    "sign_ups": ("monthly_sign_ups", "sign_up_ceiling"),
    "customers": ("monthly_customers", "customer_ceiling"),
}


@dataclass(frozen=True)
class ClosedForm:
    """The numbers of a business whose ceiling has a short formula.

    Attributes
    ----------
    churn : the share of customers who leave in a month, above 0 and below 1.
    growth : by how much more those who stay pay from month to month, a fraction.
    joining : new customers in the last month of the forecast.
    price : what a new customer pays a month, the mean over the plans.
    """

    churn: float
    growth: float
    joining: float
    price: float

    @property
    def kept(self) -> float:
        """The share of MRR that is still there a month later."""
        return (1 - self.churn) * (1 + self.growth)

    @property
    def customers(self) -> float:
        """Customers at the ceiling, joining / churn. Source: Little's law (Little, 1961, from memory)."""
        return self.joining / self.churn

    @property
    def mrr(self) -> float:
        """MRR at the ceiling: new MRR / share of MRR lost a month."""
        return self.joining * self.price / (1 - self.kept)


def closed_form(forecast: Forecast) -> ClosedForm | None:
    """The numbers of the short formulas, or None where they do not hold.

    They hold where the same share leaves and the same growth applies whatever a customer's age and plan: constant
    churn, monthly plans, no comebacks, no referrals, no changes of churn or price, no season.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", sign_up={"signup_rate": 1}, pay={"conversion_rate": 1,
    ...     "plans": [{"name": "Studio", "monthly_price": 20}]}, arrive={"channels": [{"name": "all",
    ...     "monthly_visitors": 10}]}, stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}})
    >>> closed_form(growth.forecast(scenario)).customers
    100.0
    """
    scenario = forecast.scenario
    stay, grow, plans = scenario.stay, scenario.grow, scenario.pay.plans
    curves = [plan.churn or stay.churn for plan in plans]
    rates = {float(getattr(one, "monthly_churn_rate", -1)) for one in curves if one.curve == "constant"}
    same_churn = all(one.curve == "constant" for one in curves) and len(rates) == 1
    yearly = any(plan.billing != "monthly" for plan in plans)
    seasons = any(channel.season is not None for channel in scenario.arrive.channels)
    age_matters = not same_churn or yearly or grow.last_age_months is not None
    time_matters = stay.churn_changes or grow.price_changes or seasons
    if age_matters or time_matters or stay.comeback or scenario.sign_up.monthly_referral_rate:
        return None
    found = ClosedForm(
        churn=rates.pop(),
        growth=float(grow.monthly_expansion_rate) - float(grow.monthly_contraction_rate),
        joining=float(forecast.new_customers[-1]),
        price=float(sum(plan.share * plan.price for plan in plans)),
    )
    sound = 0 < found.churn < 1 and found.kept < 1 - 1e-6 and found.joining > 1e-6 and found.price > 0
    return found if sound else None


def likely_scenario(scenario: Scenario) -> Scenario:
    """The scenario with the likely value in place of each range, without its what-ifs and sources.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    Scenario

    Examples
    --------
    >>> unsure = {"low": 24, "likely": 29, "high": 35}
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": unsure}]})
    >>> likely_scenario(base).pay.plans[0].monthly_price
    29.0
    """
    values = likely_values(scenario.model_dump(mode="json"))
    return load_scenario({"scenario": {**values, "what_ifs": [], "sources": []}})


def half_as_many_leave(scenario: Scenario) -> Scenario:
    """The scenario with churn halved from month 1 on, renewals of yearly plans included.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    Scenario

    Examples
    --------
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> half_as_many_leave(base).stay.churn_changes[0].factor
    0.5
    """
    values = scenario.model_dump(mode="json")
    values["stay"]["churn_changes"].append({"from_month": 1, "factor": 0.5})
    return load_scenario({"scenario": values})


def twice_as_many_join(scenario: Scenario) -> Scenario | None:
    """The scenario with twice as many arriving in every channel.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    Scenario or None
        None where doubling a number does not double who arrives: ads whose visits get dearer with the budget do not
        bring twice as many for twice the money, and a field may not hold twice its number.

    Examples
    --------
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 100}]})
    >>> twice_as_many_join(base).arrive.channels[0].monthly_visitors
    200.0
    """
    values = scenario.model_dump(mode="json")
    for channel in values["arrive"]["channels"]:
        if channel.get("budget_that_doubles_cost") is not None:
            return None
        for name in _AMOUNTS[channel["kind"]]:
            if channel.get(name) is not None:
                channel[name] *= 2
        for launch in channel.get("launches") or []:
            launch["visitors"] *= 2
    try:
        return load_scenario({"scenario": values})
    except ScenarioError:  # twice as many is more than a field holds
        return None


def with_spend(scenario: Scenario, amount: float) -> Scenario:
    """The scenario with more spent on its first channel.

    Parameters
    ----------
    scenario : Scenario
    amount : float
        What is added to the channel's monthly cost, in money a month.

    Returns
    -------
    Scenario

    Examples
    --------
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 100}]})
    >>> with_spend(base, 50).arrive.channels[0].monthly_cost
    50.0
    """
    values = scenario.model_dump(mode="json")
    values["arrive"]["channels"][0]["monthly_cost"] += amount
    return load_scenario({"scenario": values})
