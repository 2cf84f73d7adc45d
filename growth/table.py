"""A forecast and its measures as pandas tables."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from growth.engine import SERIES, Forecast
from growth.errors import MeasureError, Problem
from growth.measures import Measure, ceiling, left, lifetime, month, retention
from growth.measures.measure import whole_number


def to_frame(forecast: Forecast, *, draw: int | None = None) -> pd.DataFrame:
    """A forecast by month.

    Parameters
    ----------
    forecast
        With or without draws.
    draw
        Which draw, 0 to draws - 1; None for a forecast without draws.

    Returns
    -------
    pandas.DataFrame
        A row for each month (the index "month", monthly periods) and a column for each of `growth.engine.SERIES`: money
        in the scenario's currency, rates as fractions a month, NaN where a ratio is undefined. The values are copies.

    Raises
    ------
    MeasureError
        `draw` is missing, out of range, or given for a forecast without draws.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", months=2, opening={"customers": 40, "mrr": 1160},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> to_frame(growth.forecast(scenario))[["opening_mrr", "churned_mrr", "closing_mrr"]].round(2)
             opening_mrr  churned_mrr  closing_mrr
    month
    2027-01       1160.0        46.40      1113.60
    2027-02       1113.6        44.54      1069.06
    """
    draws = forecast.scenario.draws
    if draws is not None:
        draw = whole_number("draw", draw, low=0, high=draws - 1)
    elif draw is not None:
        raise MeasureError([Problem("draw", "left out: this scenario has no draws", str(draw))])
    months = pd.period_range(forecast.scenario.first_month, periods=forecast.months, freq="M", name="month")
    of_draw = ... if draws is None else draw
    return pd.DataFrame({name: np.array(getattr(forecast, name)[of_draw]) for name in SERIES}, index=months)


# label with its {span} or {last}, function, format
ROWS: tuple[tuple[str, Callable[..., Measure], str], ...] = (
    ("month in which the goal is reached", month.goal_month, "{:,.0f}"),
    ("month from which the wanted amount is left every month", left.left_month, "{:,.0f}"),
    ("growth ceiling, MRR", ceiling.growth_ceiling, "{:,.0f}"),
    ("growth ceiling, customers", ceiling.customer_ceiling, "{:,.1f}"),
    ("customers kept over {span}", retention.customer_retention, "{:.1%}"),
    ("net revenue retention over {span} (NRR)", retention.net_revenue_retention, "{:.1%}"),
    ("gross revenue retention over {span} (GRR)", retention.gross_revenue_retention, "{:.1%}"),
    ("quick ratio of the last month: gained / lost MRR", month.quick_ratio, "{:,.2f}"),
    ("cost of winning a customer (CAC), all channels, {last}", month.customer_acquisition_cost, "{:,.2f}"),
    ("lifetime value of a customer joining in the last month (LTV)", lifetime.lifetime_value, "{:,.0f}"),
    ("months until a customer joining in the last month pays back CAC", lifetime.payback_months, "{:,.0f}"),
    ("month from which no more cash goes out than comes in", month.break_even_month, "{:,.0f}"),
    ("lowest cash", month.lowest_cash, "{:,.0f}"),
    ("month of the lowest cash", month.lowest_cash_month, "{:,.0f}"),
)


def table_of_measures(forecast: Forecast) -> pd.DataFrame:
    """The measures of a forecast, as text.

    Measures over a stretch look at the last twelve months, or at all of a shorter forecast, and say so; "why not" also
    says where yearly renewals are still to come.

    Parameters
    ----------
    forecast
        Without draws.

    Returns
    -------
    pandas.DataFrame
        A row for each measure (the index "measure"): its "value", and "why not" where it is undefined, else "". What
        looks back a year looks at the last twelve months, or at all of a shorter forecast, and its label says which.
        `growth.measures` defines them.

    Raises
    ------
    MeasureError
        The forecast has draws.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> table_of_measures(growth.forecast(scenario)).loc["month in which the goal is reached", "why not"]
    'no goal is set'
    """
    if forecast.scenario.draws is not None:
        raise MeasureError([Problem("forecast", "one scenario", f"{forecast.scenario.draws} draws")])
    months = f"{forecast.months} months" if forecast.months > 1 else "month"
    span, last = ("a year", "last year") if forecast.months >= 12 else (f"the {months}", f"last {months}")
    rows = {}
    for name, function, form in ROWS:
        if function is left.left_month and forecast.scenario.goal_left is None:
            continue
        spanning = function.__module__.endswith("retention")
        measure = function(forecast, **({"over": min(12, forecast.months)} if spanning else {}))
        note = measure.reason
        if spanning and forecast.months < 12 and forecast.deferred_revenue[-1] > 0 and measure.value is not None:
            note = "yearly plans renew after these months, too"
        value = "\N{EN DASH}" if measure.value is None else form.format(measure.value)
        rows[name.format(span=span, last=last)] = (value, note)
    return pd.DataFrame.from_dict(rows, orient="index", columns=["value", "why not"]).rename_axis("measure")
