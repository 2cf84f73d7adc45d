"""Months at one MRR: the rows of each customer put in order and drawn together, refunds set against what was paid."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from growth.records.found import THREADS
from growth.records.order import changes, stable_order
from growth.records.rows import Rows, Shelf, months_of

SUMMED_AT_ONCE = 1 << 14  # stretches whose months are laid out side by side
MOST_SUMS = 1 << 22  # that are kept of stretches of the same months
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

    @property
    def begins(self) -> np.ndarray:
        """Whether each does not go on from the one before it; the first does not."""
        begins = np.ones(self.size, bool)
        begins[1:] = ~self.goes_on[:-1]
        return begins

    def sums_by_month(self, cell: np.ndarray, length: np.ndarray, *, step: int, size: int) -> np.ndarray:
        """The MRR added to `length` cells for each stretch: `cell`, cell + step, cell + 2 step, ... Shape (size,)."""
        mrr, longest = self.mrr, int(length.max(initial=0))
        if size * (longest + 1) <= MOST_SUMS:  # stretches of the same cells as one: there are far fewer
            sums = np.bincount(cell * np.int64(longest + 1) + length, mrr)
            number = np.flatnonzero(sums)
            (cell, length), mrr = np.divmod(number, longest + 1), sums[number]
        total = np.zeros(size)
        for at in range(0, cell.size, SUMMED_AT_ONCE):
            some = slice(at, at + SUMMED_AT_ONCE)
            times, before = length[some], np.cumsum(length[some]) - length[some]
            cells = np.repeat(cell[some] - step * before, times)
            cells += step * np.arange(cells.size)
            total += np.bincount(cells, np.repeat(mrr[some], times), minlength=size)
        return total

    def of(self, chosen: np.ndarray) -> Stretches:
        """Some of them: `chosen` holds a truth for each, or places."""
        places = np.flatnonzero(chosen) if chosen.dtype == bool else chosen  # NumPy is far quicker with places
        return Stretches(*(getattr(self, name).take(places) for name in self.__slots__))


@dataclass(frozen=True, slots=True, eq=False)
class Paid:
    """What some customers paid. stretches: their months above 0, none overlapping another of the same customer.

    trials: each customer's first stretch of amount 0. ahead: sums paid for months after the last, and refunds made
    after it; unmatched: refunds that match no charge. kinds: those that there are.
    """

    stretches: Stretches
    trials: Stretches
    ahead: np.ndarray
    unmatched: np.ndarray
    kinds: np.ndarray


def stretches_of(rows: Rows, *, first: int, months: int) -> list[Paid]:
    """What the customers paid in so many months from the month `first` on, a shelf of customers after another.

    A charge is spread evenly over its months; one that begins where the one before it ends, at the same MRR, goes on
    with that stretch. A refund made after those months is not known in them: it counts as `ahead`. Customers do not
    meet, so that each shelf stays in the processor's cache and threads share them.
    """

    some_later = bool(months_of(np.array([rows.last_day])) >= first + months)

    def paid(shelf: Shelf) -> Paid:
        customer, records = rows.on(shelf)
        later = np.zeros(0)
        if some_later:
            customer, records, later = _known(customer, records, until=first + months)
        said, ahead = _cut(_said(customer, records, first=first), months)
        paying = said.mrr != 0
        stretches, unmatched = untangled(said.of(paying))
        trials = said.of(~paying)
        kinds = np.flatnonzero(np.bincount(said.kind))
        ahead = np.append(ahead, later)
        return Paid(stretches, trials.of(changes(trials.customer)), ahead, unmatched, kinds)

    with ThreadPoolExecutor(THREADS) as pool:
        return list(pool.map(paid, rows.shelves))


def _known(customer: np.ndarray, records: np.ndarray, *, until: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows without the refunds made from the month `until` on, and those."""
    unknown = (records["amount"] < 0) & (records["made"] >= until)
    known = np.flatnonzero(~unknown)
    return customer[known], records[known], records["amount"][unknown]


