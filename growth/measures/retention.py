"""Retention over a stretch of months: the customers on board at its start, followed to its end.

Customers who left and came back within the stretch count as lost: they return as a new cohort.
"""

from __future__ import annotations

import numpy as np

from growth.engine import Forecast
from growth.engine.result import ratio
from growth.engine.retention import followed
from growth.errors import MeasureError, Problem
from growth.measures.measure import Measure, month_of


def customer_retention(forecast: Forecast, *, month: int | None = None, over: int = 12) -> Measure:
    """Of the customers on board `over` months before the close of `month` (the last), the share still there.

    Undefined where there were none.
    """
    customers, _, still, _, _ = _follow(forecast, month, over)
    return Measure.of(forecast, ratio(still, customers), "nobody was on board at the start")


def net_revenue_retention(forecast: Forecast, *, month: int | None = None, over: int = 12) -> Measure:
    """NRR: the MRR at the close of `month` of those on board `over` months before / their MRR then.

    Counts churn, contraction, expansion and price changes; above 1 the customers on board grow by themselves ("net
    negative churn"). Undefined where there was no MRR.

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
    """GRR: like NRR, but without anything gained (no expansion, no price rise); never above 1 nor above NRR."""
    _, mrr, _, _, gross = _follow(forecast, month, over)
    return Measure.of(forecast, ratio(gross, mrr), "there was no MRR at the start")


def _follow(forecast: Forecast, month: int | None, over: int) -> np.ndarray:
    end = month_of(forecast, month)
    if not isinstance(over, (int, np.integer)) or not 1 <= over <= end:
        raise MeasureError([Problem("over", f"a whole number of months from 1 to {end}, the month it ends with", str(over))])
    return followed(forecast.scenario, start=end - int(over), end=end)
