"""Months on board without a payment: lapses, as when a card fails and is charged a month later, and paid years before.

A gap in payment is no departure unless it lasts longer than a grace. Within it the customer stays on board; the month
counts as paid late where a later charge makes up for it, else as unpaid. Customers who had paid for a year before the
records begin turn up in them at their renewal.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from growth.records.read.values import NONE

PAID, LATE, UNPAID, PENDING, BEFORE = range(5)  # as due, made up for later, never, not known yet, before the records
MOST_GRACE = 3  # months that the data may choose
RETURNS = 0.2  # share of those missing so long who pay again in the very next month; below it a gap is a departure
LEAST_RETURNS = 2  # of them, for the share to count
FALLS = 0.7  # of the former price; what a late payment would leave less of was all paid at a lower price
SPIKE, MOST_TIMES = 1.55, 3.1  # of the month after, between which a single month also holds what is due for others
CATCHES_UP = 3  # months after a gap in which a charge may make up for it
YEAR = 12
MIDWAY = 3.0  # times the usual month's newcomers that pay in month 0 of a business that was there before
FOLLOWED = 6  # months in which those newcomers are counted
SURE = 1.645  # standard errors by which first yearly payments have to be more in the first year, one-sided 5%


@dataclass(frozen=True, slots=True, eq=False)
class Entries:
    """Paid months: customer, month, mrr, kind and state, sorted by customer and month; all of shape (entries,)."""

    customer: np.ndarray
    month: np.ndarray
    mrr: np.ndarray
    kind: np.ndarray
    state: np.ndarray

    def insert(
        self, at: np.ndarray, like: np.ndarray, month: np.ndarray, mrr: np.ndarray, state: np.ndarray
    ) -> Entries:
        """Return these and more entries, each before the place `at`, of the customer and kind at the place `like`."""
        return Entries(
            np.insert(self.customer, at, self.customer[like]),
            np.insert(self.month, at, month),
            np.insert(self.mrr, at, mrr),
            np.insert(self.kind, at, self.kind[like]),
            np.insert(self.state, at, state),
        )

    @property
    def last(self) -> np.ndarray:
        """The places of the customers' last entries, shape (customers,)."""
        return np.flatnonzero(np.diff(self.customer, append=-1))

    @property
    def gap(self) -> np.ndarray:
        """How many months without payment lie between each entry and the next of its customer, shape (entries - 1,)."""
        return np.where(np.diff(self.customer) == 0, np.diff(self.month) - 1, 0)


def positions(lengths: np.ndarray) -> np.ndarray:
    """Count 0, 1, 2, ... within each of several runs of these lengths, one after the other.

    >>> positions(np.array([2, 0, 3])).tolist()
    [0, 1, 0, 1, 2]
    """
    return np.arange(lengths.sum()) - np.repeat(np.cumsum(lengths) - lengths, lengths)


@dataclass(frozen=True, slots=True)
class Grace:
    """How many months a payment may be missing before its customer counts as gone.

    returned, missing: for gaps of 1, 2, ... months, how many ended by a payment for the same plan in the next month, of
    how many that reached this length and were watched a month longer. pending, kept: customers whose last payments are
    missing within the grace, and how many of them count as on board.
    """

    months: int
    by_data: bool
    returned: tuple[int, ...]
    missing: tuple[int, ...]
    pending: int = 0
    kept: int = 0

    def back(self, gone: int) -> float:
        """The share of those missing for so many months who pay again within the grace."""
        ways = zip(self.returned[gone - 1 : self.months], self.missing[gone - 1 : self.months], strict=True)
        return float(1 - np.prod([1 - back / of if of else 1.0 for back, of in ways]))


def choose_grace(entries: Entries, months: int, *, given: int | None = None) -> Grace:
    """Choose the grace: the longest gap, of at most 3 months, after which many come back at once on the same plan.

    Many: a fifth of those who have been missing so long, and two of them at least (our own rule: customers who come
    back for good are far fewer in any one month, and a departure that is none distorts churn the more). `given`
    overrides it.
    """
    missing = months - 1 - entries.month[entries.last]
    gap = entries.gap
    breaks = np.flatnonzero(gap)
    gap, same = gap[breaks], entries.kind[breaks + 1] == entries.kind[breaks]
    lengths = range(1, max(given or 0, MOST_GRACE) + 1)
    returned = tuple(int(((gap == length) & same).sum()) for length in lengths)
    reached = tuple(int((gap >= length).sum() + (missing > length).sum()) for length in lengths)
    chosen = given
    if chosen is None:
        many = [back >= max(LEAST_RETURNS, RETURNS * of) for back, of in zip(returned, reached, strict=True)]
        chosen = next((length for length, enough in enumerate(many) if not enough), MOST_GRACE)
    return Grace(chosen, given is None, returned, reached)


