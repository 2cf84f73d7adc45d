"""What customers who stay pay more or less, apart from price changes for everybody and discounts that run out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from growth.errors import count_of
from growth.records.bridge import Spells
from growth.records.intervals import Rate, sum_interval
from growth.records.paid_months import PaidMonths
from growth.records.read.values import NONE

if TYPE_CHECKING:
    import pandas as pd

FOR_ALL = 0.5  # share of a plan's customers whose price has to change alike in one month; common practice, no source
LEAST = 8  # customers of whom that is asked
ALIKE = 0.01  # prices are rounded, so factors may differ by so much
# a discount of a customer's first months, our own rule: what its end looks like beside other changes
LONGEST_DISCOUNT = 12  # months
LEAST_STEP = 1.1  # factor; a step of less may be a price that rises by the year
OF_NEWCOMERS = 0.1  # share of those who reach the age, who have to step at it
OFTENER = 5.0  # times as often as at any other age, or
MOST = 0.5  # share of those who reach the age, where nobody was seen at another one
COHORTS = 3  # calendar months in which the steps have to happen


@dataclass(frozen=True, slots=True)
class DetectedPriceChange:
    """A month in which most customers of a kind of plan began to pay by one factor more or less."""

    kind: int
    month: int
    factor: float
    changed: int
    of: int


@dataclass(frozen=True, slots=True, eq=False)
class NewcomerDiscount:
    """A discount that customers of a kind of plan had when they joined, until they were `months` old.

    factor: of the price after it over that before. stepped, reached: whose price rose by it at that age, of those seen
    at it. shares: of those who had joined at a price, how many stepped, by price.
    """

    kind: int
    months: int
    factor: float
    stepped: int
    reached: int
    shares: pd.Series

    def full_price(self, first_mrr: np.ndarray) -> np.ndarray:
        """What customers who join at these prices are expected to pay in the end, by those seen to the end."""
        share = self.shares.reindex(first_mrr.round(2), fill_value=self.stepped / self.reached).to_numpy()
        return first_mrr * (1 + share * (self.factor - 1))


@dataclass(frozen=True, slots=True, eq=False)
class RevenueChange:
    """Changes of MRR of customers who stayed, without price changes for everybody and the end of discounts.

    kind, base, up, down: of each customer of a kind of plan, the MRR that could have changed, and by how much it rose
    and fell, all months together, shape (customers and kinds,). The MRR of a yearly plan changes at renewals alone, so
    it counts there, for twelve months. up_squares, down_squares: the sums of the squares of these changes.
    price_changes, discounts: what was taken out.
    """

    kind: np.ndarray
    base: np.ndarray
    up: np.ndarray
    down: np.ndarray
    up_squares: np.ndarray
    down_squares: np.ndarray
    price_changes: tuple[DetectedPriceChange, ...]
    discounts: tuple[NewcomerDiscount, ...]

    def rate(self, part: str, kind: int | None = None) -> tuple[Rate, float]:
        """Return expansion ("up") or contraction ("down") a month, and how many equal changes it counts as."""
        these = slice(None) if kind is None else self.kind == kind
        base, changed = self.base[these], getattr(self, part)[these]
        source = f"MRR {'gained' if part == 'up' else 'given up'} / MRR of those who stayed; gamma for sums of changes"
        could, value = float(base.sum()), float(changed.sum())
        if not could:
            return Rate(0.0, 0.0, 0.0, source), 0.0
        squares = float(getattr(self, f"{part}_squares")[these].sum())  # of changes that are independent, or, where
        squares = max(squares, float(((changed - value / could * base) ** 2).sum()))  # customers differ, of theirs
        low, high, events = sum_interval(changed, squares)
        return Rate(value / could, low / could, high / could, source), events

    def draw(self, part: str, random: np.random.Generator, draws: int) -> np.ndarray:
        """Draw expansion or contraction, shape (draws,), with Jeffreys' prior for the mean of a count."""
        rate, events = self.rate(part)
        return np.clip(rate.value * random.gamma(events + 0.5, size=draws) / max(events, 0.5), 0, 1)

    def price_now(self, kind: int, start: np.ndarray, first_mrr: np.ndarray) -> np.ndarray:
        """What customers who joined in these months at this MRR would pay today, once no discount runs any more."""
        price = first_mrr
        for discount in self.discounts:
            if discount.kind == kind:
                price = price * discount.full_price(first_mrr) / first_mrr
        for change in self.price_changes:
            if change.kind == kind:
                price = np.where(start < change.month, price * change.factor, price)
        return price


