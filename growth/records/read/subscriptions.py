"""A table of subscriptions as a row per customer and month: each runs from its start to its end, or is still on."""

from __future__ import annotations

from datetime import date

import numpy as np

from growth.errors import count_of
from growth.records.read.rows import months_of
from growth.records.read.values import FAILED, NONE

Values = dict[str, np.ndarray]  # by our names, each of shape (rows,)


def subscription_months(values: Values, *, until: str | None = None) -> tuple[Values, int, list[str]]:
    """Return the subscriptions as months, the last day known, and notes.

    A subscription counts in a month if it runs on the month's last day, its end being the last day on board. One
    without an end, or with an end still to come, runs through the last month: `until`, else that of the latest start
    or end that is not in the future.

    Parameters
    ----------
    values : dict of str to np.ndarray
        customer, start and end (days since 1970, NONE where there is no end), price (of one bill), and where the table
        has them quantity, billing (months of one bill), discount (a share), amount_off (of one bill), plan, currency,
        joined.
    until : str, optional
        The last month, such as "2025-12".

    Returns
    -------
    values : dict of str to np.ndarray
        In the shape of months: customer, month (days since 1970), mrr, joined, and what else was given; reason:
        customer and month of each end for a payment that failed, shape (ends, 2).
    last_day : int
        Days since 1970.
    notes : list of str
        Sentences.
    """
    start = values["start"]
    end = values.get("end", np.full(start.size, NONE, np.int32))
    ends = end != NONE
    over = ends & (end <= (date.today() - date(1970, 1, 1)).days)
    last_day = int(max(start.max(), end[over].max(initial=NONE)))
    if until is not None:
        last_day = int((np.datetime64(until, "M") + np.timedelta64(1, "M")).astype("M8[D]").astype(int)) - 1
    last = int(months_of(np.array([last_day]))[0])
    first = months_of(start).astype(np.int32)
    stop = np.where(ends, months_of(np.where(ends, end + 1, 0)), last + 1)
    times = np.maximum(np.minimum(stop, last + 1) - first, 0)
    brief = int((ends & (stop == first)).sum())

    price = values["price"] * values.get("quantity", 1.0) - values.get("amount_off", 0.0)
    bill = values.get("billing", np.ones(start.size, np.int8))
    mrr = np.maximum(price, 0.0) * (1 - values.get("discount", 0.0)) / bill
    rows = np.repeat(np.arange(start.size), times)
    nth = np.arange(rows.size) - np.repeat(np.cumsum(times) - times, times)
    found: Values = {name: values[name][rows] for name in ("customer", "plan", "currency") if name in values}
    joined = values.get("joined", np.full(start.size, NONE, np.int32))
    found |= {
        "month": (first[rows] + nth).astype("M8[M]").astype("M8[D]").astype(np.int32),
        "mrr": mrr[rows],
        "billing": bill[rows],
        "joined": np.where(joined == NONE, start, joined)[rows],
    }
    if "reason" in values:
        lost = np.flatnonzero((values["reason"] == FAILED) & ends & (stop <= last))
        found["reason"] = np.column_stack([values["customer"][lost], stop[lost]]).astype(np.int32)
    return found, last_day, _notes(brief, anyone_left=bool(over.any()), last=np.datetime64(last, "M"), said=until)


def _notes(brief: int, *, anyone_left: bool, last: np.datetime64, said: str | None) -> list[str]:
    notes = []
    if not anyone_left:
        notes.append(
            "no subscription has ended: if the table lists only those still on board, nobody who left is in it, and "
            "it cannot tell churn"
        )
    if said is None:
        notes.append(
            f"subscriptions without an end are taken to run until {last}, the month of the latest start or end; "
            "--until names the month of the export if that is another"
        )
    if brief:
        began = count_of(brief, "subscription")
        notes.append(f"{began} began and ended within one month, and count in none, since no month's last day saw them")
    return notes
