"""Lapses: months without a payment of customers who have not left, as when a card fails and is charged a month later.

A gap in payment is no departure unless it lasts longer than a grace. Within it the customer stays on board; the month
counts as paid late where a later charge makes up for it, else as unpaid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.errors import count_of

PAID, LATE, UNPAID, PENDING, BEFORE = range(5)  # as due, made up for later, never, not known yet, before the records
MOST_GRACE = 3  # months that the data may choose
RETURNS = 0.2  # share of those missing so long who pay again in the very next month; below it a gap is a departure
LEAST_RETURNS = 2  # of them, for the share to count
FALLS = 0.7  # of the former price; what a late payment would leave less of was all paid at a lower price
SPIKE, MOST_TIMES = 1.55, 3.1  # of the month after, between which a single month also holds what is due for others
CATCHES_UP = 3  # months after a gap in which a charge may make up for it


@dataclass(frozen=True, slots=True, eq=False)
class Entries:
    """Paid months: customer, month, mrr, kind and state, sorted by customer and month; all of shape (entries,)."""

    customer: np.ndarray
    month: np.ndarray
    mrr: np.ndarray
    kind: np.ndarray
    state: np.ndarray


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
    customer, month, kind = entries.customer, entries.month, entries.kind
    ends = np.flatnonzero(np.append(customer[1:] != customer[:-1], True)) if customer.size else np.zeros(0, int)
    missing = months - 1 - month[ends]
    breaks = np.flatnonzero((customer[1:] == customer[:-1]) & (month[1:] > month[:-1] + 1))
    gap, same = month[breaks + 1] - month[breaks] - 1, kind[breaks + 1] == kind[breaks]
    lengths = range(1, max(given or 0, MOST_GRACE) + 1)
    returned = tuple(int(((gap == length) & same).sum()) for length in lengths)
    reached = tuple(int((gap >= length).sum() + (missing > length).sum()) for length in lengths)
    chosen = given
    if chosen is None:
        many = [back >= max(LEAST_RETURNS, RETURNS * of) for back, of in zip(returned, reached, strict=True)]
        chosen = next((length for length, enough in enumerate(many) if not enough), MOST_GRACE)
    return Grace(chosen, given is None, returned, reached)


def fill(entries: Entries, months: int, grace: Grace) -> tuple[Entries, Grace, float]:
    """Fill the gaps within the grace, and settle the last months.

    A gap is filled at the MRR before it. What a month within the three after it holds beyond that MRR, if it is more
    than half as much again and the month after falls back, was paid late for the gap; a gap of up to three months that
    is made up for in full is a lapse whatever the grace. Where there are lapses, a single month of some one and a half
    to three times the one after was charged for others, too; the sum of what is taken off is returned. Whether a
    payment missing at the end of the records will come nobody knows: as many of those customers stay on board as came
    back before.
    """
    if not entries.customer.size or (not grace.months and not grace.by_data):
        return entries, grace, 0.0
    customer, month, kind = entries.customer, entries.month, entries.kind
    mrr = entries.mrr.copy()
    gap = np.where(customer[1:] == customer[:-1], month[1:] - month[:-1] - 1, 0)
    before = np.flatnonzero((gap > 0) & (gap <= max(grace.months, CATCHES_UP)) & (kind[1:] == kind[:-1]))
    usual, late = _made_up(customer, month, mrr, before, gap[before], grace.months)
    apart = entries.mrr.sum() - mrr.sum() - (late * usual).sum()
    lapse = (gap[before] <= grace.months) | (late > 0)
    before, usual, late = before[lapse], usual[lapse], late[lapse]
    if grace.months or late.any():
        apart += _doubled(customer, month, mrr, kind)

    last = np.flatnonzero(np.append(customer[1:] != customer[:-1], True))
    missing = months - 1 - month[last]
    kept = [np.zeros(0, int)]
    for length in range(1, grace.months + 1):
        pending = last[missing == length]
        spread = np.floor(np.arange(pending.size + 1) * grace.back(length) + 0.5)  # evenly among them
        kept.append(pending[np.diff(spread) > 0])
    held = np.sort(np.concatenate(kept))

    at = np.concatenate([np.repeat(before, gap[before]), np.repeat(held, months - 1 - month[held])])
    states = np.concatenate([_in_order(late, gap[before]), np.full((months - 1 - month[held]).sum(), PENDING, np.int8)])
    amounts = np.concatenate([np.repeat(usual, gap[before]), np.repeat(mrr[held], months - 1 - month[held])])
    order = np.argsort(at, kind="stable")
    at, states, amounts = at[order], states[order], amounts[order]
    nth = np.arange(at.size) - np.searchsorted(at, at) + 1
    filled = Entries(
        np.insert(customer, at + 1, customer[at]),
        np.insert(month, at + 1, month[at] + nth.astype(np.int32)),
        np.insert(mrr, at + 1, amounts),  # mrr as it is now, without what was paid late
        np.insert(kind, at + 1, kind[at]),
        np.insert(entries.state, at + 1, states),
    )
    open_ones = int(((missing > 0) & (missing <= grace.months)).sum())
    found = Grace(grace.months, grace.by_data, grace.returned, grace.missing, open_ones, int(held.size))
    return filled, found, float(apart)


def _made_up(
    customer: np.ndarray, month: np.ndarray, mrr: np.ndarray, before: np.ndarray, gap: np.ndarray, grace: int
) -> tuple[np.ndarray, np.ndarray]:
    """Take what was paid late for gaps off the months in which it was paid.

    Returns the MRR before each gap, and for how many of its months it was made up. The gaps of a customer are taken one
    after the other, since the month before one may make up for another. One longer than the grace has to be made up
    for in full.
    """
    usual, late = np.zeros(before.size), np.zeros(before.size, int)
    nth = np.arange(before.size) - np.searchsorted(customer[before], customer[before])
    last = customer.size - 1
    opens = before[(before == 0) | (customer[before - 1] != customer[before])]  # first payments, with a gap after them
    price = _lowest_after(customer, mrr, opens)
    twice = (mrr[opens] > SPIKE * price) & (mrr[opens] < MOST_TIMES * price)
    mrr[opens[twice]] = price[twice]
    inner = before[(before > 0) & (customer[before - 1] == customer[before]) & (month[before - 1] == month[before] - 1)]
    price = _lowest_after(customer, mrr, inner)
    level = np.maximum(price, mrr[inner - 1])
    twice = (mrr[inner] > SPIKE * level) & (mrr[inner] < MOST_TIMES * level)  # paid late for months before this gap
    mrr[inner[twice]] = price[twice]
    full = _over_several_months(customer, month, mrr, before, gap)
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


def _lowest_after(customer: np.ndarray, mrr: np.ndarray, before: np.ndarray) -> np.ndarray:
    """Return the lower MRR of a customer's next two months with a payment, shape (before,)."""
    second = np.minimum(before + 2, customer.size - 1)
    return np.minimum(mrr[before + 1], np.where(customer[second] == customer[before], mrr[second], np.inf))


