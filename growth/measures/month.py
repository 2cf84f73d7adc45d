"""Measures of a month, or of the months up to one: goal, quick ratio, acquisition cost, cash.

Where a measure asks for them, `month` is 1..T (None: the last) and `over` the number of months, 1 or more, that end
with it; MeasureError otherwise. Money is in the scenario's currency. Definitions: common practice, no source.
"""

from __future__ import annotations

import numpy as np

from growth.engine import Forecast
from growth.engine.result import ratio
from growth.errors import count_of
from growth.measures.measure import ROUNDING, SAME, Measure, month_for_good, window


def goal_month(forecast: Forecast) -> Measure:
    """The first month whose closing MRR is at least the scenario's goal_mrr; 0 where the opening MRR already is.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario or of draws.

    Returns
    -------
    Measure
        A month, 0..T. Undefined without a goal, and where the goal is not reached within the forecast.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", goal_mrr=100, opening={"customers": 4, "mrr": 100},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 25}]})
    >>> goal_month(growth.forecast(scenario)).value
    0
    """
    goal = forecast.scenario.goal_mrr
    if goal is None:
        return Measure.of(forecast, np.full(1, np.nan), "no goal is set")
    mrr = np.concatenate([forecast.opening_mrr[..., :1], forecast.closing_mrr], axis=-1)
    reached = mrr >= (goal[:, None] if isinstance(goal, np.ndarray) else goal) * (1 - SAME)
    first = np.where(reached.any(axis=-1), reached.argmax(axis=-1), np.nan)
    return Measure.of(forecast, first, f"not within {count_of(forecast.months, 'month')}", whole=True)


def quick_ratio(forecast: Forecast, *, month: int | None = None, over: int = 1) -> Measure:
    """(New + reactivation + expansion MRR) / (churned + contraction MRR) in the `over` months up to `month`.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario or of draws.
    month : int, optional
        The month it ends with, 1..T; the last by default.
    over : int
        How many months end with it, 1 or more.

    Returns
    -------
    Measure
        A ratio, 0 or more; 1 where MRR stands still. Undefined where nothing was lost.

    Raises
    ------
    MeasureError
        A month outside the forecast, or an `over` below 1.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", months=1, opening={"customers": 10, "mrr": 200},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}}, grow={"monthly_expansion_rate": 0.05},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> round(quick_ratio(growth.forecast(scenario)).value, 6)  # (200 - 20) x 5% / 20
    0.45
    """
    when = window(forecast, month=month, over=over)
    gained = forecast.new_mrr + forecast.reactivation_mrr + forecast.expansion_mrr
    lost = forecast.churned_mrr + forecast.contraction_mrr
    value = ratio(gained[..., when].sum(axis=-1), lost[..., when].sum(axis=-1))
    return Measure.of(forecast, value, "nothing was lost")


def customer_acquisition_cost(forecast: Forecast, *, month: int | None = None, over: int = 12) -> Measure:
    """CAC: acquisition spend / new customers, in the `over` months up to `month`.

    Customers who came back are not new.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario or of draws.
    month : int, optional
        The month it ends with, 1..T; the last by default.
    over : int
        How many months end with it, 1 or more.

    Returns
    -------
    Measure
        Money a customer, 0 or more. Undefined where nobody joined.

    Raises
    ------
    MeasureError
        A month outside the forecast, or an `over` below 1.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000, "monthly_cost": 80}]},
    ...     sign_up={"signup_rate": 0.05})
    >>> customer_acquisition_cost(growth.forecast(scenario)).value  # 80 / (1000 x 5% x 20%)
    8.0
    """
    when = window(forecast, month=month, over=over)
    value = ratio(forecast.acquisition_spend[..., when].sum(axis=-1), forecast.new_customers[..., when].sum(axis=-1))
    return Measure.of(forecast, value, "nobody joined")


def break_even_month(forecast: Forecast) -> Measure:
    """The first month from which net cash is never negative again within the forecast.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario or of draws.

    Returns
    -------
    Measure
        A month, 1..T. Undefined where the last month's net cash is negative.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000}]}, sign_up={"signup_rate": 0.05},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0}}, bill={"monthly_fixed_costs": 500})
    >>> break_even_month(growth.forecast(scenario)).value  # 200 more a month: 200, 400, 600 in
    3
    """
    first = month_for_good(forecast.net_cash >= -SAME * forecast.cash_in)
    return Measure.of(forecast, first, f"not within {count_of(forecast.months, 'month')}", whole=True)


def lowest_cash(forecast: Forecast) -> Measure:
    """The least cash at the close of any month from 0 (opening_cash) to the last.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario or of draws.

    Returns
    -------
    Measure
        Money; negative where it has to be found.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000}]}, sign_up={"signup_rate": 0.05},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0}}, bill={"monthly_fixed_costs": 500})
    >>> lowest_cash(growth.forecast(scenario)).value  # 200 - 500, then 400 - 500 more, then 600 - 500 back
    -400.0
    """
    return Measure.of(forecast, _cash(forecast).min(axis=-1), "")


def lowest_cash_month(forecast: Forecast) -> Measure:
    """The month at whose close cash is least, the first of several.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario or of draws.

    Returns
    -------
    Measure
        A month, 0..T; 0 where cash never falls below opening_cash.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000}]}, sign_up={"signup_rate": 0.05},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0}}, bill={"monthly_fixed_costs": 500})
    >>> lowest_cash_month(growth.forecast(scenario)).value
    2
    """
    cash = _cash(forecast)
    least = cash.argmin(axis=-1)[..., None]
    taken = np.concatenate([np.abs(cash[..., :1]), forecast.cash_in], axis=-1).cumsum(axis=-1)
    slack = ROUNDING * np.take_along_axis(taken, least, axis=-1)
    month = (cash <= np.take_along_axis(cash, least, axis=-1) + slack).argmax(axis=-1)
    return Measure.of(forecast, month, "", whole=True)


def _cash(forecast: Forecast) -> np.ndarray:
    opening = np.broadcast_to(forecast.scenario.bill.opening_cash, forecast.cash.shape[:-1])
    return np.concatenate([opening[..., None], forecast.cash], axis=-1)