def fill(entries: Entries, months: int, *, given: int | None) -> tuple[Entries, Grace, float]:
    """Choose the grace, unless it is given, fill the gaps within it, and settle the last months.

    A gap is filled at the MRR before it. What a month within the three after it holds beyond that MRR, if it is more
    than half as much again and the month after falls back, was paid late for the gap; a gap of up to three months that
    is made up for in full is a lapse whatever the grace. Where there are lapses, a single month of some one and a half
    to three times the one after was charged for others, too; the sum of what is taken off is returned. Whether a
    payment missing at the end of the records will come nobody knows: as many of those customers stay on board as came
    back before.
    """
    grace = choose_grace(entries, months, given=given)
    if not entries.customer.size or (not grace.months and not grace.by_data):
        return entries, grace, 0.0
    paid = entries.mrr.sum()
    entries = replace(entries, mrr=entries.mrr.copy())
    month, mrr, kind, gap, last = entries.month, entries.mrr, entries.kind, entries.gap, entries.last
    before = np.flatnonzero((gap > 0) & (gap <= max(grace.months, CATCHES_UP)) & (kind[1:] == kind[:-1]))
    usual, late = _made_up(entries, before, gap[before], grace.months)
    apart = paid - mrr.sum() - (late * usual).sum()
    lapse = (gap[before] <= grace.months) | (late > 0)
    before, usual, late = before[lapse], usual[lapse], late[lapse]
    if grace.months or late.any():
        apart += _doubled(entries)

    missing = months - 1 - month[last]
    kept = [np.zeros(0, int)]
    for length in range(1, grace.months + 1):
        pending = last[missing == length]
        spread = np.floor(np.arange(pending.size + 1) * grace.back(length) + 0.5)  # evenly among them
        kept.append(pending[np.diff(spread) > 0])
    held = np.concatenate(kept)

    after = np.concatenate([before, held])
    order = np.argsort(after)
    times = np.concatenate([gap[before], months - 1 - month[held]])[order]
    made_up = np.repeat(np.append(late, np.zeros_like(held))[order], times)
    otherwise = np.repeat(np.repeat([UNPAID, PENDING], [before.size, held.size])[order], times)
    amount = np.repeat(np.append(usual, mrr[held])[order], times)  # mrr as it is now, without what was paid late
    at, nth = np.repeat(after[order], times), positions(times)
    state = np.where(nth < made_up, LATE, otherwise)
    filled = entries.insert(at + 1, at, month[at] + nth + 1, amount, state)
    pending_ones = int(((missing > 0) & (missing <= grace.months)).sum())
    return filled, replace(grace, pending=pending_ones, kept=held.size), float(apart)


def _made_up(entries: Entries, before: np.ndarray, gap: np.ndarray, grace: int) -> tuple[np.ndarray, np.ndarray]:
    """Take what was paid late for gaps off the months in which it was paid.

    Returns the MRR before each gap, and for how many of its months it was made up. The gaps of a customer are taken one
    after the other, since the month before one may make up for another. One longer than the grace has to be made up
    for in full.
    """
    customer, month, mrr = entries.customer, entries.month, entries.mrr
    usual, late = np.zeros(before.size), np.zeros(before.size, int)
    nth = np.arange(before.size) - np.searchsorted(customer[before], customer[before])
    last = customer.size - 1
    opens = before[(before == 0) | (customer[before - 1] != customer[before])]  # first payments, with a gap after them
    price = _lowest_after(entries, opens)
    twice = (mrr[opens] > SPIKE * price) & (mrr[opens] < MOST_TIMES * price)
    mrr[opens[twice]] = price[twice]
    inner = before[(before > 0) & (customer[before - 1] == customer[before]) & (month[before - 1] == month[before] - 1)]
    price = _lowest_after(entries, inner)
    level = np.maximum(price, mrr[inner - 1])
    twice = (mrr[inner] > SPIKE * level) & (mrr[inner] < MOST_TIMES * level)  # paid late for months before this gap
    mrr[inner[twice]] = price[twice]
    full = _over_several_months(entries, before, gap)
    usual[full], late[full] = mrr[before[full]], gap[full]
    for turn in range(int(nth.max(initial=-1)) + 1):
        usual[(nth == turn) & ~full] = mrr[before[(nth == turn) & ~full]]
        for ahead in range(CATCHES_UP):
            these = np.flatnonzero((nth == turn) & (late < gap) & (before + 1 + ahead < customer.size))
            cell = before[these] + 1 + ahead
            straight = (customer[cell] == customer[before[these]]) & (month[cell] == month[before[these] + 1] + ahead)
            these, cell = these[straight], cell[straight]
            times, lasted = mrr[cell] / usual[these], gap[these]
            more = np.minimum(np.rint(times) - 1, lasted - late[these])
            half, after = 0.5 * more * usual[these], np.minimum(cell + 1, last)
            follows = (customer[after] == customer[cell]) & (month[after] == month[cell] + 1)
            single = (~follows | (mrr[after] <= mrr[cell] - half)) & (
                (ahead == 0) | (mrr[cell - 1] <= mrr[cell] - half)
            )
            whole = (lasted <= grace) | (np.abs(times - 1 - lasted) < 0.01)
            made = np.flatnonzero((more > 0) & single & whole)
            these, cell, more, after, follows = (part[made] for part in (these, cell, more, after, follows))
            left = mrr[cell] - more * usual[these]
            left = np.where(left < FALLS * usual[these], mrr[cell] / (more + 1), left)  # all at a price that fell
            left = np.where(np.abs(left - usual[these]) < 1e-9 * left, usual[these], left)  # no change by rounding
            same = (customer[after] == customer[cell]) & (after > cell)  # perhaps beyond one more gap
            near = same & (np.abs(mrr[after] - left) < 0.5 * left)  # a price that changed in between
            mrr[cell] = np.where(near, mrr[after], left)
            late[these] += more.astype(int)
    return usual, late


