"""Months at one MRR: the rows of each customer put in order and drawn together, refunds set against what was paid."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from growth.records.found import THREADS
from growth.records.rows import Rows

AT_ONCE = 1 << 16  # rows that are worked on at once, so that they stay in the processor's cache
ROUNDING = 1e-9  # share of what was added up; a sum that is less is 0


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """One entry for each run of months of a customer at one MRR and of one kind, sorted by customer and start.

    customer, start, length: int32, months counted from the first of the records; mrr: major units; kind: plan x 2, and
    1 more where it is billed by the year.
    """

    customer: np.ndarray
    start: np.ndarray
    length: np.ndarray
    mrr: np.ndarray
    kind: np.ndarray

    @property
    def size(self) -> int:
        """How many there are."""
        return self.customer.size

    @property
    def goes_on(self) -> np.ndarray:
        """Whether the next one is the same customer's and begins where this one ends."""
        on = np.zeros(self.size, bool)
        on[:-1] = (self.customer[1:] == self.customer[:-1]) & (self.start[1:] == self.start[:-1] + self.length[:-1])
        return on

    def sums_by_month(self, cell: np.ndarray, length: np.ndarray, *, step: int, size: int) -> np.ndarray:
        """The MRR added to `length` cells for each stretch: `cell`, cell + step, cell + 2 step, ... Shape (size,)."""
        total = np.zeros(size)
        for at in range(0, self.size, AT_ONCE // 4):
            some = slice(at, at + AT_ONCE // 4)
            times, before = length[some], np.cumsum(length[some]) - length[some]
            cells = np.repeat(cell[some] - step * before, times)
            cells += step * np.arange(cells.size)
            total += np.bincount(cells, np.repeat(self.mrr[some], times), minlength=size)
        return total

    def of(self, chosen: np.ndarray) -> Stretches:
        """Some of them: `chosen` holds a truth for each, or places."""
        return Stretches(*(getattr(self, name)[chosen] for name in self.__slots__))


@dataclass(frozen=True, slots=True, eq=False)
class Paid:
    """What some customers paid. stretches: their months above 0, none overlapping another of the same customer.

    trials: stretches of amount 0. ahead: money for months after the last; unmatched: refunds that match no charge.
    kinds: those that there are.
    """

    stretches: Stretches
    trials: Stretches
    ahead: float
    unmatched: float
    kinds: np.ndarray


def stretches_of(rows: Rows, *, first: int, months: int) -> Iterator[Paid]:
    """What the customers paid in so many months from the month `first` on, some thousand customers at a time, in order.

    A charge is spread evenly over its months; one that begins where the one before it ends, at the same MRR, goes on
    with that stretch. Customers do not meet, so that each part stays in the processor's cache and threads share them.
    """
    keys = sorted_keys(rows.customer, rows.month)

    def paid(part: slice) -> Paid:
        customer, month, row = keys.of(part)
        span = rows.span[row].astype(np.int32)
        kind = rows.plan[row].astype(np.int32) * 2 + rows.yearly[row]
        said = Stretches(customer, month - np.int32(first), span, rows.amount[row] / span, kind)
        said, ahead = _cut(drawn_together(said), months)
        paying = said.mrr != 0
        stretches, unmatched = untangled(said.of(paying))
        return Paid(stretches, said.of(~paying), ahead, unmatched, np.flatnonzero(np.bincount(said.kind)))

    with ThreadPoolExecutor(THREADS) as pool:
        yield from pool.map(paid, keys.parts(AT_ONCE))


def _cut(part: Stretches, months: int) -> tuple[Stretches, float]:
    """What lies in the first months, and the money for later ones."""
    inside = np.clip(months - part.start, 0, part.length)
    if (inside == part.length).all():
        return part, 0.0
    ahead = float((part.mrr * (part.length - inside)).sum())
    return replace(part, length=inside).of(inside > 0), ahead


@dataclass(frozen=True, slots=True, eq=False)
class Keys:
    """Rows in the order of customer, month and place: one whole number a row that holds all three, quick to sort.

    Numbers beyond 2^63 would take more rows than memory holds.
    """

    numbers: np.ndarray
    lowest_month: int
    month_bits: int
    row_bits: int

    def parts(self, size: int) -> Iterator[slice]:
        """Slices of about so many rows, each with all rows of its customers."""
        start = 0
        while start < self.numbers.size:
            last = self.numbers[min(start + size, self.numbers.size) - 1] >> (self.row_bits + self.month_bits)
            stop = int(np.searchsorted(self.numbers, (last + 1) << (self.row_bits + self.month_bits)))
            yield slice(start, stop)
            start = stop

    def of(self, some: slice) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Customer and month, int32, and the place of the row, of some rows in their order."""
        number = self.numbers[some]
        row = number & ((1 << self.row_bits) - 1)
        rest = number >> self.row_bits
        month = (rest & ((1 << self.month_bits) - 1)).astype(np.int32)
        return (rest >> self.month_bits).astype(np.int32), month + np.int32(self.lowest_month), row


def sorted_keys(customer: np.ndarray, month: np.ndarray) -> Keys:
    """The keys of rows, sorted.

    >>> [values.tolist() for values in sorted_keys(np.array([1, 0, 1]), np.array([5, 9, 4])).of(slice(None))]
    [[0, 1, 1], [9, 4, 5], [1, 2, 0]]
    """
    size, lowest = customer.size, int(month.min(initial=0))
    row_bits, month_bits = size.bit_length(), int(month.max(initial=0) - lowest).bit_length()
    number = np.empty(size, np.int64)
    for at in range(0, size, AT_ONCE):
        part = number[at : at + AT_ONCE]
        part[:] = customer[at : at + AT_ONCE]
        part <<= month_bits
        part += month[at : at + AT_ONCE]
        part -= lowest
        part <<= row_bits
        part += np.arange(at, at + part.size)
    if (number[1:] < number[:-1]).any():
        number.sort()
    return Keys(number, lowest, month_bits, row_bits)


def in_order(part: Stretches) -> Stretches:
    """The stretches sorted by customer and start."""
    return part.of(sorted_keys(part.customer, part.start).of(slice(None))[2])


def drawn_together(part: Stretches) -> Stretches:
    """Neighbours made one where the second goes on where the first ends: same customer, MRR and kind."""
    if not part.size:
        return part
    same = part.goes_on[:-1] & (part.mrr[1:] == part.mrr[:-1]) & (part.kind[1:] == part.kind[:-1])
    begins = np.append(True, ~same)
    opens = np.flatnonzero(begins)
    ends = np.append(opens[1:], part.size) - 1
    start = part.start[opens]
    length = part.start[ends] + part.length[ends] - start
    return Stretches(part.customer[opens], start, length, part.mrr[opens], part.kind[opens])


def untangled(part: Stretches) -> tuple[Stretches, float]:
    """What each customer pays in each month above 0, with nothing overlapping, and the refunds that match no charge.

    Customers of whom nothing overlaps and nothing is refunded stay as they are. The months of all others are summed;
    where refunds exceed a month, the rest is set against the customer's month before, and so on backwards.
    """
    if not part.size:
        return part, 0.0
    tangled = part.mrr < 0
    tangled[1:] |= (part.customer[1:] == part.customer[:-1]) & (part.start[1:] < part.start[:-1] + part.length[:-1])
    if not tangled.any():
        return drawn_together(part), 0.0
    lowest = part.customer[0]
    whose = np.zeros(part.customer[-1] - lowest + 1, bool)
    whose[part.customer[tangled] - lowest] = True
    chosen = whose[part.customer - lowest]
    months, unmatched = _refunds_back(*_summed(single_months(part.of(chosen))))
    return drawn_together(in_order(together([part.of(~chosen), months.of(months.mrr > 0)]))), unmatched


def single_months(part: Stretches) -> Stretches:
    """The same with a stretch for each month."""
    which = np.repeat(np.arange(part.size), part.length)
    month = np.arange(which.size) + np.repeat(part.start - (np.cumsum(part.length) - part.length), part.length)
    return Stretches(
        part.customer[which], month.astype(np.int32), np.ones(which.size, np.int32), part.mrr[which], part.kind[which]
    )


def together(parts: list[Stretches]) -> Stretches:
    """All stretches of some parts, one part after the other."""
    return Stretches(*(np.concatenate([getattr(part, name) for part in parts]) for name in Stretches.__slots__))


def changes(values: np.ndarray) -> np.ndarray:
    """Whether each value differs from the one before it; the first does.

    >>> changes(np.array([4, 4, 7])).tolist()
    [True, False, True]
    """
    different = np.ones(values.size, bool)
    np.not_equal(values[1:], values[:-1], out=different[1:])
    return different


def _summed(months: Stretches) -> tuple[Stretches, np.ndarray]:
    """Single months summed by customer and month; of several kinds the highest stands. And the sums without signs."""
    months = in_order(months)
    opens = np.flatnonzero(changes(months.customer) | changes(months.start))
    mrr, gross = np.add.reduceat(months.mrr, opens), np.add.reduceat(np.abs(months.mrr), opens)
    kind = np.maximum.reduceat(months.kind, opens)
    return Stretches(months.customer[opens], months.start[opens], months.length[opens], mrr, kind), gross


def _refunds_back(months: Stretches, gross: np.ndarray) -> tuple[Stretches, float]:
    """What refunds exceed a month by, set against the month before, and so on; what rounding leaves over is nothing."""
    mrr = np.where(np.abs(months.mrr) < ROUNDING * gross, 0.0, months.mrr)
    follows = ~changes(months.customer)
    below = np.flatnonzero((mrr < 0) & follows)
    while below.size:
        before, excess, added = below - 1, mrr[below], gross[below]
        mrr[below] = gross[below] = 0.0
        mrr[before] += excess
        gross[before] += added
        mrr[before[np.abs(mrr[before]) < ROUNDING * gross[before]]] = 0.0
        below = before[(mrr[before] < 0) & follows[before]]
    return replace(months, mrr=mrr), float(mrr[mrr < 0].sum())