def revenue_change(book: PaidMonths, runs: Spells) -> RevenueChange:
    """Find what changed, and set apart price changes for everybody and the end of discounts for newcomers."""
    kinds = len(book.kinds)
    before = np.flatnonzero(book.goes_on)
    base = book.mrr[before]
    if book.yearly.any():
        base = np.where(book.yearly[book.kind[before]], 12 * base * _renewals(book, runs)[before], base)
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
    discounts = _discounts(book, runs, changed, ratio, change)
    up, down = np.maximum(change, 0.0), np.maximum(-change, 0.0)
    whose = book.customer[before] * np.int64(kinds) + book.kind[before]
    opens = np.flatnonzero(np.diff(whose, prepend=-1))
    which = np.searchsorted(before[opens], changed, side="right") - 1
    sums = (np.bincount(which, part, minlength=opens.size) for part in (up, down, up**2, down**2))
    ups, downs, up_squares, down_squares = sums
    base = np.add.reduceat(base, opens) if opens.size else base
    return RevenueChange(book.kind[before[opens]], base, ups, downs, up_squares, down_squares, tuple(found), discounts)


def _renewals(book: PaidMonths, runs: Spells) -> np.ndarray:
    """Return whether each entry of the book is the last month of a year that was paid for, in a plan billed yearly."""
    found = np.zeros(book.month.size, bool)
    these = np.flatnonzero(book.yearly[book.kind])
    since = book.month[these] - np.repeat(runs.billed, runs.length)[these]
    found[these] = (since >= 0) & (since % 12 == 11)
    return found


def _discounts(
    book: PaidMonths, runs: Spells, changed: np.ndarray, ratio: np.ndarray, change: np.ndarray
) -> tuple[NewcomerDiscount, ...]:
    """Find discounts for newcomers by their end, and take it out of `change`.

    At one age far more customers step up by one factor than at any other. changed: the entries of the book after which
    the MRR is another; ratio, change: by how much.
    """
    import pandas as pd

    steps = np.flatnonzero((change > 0) & (ratio > LEAST_STEP))
    kind, factor = book.kind[changed[steps]], np.minimum(np.round(100 * ratio[steps]), 99_999).astype(int)
    spell = np.searchsorted(np.cumsum(runs.length), changed[steps], side="right")
    known = runs.entry != NONE
    since = np.where(known, runs.start - runs.entry, runs.billed)  # of unknown age: at least so old
    age = book.month[changed[steps]] + 1 - since[spell]
    cell, found = (kind * 100 + age) * np.int64(100_000) + factor, []
    cells, counts = np.unique(cell[known[spell] & (age <= LONGEST_DISCOUNT)], return_counts=True)
    for one in cells[counts >= LEAST].tolist():
        number, months = divmod(one // 100_000, 100)
        alike = (kind == number) & (factor == one % 100_000)
        at_age, young = alike & known[spell] & (age == months), alike & ~known[spell] & (age <= months)
        here = np.flatnonzero(runs.kind == number)
        reached, others = _seen(runs, here, known, since, months, 12 if book.kinds[number][1] == "yearly" else 1)
        share, elsewhere = at_age.sum() / max(reached, 1), (alike & ~at_age & ~young).sum() / max(others, 1)
        least = max(OF_NEWCOMERS, OFTENER * elsewhere) if others >= LEAST else MOST
        if share < least or np.unique(book.month[changed[steps[at_age]]]).size < COHORTS:
            continue
        change[steps[at_age | young]] = 0.0
        old = here[known[here] & (runs.entry[here] + runs.length[here] > months)]
        by_price = pd.Series(np.isin(old, spell[at_age])).groupby(runs.first_mrr[old].round(2))
        shares = (by_price.sum() + share) / (by_price.size() + 1)  # of few customers their share says little
        found.append(NewcomerDiscount(number, months, one % 100_000 / 100, int(at_age.sum()), reached, shares))
    return tuple(found)


def _seen(
    runs: Spells, here: np.ndarray, known: np.ndarray, since: np.ndarray, months: int, step: int
) -> tuple[int, int]:
    """Count how often the price of these spells could change at an age in months, and at other ages.

    Those of unknown age count at greater ages only. step: months from one chance to change to the next.
    """
    first = np.where(known, runs.entry, months)[here]
    last = (runs.start + runs.length - 1 - since)[here]
    reached = int((known[here] & (first < months) & (last >= months)).sum()) if months % step == 0 else 0
    return reached, int(np.maximum(last // step - first // step, 0).sum()) - reached


def price_notes(found: RevenueChange, book: PaidMonths) -> list[str]:
    """Say which prices changed for everybody, month by month, and which newcomers had a discount."""
    said = [
        f"newcomers had a discount: of {count_of(discount.reached, 'customer')} seen at an age of "
        f"{count_of(discount.months, 'month')}, {discount.stepped:,} paid {1 - 1 / discount.factor:.0%} less until "
        "then. Its end is no expansion, and the price of new customers is the full one, from their first month on"
        for discount in found.discounts
    ]
    for month in sorted({change.month for change in found.price_changes}):
        these = [change for change in found.price_changes if change.month == month]
        factors = [change.factor - 1 for change in these]
        changed, of = (sum(getattr(change, name) for change in these) for name in ("changed", "of"))
        by = f"{min(factors):+.1%}"
        by += f" to {max(factors):+.1%}" if max(factors) - min(factors) > ALIKE else ""
        said.append(
            f"prices changed by {by} in {book.calendar_month(month)}: {changed:,} of {count_of(of, 'customer')} paid "
            "that much more or less from one month to the next. This is no expansion or contraction"
        )
    return said