def _lowest_after(entries: Entries, before: np.ndarray) -> np.ndarray:
    """Return the lower MRR of a customer's next two months with a payment, shape (before,)."""
    customer, mrr = entries.customer, entries.mrr
    second = np.minimum(before + 2, customer.size - 1)
    return np.minimum(mrr[before + 1], np.where(customer[second] == customer[before], mrr[second], np.inf))


def _over_several_months(entries: Entries, before: np.ndarray, gap: np.ndarray) -> np.ndarray:
    """Take off what makes up in full for a gap of several months, a whole number of them in each month right after it.

    Returns which gaps these are. As when two charges in a row were paid two months late: 1, 0, 0, 2, 2, 1.
    """
    customer, month, mrr = entries.customer, entries.month, entries.mrr
    last = customer.size - 1
    cells = np.minimum(before[:, None] + 1 + np.arange(CATCHES_UP + 1), last)
    straight = (customer[cells] == customer[before][:, None]) & (
        month[cells] == month[np.minimum(before + 1, last)][:, None] + np.arange(CATCHES_UP + 1)
    )
    times = np.where(straight, mrr[cells] / mrr[before][:, None], 1.0)
    more = np.rint(times) - 1
    exact = (np.abs(times - 1 - more) < 0.01) | (more == 0)  # the price may have changed since
    whole = exact.all(axis=1) & (more >= 0).all(axis=1) & (more[:, -1] == 0)
    full = whole & (gap > 1) & (more.sum(axis=1) == gap) & ((more > 0).sum(axis=1) > 1)
    for ahead in range(CATCHES_UP):
        mrr[cells[full, ahead]] -= more[full, ahead] * mrr[before[full]]
    return full


def _doubled(entries: Entries) -> float:
    """Take single months far above the month after, and above the one before, down to the month after; sum that.

    What is above was charged for other months, perhaps at another price, as for the months before the records.
    """
    customer, month, mrr, kind = entries.customer, entries.month, entries.mrr, entries.kind
    next_one = np.flatnonzero((customer[1:] == customer[:-1]) & (month[1:] == month[:-1] + 1) & (kind[1:] == kind[:-1]))
    times = mrr[next_one] / mrr[next_one + 1]
    many = next_one[(times > SPIKE) & (times < MOST_TIMES)]
    earlier = np.maximum(many - 1, 0)
    jumps = (customer[earlier] != customer[many]) | (earlier == many) | (mrr[many] >= 1.5 * mrr[earlier])
    many = many[jumps]
    excess = mrr[many] - mrr[many + 1]
    mrr[many] -= excess
    return float(excess.sum())


def fill_before(
    entries: Entries, months: int, *, yearly: np.ndarray, joined: np.ndarray | None, signed_up: np.ndarray
) -> Entries:
    """Take customers of yearly plans whose first payment is in months 1 to 11 as on board from month 0 on.

    Nobody knows whether such a payment is a first one or a renewal, unless the records say when the customer joined or
    signed up. So it is done only where the records plainly begin in the middle of a business: several times as many pay
    by the month in month 0 as join in a month after it, or clearly more first yearly payments are made in the first
    year than after it. Their months before count as paid before the records.

    yearly: by kind of plan, shape (kinds,). joined, signed_up: by customer, NONE where not known.
    """
    customer, month = entries.customer, entries.month
    if not customer.size or not yearly.any():
        return entries
    first = np.flatnonzero(np.append(True, customer[1:] != customer[:-1]))
    start, by_year = month[first], yearly[entries.kind[first]]
    told = signed_up[customer[first]] != NONE
    if joined is not None:
        told |= joined[customer[first]] != NONE
    unsure = by_year & (start > 0) & (start < YEAR) & ~told
    if not unsure.any() or not _midway(start, by_year, unsure, months):
        return entries
    here, month = np.repeat(first[unsure], start[unsure]), positions(start[unsure])
    return entries.insert(here, here, month, entries.mrr[here], np.full(here.size, BEFORE))


def _midway(start: np.ndarray, by_year: np.ndarray, unsure: np.ndarray, months: int) -> bool:
    """Return whether the records begin in the middle of a business."""
    monthly = start[~by_year]
    there, came = (monthly == 0).sum(), ((monthly > 0) & (monthly <= FOLLOWED)).sum()
    if there > MIDWAY * max(came / FOLLOWED, 1):
        return True
    later = months - YEAR
    if later < FOLLOWED:
        return False
    rate = (by_year & (start >= YEAR)).sum() / later
    expected = (YEAR - 1) * rate
    error = np.sqrt(expected + (YEAR - 1) ** 2 * rate / later)
    return bool(unsure.sum() - expected > SURE * max(error, 1.0))
