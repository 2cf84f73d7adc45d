"""Retention over a stretch of months: the customers on board at its start, followed to its end.

Customers who left and came back within the stretch count as lost: they return as a new cohort. All three measures ask
about the `over` months (1..month) that end with the close of `month` (1..T; None: the last), and raise MeasureError
outside of that. They are fractions, undefined (None, with a reason) where there was nothing at the start. Definitions:
common practice, no source.
"""

from __future__ import annotations

import numpy as np

from growth.engine import Forecast
from growth.engine.cohorts import followed
from growth.engine.result import ratio
from growth.measures.measure import Measure, month_of, whole_number


def customer_retention(forecast: Forecast, *, month: int | None = None, over: int = 12) -> Measure:
    """Of the customers on board `over` months before the close of `month`, the share still there.

    Those of them on board at the end / all of them at the start.

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
        A fraction, 0..1. Undefined where nobody was on board at the start.

    Raises
    ------
    MeasureError
        A month outside the forecast, or an `over` that begins before it.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", months=12, opening={"customers": 10, "mrr": 100},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 10}]})
    >>> round(customer_retention(growth.forecast(scenario), over=2).value, 6)  # 0.9 x 0.9
    0.81
    """
    customers, _, still, _, _ = _follow(forecast, month, over)
    return Measure.of(forecast, ratio(still, customers), "nobody was on board at the start")


def net_revenue_retention(forecast: Forecast, *, month: int | None = None, over: int = 12) -> Measure:
    """NRR: the MRR at the close of `month` of those on board `over` months before / their MRR then.

    Counts churn, contraction, expansion and price changes; above 1 the customers on board grow by themselves ("net
    negative churn"). Without churn, expansion or contraction it is 1.

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
        A ratio, 0 or more. Undefined where there was no MRR at the start.

    Raises
    ------
    MeasureError
        A month outside the forecast, or an `over` that begins before it.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", months=12, opening={"customers": 10, "mrr": 100},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}}, grow={"monthly_expansion_rate": 0.05},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 10}]})
    >>> round(net_revenue_retention(growth.forecast(scenario)).value, 6), round((0.9 * 1.05) ** 12, 6)
    (0.507203, 0.507203)
    """
    _, mrr, _, net, _ = _follow(forecast, month, over)
    return Measure.of(forecast, ratio(net, mrr), "there was no MRR at the start")


def gross_revenue_retention(forecast: Forecast, *, month: int | None = None, over: int = 12) -> Measure:
    """GRR: like NRR, but without anything gained (no expansion, no price rise).

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
        A fraction, 0..1, never above NRR. Undefined where there was no MRR at the start.

    Raises
    ------
    MeasureError
        A month outside the forecast, or an `over` that begins before it.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", months=2, opening={"customers": 10, "mrr": 100},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}}, grow={"monthly_expansion_rate": 0.05},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 10}]})
    >>> round(gross_revenue_retention(growth.forecast(scenario), over=2).value, 6)  # 0.9 x 0.9
    0.81
    """
    _, mrr, _, _, gross = _follow(forecast, month, over)
    return Measure.of(forecast, ratio(gross, mrr), "there was no MRR at the start")


def _follow(forecast: Forecast, month: int | None, over: int) -> np.ndarray:
    end = month_of(forecast, month)
    rule = "a whole number of months from {low} to {high}, the month it ends with"
    over = whole_number("over", over, low=1, high=end, rule=rule)
    return followed(forecast.scenario, start=end - over, end=end)