def _over_several_months(
    customer: np.ndarray, month: np.ndarray, mrr: np.ndarray, before: np.ndarray, gap: np.ndarray
) -> np.ndarray:
    """Take off what makes up in full for a gap of several months, a whole number of them in each month right after it.

    Returns which gaps these are. As when two charges in a row were paid two months late: 1, 0, 0, 2, 2, 1.
    """
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


def _doubled(customer: np.ndarray, month: np.ndarray, mrr: np.ndarray, kind: np.ndarray) -> float:
    """Take single months far above the month after, and above the one before, down to the month after; sum that.

    What is above was charged for other months, perhaps at another price, as for the months before the records.
    """
    next_one = np.flatnonzero((customer[1:] == customer[:-1]) & (month[1:] == month[:-1] + 1) & (kind[1:] == kind[:-1]))
    times = mrr[next_one] / mrr[next_one + 1]
    many = next_one[(times > SPIKE) & (times < MOST_TIMES)]
    earlier = np.maximum(many - 1, 0)
    jumps = (customer[earlier] != customer[many]) | (earlier == many) | (mrr[many] >= 1.5 * mrr[earlier])
    many = many[jumps]
    excess = mrr[many] - mrr[many + 1]
    mrr[many] -= excess
    return float(excess.sum())


def _in_order(late: np.ndarray, gap: np.ndarray) -> np.ndarray:
    """Return the states of the months of all gaps: of each the first ones late, the others unpaid."""
    nth = np.arange(gap.sum()) - np.repeat(np.cumsum(gap) - gap, gap)
    return np.where(nth < np.repeat(late, gap), LATE, UNPAID).astype(np.int8)


def lapse_notes(grace: Grace, *, currency: str, unpaid: float, late: float, months: int) -> list[str]:
    """Say in sentences what counts as a lapse, and what became of those that did.

    unpaid, late: MRR of all months that was never paid, and paid late.
    """
    length = count_of(grace.months, "month")
    if not grace.months:
        return []
    how = "as --grace says"
    if grace.by_data:
        how = (
            f"of {count_of(grace.missing[0], 'customer')} who missed a month, {grace.returned[0]:,} paid again on the "
            "same plan"
        )
    said = [f"a payment missing for up to {length} is no departure ({how})"]
    if late or unpaid:
        said.append(
            f"{late / months:,.2f} {currency} of MRR a month was paid late, and {unpaid / months:,.2f} {currency} "
            "a month was never paid"
        )
    if grace.pending:
        said.append(
            f"at the end of the records {count_of(grace.pending, 'customer has', 'customers have')} not paid for up to "
            f"{length}: nobody knows whether they will, so {grace.kept:,} of them count as on board, the "
            f"share that came back before, and churn is measured up to {length} before the end"
        )
    return said
