"""The monthly MRR bridge and the cohorts, counted from the records, with the column names of a forecast."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from growth.engine.result import BRIDGE
from growth.records.failed_payments import failed_departures
from growth.records.paid_months import PaidMonths
from growth.records.read.values import NONE
from growth.records.unpaid_months import BEFORE, LATE, PENDING, UNPAID

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class Movements:
    """Sums by month and kind of plan, each of shape (months, kinds); month 0 is the first of the records.

    Everyone paying in month 0 counts as already on board, nobody as new. `lost` and `churned_mrr` are booked in the
    month after the last paid one, under the kind of plan held in that. lost_by_failure, churned_by_failure_mrr: what of
    these two followed a failed payment; 0 where the records do not tell. late_mrr, unpaid_mrr, pending_mrr: what of
    `closing_mrr` was paid late, what was never paid, and what may still come.
    """

    closing: np.ndarray
    closing_mrr: np.ndarray
    new: np.ndarray
    new_mrr: np.ndarray
    returned: np.ndarray
    returned_mrr: np.ndarray
    lost: np.ndarray
    churned_mrr: np.ndarray
    expansion_mrr: np.ndarray
    contraction_mrr: np.ndarray
    late_mrr: np.ndarray
    unpaid_mrr: np.ndarray
    pending_mrr: np.ndarray
    lost_by_failure: np.ndarray
    churned_by_failure_mrr: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class Spells:
    """Unbroken runs of paid months, one entry each; a customer who comes back starts a new spell at age 0.

    start, length: in months. kind: of plan, at the start. returned: whether it is not the customer's first spell.
    left: whether it ended before the last month. watched: its months up to the last one that is settled, 0 or less
    where it began after that; gone: whether it ended within them. billed: the first month that the records show paid,
    later than `start` only where it was paid before them. entry: age in months at month 0 for customers on
    board then (NONE where the records do not say), 0 for everyone else.
    """

    customer: np.ndarray
    start: np.ndarray
    length: np.ndarray
    kind: np.ndarray
    first_mrr: np.ndarray
    returned: np.ndarray
    left: np.ndarray
    watched: np.ndarray
    gone: np.ndarray
    billed: np.ndarray
    entry: np.ndarray


def spells(book: PaidMonths) -> Spells:
    """Join each customer's consecutive paid months into spells.

    Parameters
    ----------
    book : PaidMonths
        From `spread_payments`.

    Returns
    -------
    Spells
        Sorted by customer and start.

    Examples
    --------
    >>> from growth.records.demo import DemoBusiness, demo_book
    >>> runs = spells(demo_book(DemoBusiness(months=12), seed=1))
    >>> bool((runs.start + runs.length <= 12).all())
    True
    """
    opens = np.flatnonzero(~np.append(False, book.goes_on)[:-1])  # nobody's month goes on into these
    length = np.diff(np.append(opens, book.month.size)).astype(np.int32)
    customer, start = book.customer[opens], book.month[opens]
    entry = np.zeros(opens.size, np.int32)
    at_first = np.flatnonzero(start == 0)
    entry[at_first] = NONE
    if book.joined is not None:
        joined = book.joined[customer[at_first]]
        entry[at_first] = np.where((joined == NONE) | (joined > 0), NONE, -joined)
    returned, left = np.diff(customer, prepend=-1) == 0, start + length < book.months
    billed = start + (np.add.reduceat(book.state == BEFORE, opens, dtype=np.int32) if opens.size else 0)
    watched, gone = np.minimum(length, book.settled - start), start + length < book.settled
    return Spells(
        customer, start, length, book.kind[opens], book.mrr[opens], returned, left, watched, gone, billed, entry
    )


def movements(book: PaidMonths, runs: Spells) -> Movements:
    """Sum what came, changed and left, by month and kind of plan.

    Parameters
    ----------
    book : PaidMonths
        From `spread_payments`.
    runs : Spells
        Of the same book.

    Returns
    -------
    Movements
        Customers and MRR, in major units of the records' currency.

    Examples
    --------
    >>> from growth.records.demo import DemoBusiness, demo_book
    >>> book = demo_book(DemoBusiness(months=12), seed=1)
    >>> moves = movements(book, spells(book))
    >>> bool(np.isclose(moves.closing_mrr.sum(), book.mrr.sum()))
    True
    """
    shape = (book.months, len(book.kinds))

    def by(month: np.ndarray, kind: np.ndarray, weight: np.ndarray | None = None) -> np.ndarray:
        cell = month * np.int64(shape[1]) + kind
        return np.bincount(cell, weight, minlength=shape[0] * shape[1]).reshape(shape).astype(float)

    def begun(these: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        month, kind = runs.start[these], runs.kind[these]
        return by(month, kind), by(month, kind, runs.first_mrr[these])

    def ended(these: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        month, kind = book.month[these] + 1, book.kind[these]
        return by(month, kind), by(month, kind, book.mrr[these])

    def in_state(state: int) -> np.ndarray:
        these = np.flatnonzero(book.state == state)
        return by(book.month[these], book.kind[these], book.mrr[these])

    new, new_mrr = begun(np.flatnonzero((runs.start > 0) & ~runs.returned))
    returned, returned_mrr = begun(np.flatnonzero((runs.start > 0) & runs.returned))
    lost, churned = ended(np.flatnonzero(~book.goes_on & (book.month < book.months - 1)))
    failed = failed_departures(book)
    lost_by_failure, churned_by_failure = ended(np.zeros(0, int) if failed is None else np.flatnonzero(failed))
    before = np.flatnonzero(book.goes_on)
    change = book.mrr[before + 1] - book.mrr[before]
    before, change = before[change != 0], change[change != 0]
    month, kind, up = book.month[before] + 1, book.kind[before], np.maximum(change, 0)
    return Movements(
        closing=by(book.month, book.kind),
        closing_mrr=by(book.month, book.kind, book.mrr),
        new=new,
        new_mrr=new_mrr,
        returned=returned,
        returned_mrr=returned_mrr,
        lost=lost,
        churned_mrr=churned,
        expansion_mrr=by(month, kind, up),
        contraction_mrr=by(month, kind, up - change),
        late_mrr=in_state(LATE),
        unpaid_mrr=in_state(UNPAID),
        pending_mrr=in_state(PENDING),
        lost_by_failure=lost_by_failure,
        churned_by_failure_mrr=churned_by_failure,
    )


def bridge_columns(moves: Movements) -> dict[str, np.ndarray]:
    """Return the bridge from the second month on, each column of shape (months - 1,), named as in a forecast.

    opening + new + reactivation + expansion - contraction - churned = closing; likewise for customers.
    """
    flows = ("new", "returned", "lost", "closing")
    flows_mrr = ("new_mrr", "returned_mrr", "expansion_mrr", "contraction_mrr", "churned_mrr", "closing_mrr")
    found = []
    for names in (flows, flows_mrr):
        found += [getattr(moves, names[-1]).sum(axis=1)[:-1]]
        found += [getattr(moves, name).sum(axis=1)[1:] for name in names]
    return dict(zip(BRIDGE, found, strict=True))


def lapse_columns(book: PaidMonths, moves: Movements) -> dict[str, np.ndarray]:
    """Return what stands beside the bridge, from the second month on, each of shape (months - 1,).

    lost_by_failure and churned_by_failure_mrr, where the records tell: what of lost_customers and churned_mrr left
    after a failed payment. paid_mrr + late_mrr (paid in a later month) + unpaid_mrr (never paid by a customer who
    stayed) + pending_mrr (missing at the end of the records, may still come) = closing_mrr.
    """
    names = ["late_mrr", "unpaid_mrr", "pending_mrr"]
    if failed_departures(book) is not None:
        names += ["lost_by_failure", "churned_by_failure_mrr"]
    found = {name: getattr(moves, name).sum(axis=1)[1:] for name in names}
    owed = found["late_mrr"] + found["unpaid_mrr"] + found["pending_mrr"]
    return {"paid_mrr": moves.closing_mrr.sum(axis=1)[1:] - owed} | found


def bridge_frame(book: PaidMonths, moves: Movements) -> pd.DataFrame:
    """Return the bridge as a table, one row a month from the second on.

    Parameters
    ----------
    book : PaidMonths
        From `spread_payments`.
    moves : Movements
        Of the same book.

    Returns
    -------
    pandas.DataFrame
        Columns named as `growth.to_frame` names those of a forecast, then those of `lapse_columns`: what of the closing
        MRR was paid, late or never, and what of the churned MRR followed a failed payment. The index is monthly
        periods.

    Examples
    --------
    >>> from growth.records.demo import DemoBusiness, demo_book
    >>> book = demo_book(DemoBusiness(months=24), seed=1)
    >>> frame = bridge_frame(book, movements(book, spells(book)))
    >>> frame.iloc[0][["opening_customers", "new_customers", "lost_customers", "closing_customers"]].tolist()
    [4.0, 13.0, 1.0, 16.0]
    """
    import pandas as pd

    months = pd.period_range(str(book.calendar_month(1)), periods=book.months - 1, freq="M", name="month")
    return pd.DataFrame(bridge_columns(moves) | lapse_columns(book, moves), index=months)


def triangles(book: PaidMonths, runs: Spells) -> tuple[np.ndarray, np.ndarray]:
    """Sum customers and MRR by cohort and age.

    Parameters
    ----------
    book : PaidMonths
        From `spread_payments`.
    runs : Spells
        Of the same book.

    Returns
    -------
    customers, mrr : np.ndarray
        Both of shape (months, months): a row for the month of joining or coming back, a column for the age in months;
        0 where there is nobody. Row 0 holds everyone on board in month 0, whenever they joined.

    Examples
    --------
    >>> from growth.records.demo import DemoBusiness, demo_book
    >>> book = demo_book(DemoBusiness(months=24), seed=1)
    >>> customers, _ = triangles(book, spells(book))
    >>> customers[0, :3].tolist()  # of the four in month 0
    [4.0, 3.0, 3.0]
    """
    months = book.months
    cohort = np.repeat(runs.start, runs.length)
    cell = cohort * np.int64(months) + (book.month - cohort)
    customers, mrr = (np.bincount(cell, weight, minlength=months**2) for weight in (None, book.mrr))
    return customers.reshape(months, months).astype(float), mrr.reshape(months, months)
