"""What customers who stay pay more or less, apart from price changes for everybody."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.records.intervals import Rate, sum_interval
from growth.records.paid_months import PaidMonths

FOR_ALL = 0.5  # share of a plan's customers whose price has to change alike in one month; common practice, no source
LEAST = 8  # customers of whom that is asked
ALIKE = 0.01  # prices are rounded, so factors may differ by so much


@dataclass(frozen=True, slots=True)
class DetectedPriceChange:
    """A month in which most customers of a kind of plan began to pay by one factor more or less."""

    kind: int
    month: int
    factor: float
    changed: int
    of: int


@dataclass(frozen=True, slots=True, eq=False)
class RevenueChange:
    """Changes of MRR of customers who stayed, without price changes for everybody.

    customer, kind, up, down: one entry a change, shape (changes,). base: MRR that could have changed, by kind, shape
    (kinds,); that of a yearly plan changes at renewals alone, so it counts there, for twelve months. price_changes:
    what was taken out.
    """

    customer: np.ndarray
    kind: np.ndarray
    up: np.ndarray
    down: np.ndarray
    base: np.ndarray
    price_changes: tuple[DetectedPriceChange, ...]

    def rate(self, part: str, kind: int | None = None) -> tuple[Rate, float]:
        """Return expansion ("up") or contraction ("down") a month, and how many equal changes it counts as."""
        these = slice(None) if kind is None else self.kind == kind
        base = float(self.base.sum() if kind is None else self.base[kind])
        source = f"MRR {'gained' if part == 'up' else 'given up'} / MRR of those who stayed; gamma for sums of changes"
        if not base:
            return Rate(0.0, 0.0, 0.0, source), 0.0
        _, who = np.unique(self.customer[these], return_inverse=True)
        by_customer = np.bincount(who, getattr(self, part)[these])
        low, high, events = sum_interval(by_customer[by_customer > 0])
        return Rate(float(by_customer.sum()) / base, low / base, high / base, source), events

    def price_now(self, kind: int, start: np.ndarray) -> np.ndarray:
        """The factor that has changed the price of a kind since these months."""
        factor = np.ones(start.shape)
        for change in self.price_changes:
            if change.kind == kind:
                factor[start < change.month] *= change.factor
        return factor


def revenue_change(book: PaidMonths, *, renewal: np.ndarray) -> RevenueChange:
    """Find what changed, and set price changes for everybody apart.

    renewal: whether an entry of the book is the last month of a year that was paid for, shape (entries,).
    """
    kinds = len(book.kinds)
    yearly = np.array([billing == "yearly" for _, billing in book.kinds])
    before = np.flatnonzero(book.goes_on)
    base = np.bincount(book.kind[before], book.mrr[before], minlength=kinds)
    if yearly.any():
        ends = before[renewal[before]]
        base[yearly] = 12 * np.bincount(book.kind[ends], book.mrr[ends], minlength=kinds)[yearly]
    cells = book.month[before] * np.int64(kinds) + book.kind[before]
    stayed = np.bincount(cells)
    changed = before[book.mrr[before + 1] != book.mrr[before]]
    cell = book.month[changed] * np.int64(kinds) + book.kind[changed]
    change = book.mrr[changed + 1] - book.mrr[changed]
    ratio = book.mrr[changed + 1] / book.mrr[changed]
    found = []
    many = np.bincount(cell, minlength=stayed.size)
    for one in np.flatnonzero((stayed >= LEAST) & (many >= FOR_ALL * stayed)).tolist():
        here = np.flatnonzero(cell == one)
        factor = float(np.median(ratio[here]))
        alike = np.abs(ratio[here] / factor - 1) <= ALIKE
        if alike.sum() >= FOR_ALL * stayed[one]:
            rest = book.mrr[changed[here] + 1] / factor - book.mrr[changed[here]]
            change[here] = np.where(alike, 0.0, rest)
            found.append(DetectedPriceChange(one % kinds, one // kinds + 1, factor, int(alike.sum()), int(stayed[one])))
    up = np.maximum(change, 0.0)
    return RevenueChange(book.customer[changed], book.kind[changed], up, up - change, base, tuple(found))


def price_notes(changes: RevenueChange, book: PaidMonths) -> list[str]:
    """Say which prices changed for everybody, month by month."""
    said = []
    for month in sorted({change.month for change in changes.price_changes}):
        these = [change for change in changes.price_changes if change.month == month]
        factors = [change.factor - 1 for change in these]
        changed, of = (sum(getattr(change, name) for change in these) for name in ("changed", "of"))
        by = f"{min(factors):+.1%}"
        by += f" to {max(factors):+.1%}" if max(factors) - min(factors) > ALIKE else ""
        said.append(
            f"prices changed by {by} in {book.first_month + month}: {changed:,} of {of:,} customers paid that much "
            "more or less from one month to the next. This is no expansion or contraction"
        )
    return said
