"""A forecast as a pandas table."""

from __future__ import annotations

import numpy as np
import pandas as pd

from growth.engine import SERIES, Forecast
from growth.errors import MeasureError, Problem


def to_frame(forecast: Forecast, *, draw: int | None = None) -> pd.DataFrame:
    """One row a month (index: monthly periods, named "month"), one column a series; see `growth.engine.SERIES`.

    draw: which draw, 0-based, where the scenario holds arrays over draws. Money in the scenario's currency, rates as
    fractions a month, NaN where a ratio is undefined. Raises MeasureError where `draw` is missing or out of range.

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
    if draws is None and draw is not None:
        raise MeasureError([Problem("draw", "left out: this scenario has no draws", str(draw))])
    if draws is not None and (draw is None or not 0 <= draw < draws):
        raise MeasureError([Problem("draw", f"a whole number from 0 to {draws - 1}", str(draw))])
    months = pd.period_range(forecast.scenario.first_month, periods=forecast.months, freq="M", name="month")
    columns = {name: getattr(forecast, name) for name in SERIES}
    pick = (lambda values: values) if draws is None else (lambda values: values[draw])
    return pd.DataFrame({name: np.array(pick(values)) for name, values in columns.items()}, index=months)
