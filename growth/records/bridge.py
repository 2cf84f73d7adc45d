"""The month's bridge as the records have it, and the cohorts: the same columns as a forecast's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from growth.engine.result import BRIDGE
from growth.records.paid_months import PaidMonths, changes
from growth.records.read.values import NONE


@dataclass(frozen=True, slots=True, eq=False)
class Movements:
    """Sums by month and kind of plan, each of shape (months, kinds); month 0 is the first of the records.

    In month 0 everyone is counted in `opening` and nobody as new. lost and churned stand in the month after the last
    paid one, under the kind held before; stayed is last month's MRR of those who stay, under the kind held before.
    """

    closing: np.ndarray
    closing_mrr: np.ndarray
    new: np.ndarray
    new_mrr: np.ndarray
    returned: np.ndarray
    returned_mrr: np.ndarray
    lost: np.ndarray
    churned_mrr: np.ndarray
    stayed_mrr: np.ndarray
    expansion_mrr: np.ndarray
    contraction_mrr: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class Spells:
    """Unbroken stretches of paid months, one entry each: a customer who comes back begins a new one, at age 0.

    start, length: months; kind: the plan at the start; returned: not the customer's first; left: it ended before the
    last month. entry: age in month 0 for those on board then (NONE where the records do not say), 0 for all others.
    """

    customer: np.ndarray
    start: np.ndarray
    length: np.ndarray
    kind: np.ndarray
    first_mrr: np.ndarray
    returned: np.ndarray
    left: np.ndarray
    entry: np.ndarray


def spells(book: PaidMonths) -> Spells:
    """Return the spells of every customer, sorted by customer and start."""
    opens = np.flatnonzero(~np.append(False, book.goes_on)[:-1])  # nobody's month goes on into these
    length = np.diff(np.append(opens, book.month.size)).astype(np.int32)
    customer, start = book.customer[opens], book.month[opens]
    entry = np.zeros(opens.size, np.int32)
    at_first = np.flatnonzero(start == 0)
    entry[at_first] = NONE
    if book.joined is not None:
        joined = book.joined[customer[at_first]]
        entry[at_first] = np.where((joined == NONE) | (joined > 0), NONE, -joined)
    returned, left = ~changes(customer), start + length < book.months
    return Spells(customer, start, length, book.kind[opens], book.mrr[opens], returned, left, entry)


def movements(book: PaidMonths, runs: Spells) -> Movements:
    """Return the sums of the bridge, by month and kind."""
    shape = (book.months, len(book.kinds))

    def by(month: np.ndarray, kind: np.ndarray, weight: np.ndarray | None = None) -> np.ndarray:
        cell = month * np.int64(shape[1]) + kind
        return np.bincount(cell, weight, minlength=shape[0] * shape[1]).reshape(shape).astype(float)

    fresh = np.flatnonzero((runs.start > 0) & ~runs.returned)
    back = np.flatnonzero((runs.start > 0) & runs.returned)
    gone = np.flatnonzero(~book.goes_on & (book.month < book.months - 1))
    closing_mrr = by(book.month, book.kind, book.mrr)
    churned = by(book.month[gone] + 1, book.kind[gone], book.mrr[gone])
    before = np.flatnonzero(book.goes_on)
    change = book.mrr[before + 1] - book.mrr[before]
    before, change = before[change != 0], change[change != 0]
    month, kind, up = book.month[before] + 1, book.kind[before], np.maximum(change, 0)
    stayed = np.zeros(shape)
    stayed[1:] = closing_mrr[:-1] - churned[1:]
    return Movements(
        by(book.month, book.kind),
        closing_mrr,
        *(
            by(runs.start[some], runs.kind[some], weight)
            for some in (fresh, back)
            for weight in (None, runs.first_mrr[some])
        ),
        by(book.month[gone] + 1, book.kind[gone]),
        churned,
        stayed,
        by(month, kind, up),
        by(month, kind, up - change),
    )


def bridge_columns(moves: Movements) -> dict[str, np.ndarray]:
    """The bridge from the second month on, each column of shape (months - 1,): names as in a forecast.

    opening + new + reactivation + expansion - contraction - churned = closing, and the same for customers.
    """
    total = {name: getattr(moves, name).sum(axis=1) for name in Movements.__slots__}
    columns = (
        total["closing"][:-1],
        total["new"][1:],
        total["returned"][1:],
        total["lost"][1:],
        total["closing"][1:],
        total["closing_mrr"][:-1],
        total["new_mrr"][1:],
        total["returned_mrr"][1:],
        total["expansion_mrr"][1:],
        total["contraction_mrr"][1:],
        total["churned_mrr"][1:],
        total["closing_mrr"][1:],
    )
    return dict(zip(BRIDGE, columns, strict=True))


def bridge_frame(book: PaidMonths, moves: Movements) -> Any:
    """The bridge as a pandas table, one row a month, as `growth.to_frame` makes of a forecast."""
    import pandas as pd

    months = pd.period_range(str(book.first_month + 1), periods=book.months - 1, freq="M", name="month")
    return pd.DataFrame(bridge_columns(moves), index=months)


def triangles(book: PaidMonths, runs: Spells) -> tuple[np.ndarray, np.ndarray]:
    """Customers and MRR by cohort (row: month of joining or coming back) and age (column); 0 where nobody is.

    Both of shape (months, months). Row 0 holds those on board in month 0, whenever they joined.
    """
    months = book.months
    cohort = np.repeat(runs.start, runs.length)
    cell = cohort * np.int64(months) + (book.month - cohort)
    customers, mrr = (np.bincount(cell, weight, minlength=months**2) for weight in (None, book.mrr))
    return customers.reshape(months, months).astype(float), mrr.reshape(months, months)
