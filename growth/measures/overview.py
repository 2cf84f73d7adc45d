"""All measures of a forecast in one table, for notebooks and reports."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from growth.engine import Forecast
from growth.errors import MeasureError, Problem
from growth.measures import ceiling, lifetime, month, retention
from growth.measures.measure import Measure

if TYPE_CHECKING:
    import pandas as pd

# what it is, the function, how it is written
ROWS: tuple[tuple[str, Callable[..., Measure], str], ...] = (
    ("month in which the goal is reached", month.goal_month, "{:,.0f}"),
    ("growth ceiling, MRR", ceiling.growth_ceiling, "{:,.0f}"),
    ("growth ceiling, customers", ceiling.customer_ceiling, "{:,.1f}"),
    ("customers kept over a year", retention.customer_retention, "{:.1%}"),
    ("net revenue retention over a year (NRR)", retention.net_revenue_retention, "{:.1%}"),
    ("gross revenue retention over a year (GRR)", retention.gross_revenue_retention, "{:.1%}"),
    ("quick ratio of the last month: gained / lost MRR", month.quick_ratio, "{:,.2f}"),
    ("cost of winning a customer (CAC), last year", month.customer_acquisition_cost, "{:,.2f}"),
    ("lifetime value of a customer joining in month 1 (LTV)", lifetime.lifetime_value, "{:,.0f}"),
    ("months until a new customer pays back CAC", lifetime.payback_months, "{:,.0f}"),
    ("month from which more cash comes in than goes out", month.break_even_month, "{:,.0f}"),
    ("lowest cash", month.lowest_cash, "{:,.0f}"),
    ("month of the lowest cash", month.lowest_cash_month, "{:,.0f}"),
)


def table_of_measures(forecast: Forecast) -> pd.DataFrame:
    """A row a measure: "value" as text, and "why not" where it is undefined. For a scenario without draws.

    Measures over a year look at the last twelve months, or at all of a shorter forecast.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> table_of_measures(growth.forecast(scenario)).loc["month in which the goal is reached", "why not"]
    'no goal is set'
    """
    import pandas as pd

    if forecast.scenario.draws is not None:
        raise MeasureError([Problem("forecast", "one scenario", f"{forecast.scenario.draws} draws")])
    rows = {}
    for name, function, form in ROWS:
        yearly = {"over": min(12, forecast.months)} if function.__module__.endswith("retention") else {}
        measure = function(forecast, **yearly)
        rows[name] = ("–" if measure.value is None else form.format(measure.value), measure.reason)
    return pd.DataFrame.from_dict(rows, orient="index", columns=["value", "why not"]).rename_axis("measure")