def _said(customer: np.ndarray, records: np.ndarray, *, first: int) -> Stretches:
    """What rows say, drawn together, by customer and month, counted from `first`. Both arrays as of `Rows.on`."""
    month = records["month"].copy()  # beside each other, they are compared far more quickly
    if ((month[1:] < month[:-1]) & (customer[1:] == customer[:-1])).any():
        order = _in_order(customer, month)
        customer, month, records = customer[order], month[order], records[order]
    kind = records["plan"].astype(np.int32)
    kind *= 2
    kind += records["yearly"]
    span = records["span"].copy()
    said = drawn_together(Stretches(customer, month, span, records["amount"] / span, kind))
    return replace(said, start=said.start - np.int32(first))


def _in_order(customer: np.ndarray, month: np.ndarray) -> np.ndarray:
    """The places that sort by customer and month, those of one month in the order in which they stand."""
    if not customer.size:
        return np.zeros(0, np.int64)
    number, month = customer.astype(np.int64) - customer.min(), month - month.min()
    return stable_order(number * (int(month.max()) + 1) + month)


def _cut(part: Stretches, months: int) -> tuple[Stretches, np.ndarray]:
    """What lies in the first months, and the money of each stretch for later ones."""
    inside = np.clip(months - part.start, 0, part.length)
    beyond = np.flatnonzero(inside < part.length)
    if not beyond.size:
        return part, np.zeros(0)
    ahead = part.mrr[beyond] * (part.length - inside)[beyond]
    part, some = replace(part, length=inside), inside > 0
    return part if some.all() else part.of(some), ahead


def drawn_together(part: Stretches) -> Stretches:
    """Neighbours made one where the second goes on where the first ends: same customer, MRR and kind."""
    if not part.size:
        return part
    opens = np.flatnonzero(part.begins | changes(part.mrr) | changes(part.kind))
    ends = np.append(opens[1:], part.size) - 1
    start = part.start.take(opens).astype(np.int32)
    length = part.start.take(ends) + part.length.take(ends) - start
    customer, mrr, kind = (values.take(opens) for values in (part.customer, part.mrr, part.kind))
    return Stretches(customer, start, length, mrr, kind)


def untangled(part: Stretches) -> tuple[Stretches, np.ndarray]:
    """What each customer pays in each month above 0, with nothing overlapping, and the refunds that match no charge.
    Each customer's stretches stand beside each other, by their start; customers may come in another order.

    Customers of whom nothing overlaps and nothing is refunded stay as they are. The months of all others are summed;
    where refunds exceed a month, the rest is set against the customer's month before, and so on backwards.
    """
    if not part.size:
        return part, np.zeros(0)
    tangled = part.mrr < 0
    tangled[1:] |= (part.customer[1:] == part.customer[:-1]) & (part.start[1:] < part.start[:-1] + part.length[:-1])
    if not tangled.any():
        return drawn_together(part), np.zeros(0)
    which = np.cumsum(changes(part.customer), dtype=np.int32) - 1
    whose = np.zeros(which[-1] + 1, bool)
    whose[which[np.flatnonzero(tangled)]] = True
    chosen = whose[which]
    months, unmatched = _refunds_back(*_summed(single_months(part.of(chosen))))
    return drawn_together(together([part.of(~chosen), months.of(months.mrr > 0)])), unmatched


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


def by_customer(parts: list[Stretches]) -> Stretches:
    """The stretches of all parts, sorted by customer; those of each stand beside each other and stay in their order."""
    order = stable_order(np.concatenate([part.customer for part in parts]))

    def sorted_field(name: str) -> np.ndarray:
        return np.concatenate([getattr(part, name) for part in parts]).take(order)

    with ThreadPoolExecutor(THREADS) as pool:
        return Stretches(*pool.map(sorted_field, Stretches.__slots__))


def _summed(months: Stretches) -> tuple[Stretches, np.ndarray]:
    """Single months summed by customer and month; of several kinds the highest stands. And the sums without signs."""
    months = months.of(_in_order(months.customer, months.start))
    opens = np.flatnonzero(changes(months.customer) | changes(months.start))
    mrr, gross = np.add.reduceat(months.mrr, opens), np.add.reduceat(np.abs(months.mrr), opens)
    kind = np.maximum.reduceat(months.kind, opens)
    return Stretches(months.customer[opens], months.start[opens], months.length[opens], mrr, kind), gross


def _refunds_back(months: Stretches, gross: np.ndarray) -> tuple[Stretches, np.ndarray]:
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
    return replace(months, mrr=mrr), mrr[mrr < 0]
