"""A forecast and its measures as pandas tables."""

from __future__ import annotations

import numpy as np
import pandas as pd

import growth.measures as measures
from growth.engine import SERIES, Forecast
from growth.engine.draws import YEAR
from growth.errors import MeasureError, Problem
from growth.measures import Measure
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


LABELS = {  # name in growth.measures -> its label with {span} or {last}, and its format
    "goal_month": ("month in which the goal is reached", "{:,.0f}"),
    "left_month": ("month from which the wanted amount is left every month", "{:,.0f}"),
    "growth_ceiling": ("growth ceiling, MRR", "{:,.0f}"),
    "customer_ceiling": ("growth ceiling, customers", "{:,.1f}"),
    "customer_retention": ("customers kept over {span}", "{:.1%}"),
    "net_revenue_retention": ("net revenue retention over {span} (NRR)", "{:.1%}"),
    "gross_revenue_retention": ("gross revenue retention over {span} (GRR)", "{:.1%}"),
    "quick_ratio": ("quick ratio of the last month: gained / lost MRR", "{:,.2f}"),
    "customer_acquisition_cost": ("cost of winning a customer (CAC), all channels, {last}", "{:,.2f}"),
    "lifetime_value": ("lifetime value of a customer joining in the last month (LTV)", "{:,.0f}"),
    "payback_months": ("months until a customer joining in the last month pays back CAC", "{:,.0f}"),
    "break_even_month": ("month from which no more cash goes out than comes in", "{:,.0f}"),
    "lowest_cash": ("lowest cash", "{:,.0f}"),
    "lowest_cash_month": ("month of the lowest cash", "{:,.0f}"),
}


def measures_of(forecast: Forecast) -> dict[str, Measure]:
    """Each measure by its name in `growth.measures`, for a table. Without `left_month` where no such goal is set.

    Measures over a stretch look at the last twelve months, or at all of a shorter forecast.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> measures_of(growth.forecast(scenario))["goal_month"].reason
    'no goal is set'
    """
    over = min(YEAR, forecast.months)
    return {
        name: getattr(measures, name)(forecast, **({"over": over} if over_a_year(name) else {}))
        for name in LABELS
        if name != "left_month" or forecast.scenario.goal_left is not None
    }


def over_a_year(name: str) -> bool:
    """Whether a measure looks at a year of customers, or at all of a shorter forecast.

    >>> over_a_year("net_revenue_retention"), over_a_year("lowest_cash")
    (True, False)
    """
    return name.endswith("_retention")


def renewals_follow(forecast: Forecast, name: str) -> bool:
    """Whether a measure over a stretch leaves out yearly plans that renew after it, since it is shorter than a year.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> renewals_follow(growth.forecast(scenario), "net_revenue_retention")
    False
    """
    return over_a_year(name) and forecast.months < YEAR and bool(forecast.deferred_revenue[-1] > 0)


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
    span, last = ("a year", "last year") if forecast.months >= YEAR else (f"the {months}", f"last {months}")
    rows = {}
    for name, measure in measures_of(forecast).items():
        label, form = LABELS[name]
        follow = measure.value is not None and renewals_follow(forecast, name)
        note = "yearly plans renew after these months, too" if follow else measure.reason
        value = "\N{EN DASH}" if measure.value is None else form.format(measure.value)
        rows[label.format(span=span, last=last)] = (value, note)
    return pd.DataFrame.from_dict(rows, orient="index", columns=["value", "why not"]).rename_axis("measure")
