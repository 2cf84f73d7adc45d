"""What is left of cash each month: from which month on it is enough, and how much it is where growth levels off.

Cash left is net cash: cash in less fees, cost to serve, fixed costs and acquisition spend. As earned, revenue takes the
place of cash in, so that a yearly payment counts a twelfth a month. Definitions: common practice, no source.
"""

from __future__ import annotations

import numpy as np

from growth.engine import Forecast
from growth.engine.draws import Array
from growth.errors import count_of
from growth.measures.ceiling import customer_ceiling, growth_ceiling
from growth.measures.measure import SAME, Measure, month_for_good


def money_left(forecast: Forecast, *, as_earned: bool = False) -> Array:
    """What is left in each month.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario or of draws.
    as_earned : bool
        Whether revenue takes the place of cash in, so that a yearly payment counts a twelfth a month.

    Returns
    -------
    numpy.ndarray
        Money, negative where it is missing; shape (months,) or (draws, months).

    Examples
    --------
    >>> import growth
    >>> plans = [{"name": "Studio", "monthly_price": 20, "billing": "yearly"}]
    >>> scenario = growth.Scenario(business="Fernhollow", months=2, pay={"plans": plans}, sign_up={"signup_rate": 0.05},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000}]}, bill={"monthly_fixed_costs": 150})
    >>> result = growth.forecast(scenario)  # ten join each month and pay 240 for the year
    >>> money_left(result).round(6).tolist(), money_left(result, as_earned=True).round(6).tolist()
    ([2250.0, 2250.0], [50.0, 250.0])
    """
    return forecast.net_cash - forecast.cash_in + forecast.revenue if as_earned else forecast.net_cash


def enough_left(forecast: Forecast, *, as_earned: bool = False) -> np.ndarray:
    """Whether at least the scenario's `goal_left` is left in each month; False throughout without such a goal.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario or of draws.
    as_earned : bool
        As in `money_left`.

    Returns
    -------
    numpy.ndarray of bool
        Shape (months,) or (draws, months).

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", months=3, goal_left=80, sign_up={"signup_rate": 0.05},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]}, bill={"monthly_fixed_costs": 320},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0}})
    >>> enough_left(growth.forecast(scenario)).tolist()  # 200, 400, 600 come in
    [False, True, True]
    """
    goal = forecast.scenario.goal_left
    left = money_left(forecast, as_earned=as_earned)
    if goal is None:
        return np.zeros(left.shape, bool)
    wanted = np.asarray(goal, float)[..., None]
    return np.asarray(left >= wanted - SAME * np.maximum(wanted, forecast.cash_in))


def left_month(forecast: Forecast, *, as_earned: bool = False) -> Measure:
    """The first month from which at least the scenario's `goal_left` is left in every month of the forecast.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario or of draws.
    as_earned : bool
        As in `money_left`.

    Returns
    -------
    Measure
        A month, 1..T. Undefined without such a goal, and where less is left in the last month.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", goal_left=250, sign_up={"signup_rate": 0.05},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]}, bill={"monthly_fixed_costs": 500},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0}})
    >>> left_month(growth.forecast(scenario)).value  # 200, 400, 600, 800 come in
    4
    """
    if forecast.scenario.goal_left is None:
        return Measure.of(forecast, np.full(1, np.nan), "no goal is set for what is left")
    first = month_for_good(enough_left(forecast, as_earned=as_earned))
    return Measure.of(forecast, first, f"not for good within {count_of(forecast.months, 'month')}", whole=True)


def left_at_ceiling(forecast: Forecast) -> Measure:
    """What is left a month where customers and MRR settle, at the costs of the last month.

    There cash comes in as it is earned. Payments a customer are those of the last twelve months, which is exact where
    every plan is billed alike.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario or of draws.

    Returns
    -------
    Measure
        Money a month, below 0 where it is missing. Undefined where customers or MRR settle at no known level.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", sign_up={"signup_rate": 0.05},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]}, bill={"monthly_fixed_costs": 500},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.05}})
    >>> round(left_at_ceiling(growth.forecast(scenario)).value, 6)  # 10 a month / 5% x 20 - 500
    3500.0
    """
    mrr, customers = growth_ceiling(forecast), customer_ceiling(forecast)
    missing = mrr if mrr.value is None or np.isnan(mrr.value).any() else customers
    if mrr.value is None or customers.value is None:
        return Measure(None, missing.reason, missing.code)
    bill, last = forecast.scenario.in_force(forecast.months).bill, slice(-12, None)
    people = forecast.closing_customers[..., last].sum(axis=-1)
    payments = forecast.payments[..., last].sum(axis=-1)
    paying = np.divide(payments, people, out=np.zeros_like(people), where=people > 0)
    out = bill.payment_fee_rate * np.asarray(mrr.value)
    out = out + np.asarray(customers.value) * (bill.monthly_cost_to_serve + bill.fee_per_payment * paying)
    out = out + bill.monthly_fixed_costs + forecast.acquisition_spend[..., -1]
    return Measure.of(forecast, np.atleast_1d(mrr.value - out), missing.reason)
