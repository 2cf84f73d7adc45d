"""A snapshot, how long each customer has stayed, as a table of months."""

from __future__ import annotations

from typing import Any

import numpy as np


def snapshot_table(*, tenure: np.ndarray, left: np.ndarray, mrr: np.ndarray, plan: np.ndarray, last_month: str) -> Any:
    """Turn a snapshot into a row per customer and month.

    A snapshot says how long customers stayed, not when. The calendar is therefore an assumption: those who stay are on
    board in the last month, those who left are taken to have left in it, and each paid the same in every month.
    Survival by age does not depend on that. Whatever follows the calendar (new customers a month, their growth, the
    bridge) does, and is no measurement.

    Parameters
    ----------
    tenure : np.ndarray
        Full months since joining, integers from 0, shape (customers,).
    left : np.ndarray
        Boolean, shape (customers,): whether the customer has left.
    mrr : np.ndarray
        What it pays, or paid, a month, in major units.
    plan : np.ndarray
        The name of its plan.
    last_month : str
        The month of the snapshot, such as "2024-12".

    Returns
    -------
    pyarrow.Table
        In the shape of months: customer, month, mrr, plan, joined.

    Examples
    --------
    >>> rows = snapshot_table(tenure=np.array([2, 1]), left=np.array([True, False]), mrr=np.array([20.0, 30.0]),
    ...     plan=np.array(["Studio", "Studio"]), last_month="2024-12")
    >>> rows.column("month").to_pylist()
    ['2024-10', '2024-11', '2024-11', '2024-12']
    >>> rows.column("customer").to_pylist(), rows.column("joined").to_pylist()[-1]
    ([0, 0, 1, 1], '2024-11')
    """
    import pyarrow as pa

    times = tenure + ~left
    who = np.repeat(np.arange(tenure.size), times)
    age = np.arange(who.size) - np.repeat(np.cumsum(times) - times, times)
    joined = np.datetime64(last_month, "M") - tenure.astype("m8[M]")
    return pa.table(
        {
            "customer": who,
            "month": _month_texts(joined[who] + age.astype("m8[M]")),
            "mrr": np.asarray(mrr, float)[who],
            "plan": np.asarray(plan).astype(str)[who],
            "joined": _month_texts(joined[who]),
        }
    )


def _month_texts(months: np.ndarray) -> Any:
    """Encode months as a dictionary of texts, so that each month is written once."""
    import pyarrow as pa

    seen, places = np.unique(months, return_inverse=True)
    return pa.DictionaryArray.from_arrays(places.astype(np.int32), seen.astype(str).tolist())
