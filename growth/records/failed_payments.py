"""Customers who left because a payment failed, told from those who left by will: the cures differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.records.intervals import Rate
from growth.records.paid_months import PaidMonths
from growth.records.unpaid_months import BEFORE

RETRIED = 1  # months beyond the first one missing, and beyond the grace, in which a payment may still be tried
TRIES = 2  # charges that were all paid back, one by one, before a departure counts as one by failed payment


@dataclass(frozen=True, slots=True)
class FailedPayments:
    """Departures by failed payment.

    left, of: departures after a payment that failed and never recovered, and all departures. mrr, of_mrr: what they
    paid a month, in all. tried, recovered: customers' months in which a payment of somebody on board failed, and those
    of them after which the customer stayed; 0 where only the pattern tells. months: in which all this was counted.
    by_pattern: whether no status or reason tells, see `failed_departures`.
    """

    left: int
    of: int
    mrr: float
    of_mrr: float
    tried: int
    recovered: int
    months: int
    by_pattern: bool

    @property
    def share(self) -> Rate:
        """Of those who leave, the share that leaves after a failed payment."""
        how = ", by pattern" if self.by_pattern else ""
        return Rate.share(self.left, self.of, f"{self.left:,} of {self.of:,} who left{how}")


def failed_departures(book: PaidMonths) -> np.ndarray | None:
    """Return which months are a customer's last before leaving after a failed payment; None where nothing tells.

    With a status, or a reason for the end: a charge failed in the first month that is missing or soon after, which is
    one month later, and the grace. Without: two charges or more in those months were paid back one by one, as when a
    bank returns a debit and it is tried again (our own rule). One alone may be a refund to somebody who asked to leave.
    Where no departure at all shows that pattern, nothing tells. Of bool, shape (entries,), as the columns of `book`.
    """
    found = np.zeros(book.customer.size, bool)
    gone = np.flatnonzero(~book.goes_on & (book.month < book.months - 1))
    ends = _window(book, gone)
    if book.rows.failed is not None:
        found[gone] = np.isin(ends, _failed_cells(book)).any(axis=1)
        return found
    if book.rows.ends_known or not book.rows.charges or not gone.size:
        return None
    found[gone] = _paid_back_again(book, ends)
    return found if found.any() else None


def failed_payments(book: PaidMonths) -> FailedPayments | None:
    """Count departures by failed payment in settled months; None where the records do not tell, or nobody left."""
    failed, gone = failed_departures(book), _left(book)
    if failed is None or not gone.size:
        return None
    by_failure, tried, recovered = gone[failed[gone]], 0, 0
    if book.rows.failed is not None:
        keys = _failed_cells(book)
        cells = _cells(book, book.customer, book.month)
        counted = (keys % _width(book) < book.settled) & (np.isin(keys, cells) | np.isin(keys - 1, cells))
        tried = int(counted.sum())
        recovered = int((counted & ~np.isin(keys, _window(book, gone))).sum())
    return FailedPayments(
        left=by_failure.size,
        of=gone.size,
        mrr=float(book.mrr[by_failure].sum()),
        of_mrr=float(book.mrr[gone].sum()),
        tried=tried,
        recovered=recovered,
        months=book.settled - 1,
        by_pattern=book.rows.failed is None,
    )


def failed_note(book: PaidMonths) -> list[str]:
    """Say how much MRR is lost to failed payments that never recovered, or that the records cannot tell."""
    found = failed_payments(book)
    if found is None:
        if not _left(book).size or book.rows.failed is not None:
            return []
        column = "a column `status`" if book.rows.charges else "charges with a column `status`"
        column = "a column `reason`" if book.rows.ends_known else column
        return [
            "who left because a payment failed cannot be told from who left by will: these records name no failed "
            f"payments; {column} would"
        ]
    if not found.tried and not found.left:
        return []
    share = found.mrr / found.of_mrr if found.of_mrr else 0.0
    said = (
        f"{found.left:,} of {found.of:,} who left did so after a payment that failed and never recovered: "
        f"{found.mrr / found.months:,.2f} {book.rows.currency} of MRR lost a month, {share:.0%} of all that was churned"
    )
    if found.by_pattern:
        said += f"; told by their pattern, {TRIES} charges or more that were all paid back: the rest may hold more"
    elif not book.rows.ends_known:
        said += f"; of {found.tried:,} months with a failed payment {found.recovered:,} recovered"
    return [f"{said}. Reminders and new cards cure that, and do not cure leaving by will"]


def _left(book: PaidMonths) -> np.ndarray:
    """Return which entries are a customer's last before leaving in a settled month."""
    return np.flatnonzero(~book.goes_on & (book.month < book.settled - 1) & (book.state != BEFORE))


def _width(book: PaidMonths) -> np.int64:
    return np.int64(book.months + 64)


def _cells(book: PaidMonths, customer: np.ndarray, month: np.ndarray) -> np.ndarray:
    """Return one number for each customer and month; months count from the first of the records."""
    return customer * _width(book) + month


def _window(book: PaidMonths, gone: np.ndarray) -> np.ndarray:
    """Return the cells in which a payment that ended these spells was tried, shape (spells, months)."""
    missing = _cells(book, book.customer[gone], book.month[gone] + 1)
    return missing[:, None] + np.arange(RETRIED + book.grace.months + 1)


def _failed_cells(book: PaidMonths) -> np.ndarray:
    failed = np.zeros((0, 2), np.int32) if book.rows.failed is None else book.rows.failed
    return np.unique(_cells(book, failed[:, 0], failed[:, 1] - int(book.first_month.astype(int))))


def _paid_back_again(book: PaidMonths, ends: np.ndarray) -> np.ndarray:
    """Return for which ends enough charges were made and paid back, each by a row of its own."""
    rows, first = book.rows, int(book.first_month.astype(int))
    often = np.bincount(rows.customer[rows.amount < 0], minlength=rows.customers) >= TRIES
    some = np.flatnonzero(often[rows.customer])
    some = some[rows.month[some] - first < book.months]
    cell, up = _cells(book, rows.customer[some], rows.month[some] - first), rows.amount[some] > 0
    which = np.searchsorted(ends[:, 0], cell, side="right") - 1  # the latest end before each row
    near = (which >= 0) & (cell - ends[which, 0] < ends.shape[1]) & (rows.amount[some] != 0)
    cell, up, which = cell[near], up[near], which[near]
    if cell.size:
        board = _cells(book, book.customer, book.month)  # sorted, as the book is
        off = board[np.minimum(np.searchsorted(board, cell), board.size - 1)] != cell
        up, which = up[off], which[off]
    charged, back = (np.bincount(which[sign], minlength=len(ends)) for sign in (up, ~up))
    return np.minimum(charged, back) >= TRIES
