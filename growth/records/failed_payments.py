"""Customers who left because a payment failed, told from those who left by will: the cures differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.records.intervals import Rate, wilson
from growth.records.lapses import BEFORE
from growth.records.paid_months import PaidMonths

RETRIED = 1  # months beyond the first one missing, and beyond the grace, in which a payment may still be tried


@dataclass(frozen=True, slots=True)
class FailedPayments:
    """Departures by failed payment.

    left, of: departures after a payment that failed and never recovered, and all departures. mrr, of_mrr: what they
    paid a month, in all. tried, recovered: customers' months in which a payment of somebody on board failed, and those
    of them after which the customer stayed. months: in which all this was counted.
    """

    left: int
    of: int
    mrr: float
    of_mrr: float
    tried: int
    recovered: int
    months: int

    @property
    def share(self) -> Rate:
        """Of those who leave, the share that leaves after a failed payment."""
        low, high = wilson(self.left, self.of)
        source = f"{self.left:,} of {self.of:,} who left; Wilson"
        return Rate(self.left / self.of if self.of else 0.0, float(low), float(high), source)


def failed_payments(book: PaidMonths) -> FailedPayments | None:
    """Count departures at which a payment failed; None where the records do not tell, or nobody left.

    A departure is by failed payment if a charge failed in the first month that is missing or soon after: one month
    later, and the grace. Months that are not settled do not count.

    Parameters
    ----------
    book : PaidMonths
        From `spread_payments`.
    """
    failed = book.rows.failed
    if failed is None:
        return None
    first = int(book.first_month.astype(int))
    width = np.int64(book.months + 64)
    keys = np.unique(failed[:, 0] * width + (failed[:, 1] - first))
    gone = np.flatnonzero(~book.goes_on & (book.month < book.settled - 1) & (book.state != BEFORE))
    if not gone.size:
        return None
    missing = book.customer[gone] * width + book.month[gone] + 1
    by_failure = np.zeros(gone.size, bool)
    ends = [missing + later for later in range(RETRIED + book.grace.months + 1)]
    for end in ends:
        by_failure |= np.isin(end, keys)
    unrecovered = np.isin(keys, np.concatenate(ends))
    cells = book.customer * width + book.month
    counted = (keys % width < book.settled) & (np.isin(keys, cells) | np.isin(keys - 1, cells))
    return FailedPayments(
        left=int(by_failure.sum()),
        of=gone.size,
        mrr=float(book.mrr[gone[by_failure]].sum()),
        of_mrr=float(book.mrr[gone].sum()),
        tried=int(counted.sum()),
        recovered=int((counted & ~unrecovered).sum()),
        months=book.settled - 1,
    )


def failed_note(book: PaidMonths) -> list[str]:
    """Say in a sentence how much MRR is lost to failed payments that never recovered."""
    found = failed_payments(book)
    if found is None or not found.tried:
        return []
    share = found.mrr / found.of_mrr if found.of_mrr else 0.0
    said = (
        f"{found.left:,} of {found.of:,} who left did so after a payment that failed and never recovered: "
        f"{found.mrr / found.months:,.2f} {book.rows.currency} of MRR lost a month, {share:.0%} of all that was churned"
    )
    if not book.rows.ends_known:
        said += f"; of {found.tried:,} months with a failed payment {found.recovered:,} recovered"
    return [f"{said}. Reminders and new cards cure that, and do not cure leaving by will"]
