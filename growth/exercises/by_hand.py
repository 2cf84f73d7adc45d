"""Sums by hand beside the engine's numbers, for the textbook."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from growth.engine import Forecast


def beside(by_hand: Mapping[str, Sequence[float]], forecast: Forecast, series: Mapping[str, str]) -> pd.DataFrame:
    """A row a month: each column worked by hand, and the engine's series of the same meaning next to it.

    Parameters
    ----------
    by_hand
        Heading -> the values of months 1, 2, ...
    forecast
        Without draws.
    series
        Heading -> the name of the forecast's series.

    Raises
    ------
    AssertionError
        Hand and engine differ by more than rounding.

    Examples
    --------
    >>> import growth
    >>> plan = {"name": "One", "monthly_price": 20}
    >>> none_leave = {"churn": {"curve": "constant", "monthly_churn_rate": 0}}
    >>> still = growth.Scenario(business="Kiln", opening={"customers": 5}, pay={"plans": [plan]}, stay=none_leave)
    >>> beside({"MRR": [100]}, growth.forecast(still), {"MRR": "closing_mrr"})["MRR", "engine"].tolist()
    [100.0]
    """
    table: dict[tuple[str, str], Sequence[float] | np.ndarray] = {}
    for name, attribute in series.items():
        engine = np.asarray(getattr(forecast, attribute))[: len(by_hand[name])]
        np.testing.assert_allclose(engine, by_hand[name], rtol=1e-9, atol=1e-9, err_msg=name)
        table[name, "by hand"], table[name, "engine"] = by_hand[name], engine
    return pd.DataFrame(table, index=pd.RangeIndex(1, len(engine) + 1, name="month"))
