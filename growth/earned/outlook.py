"""What is still to come of a piece whose buyers come at any time: equally likely draws of the next twelve months."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from growth.earned.buyers import Buyer
from growth.earned.conversion import ConversionDraws, SignUps
from growth.earned.decay import YEAR, Decay, shapes
from growth.earned.interval import mean_amount_slices

MONTH = YEAR / 12
ENOUGH_BUYERS = 5  # from so many on a piece's own amounts are used; below, those of all the pieces too


@dataclass(frozen=True, slots=True, eq=False)
class Purchases:
    """What buyers pay.

    first: the agreed amount of each buyer's first purchase, and instalments: its number of payments, shape (buyers,).
    later: agreed amounts of later purchases of all buyers of the ledger; buyer_days: days since the first purchase, of
    all of them.
    """

    first: np.ndarray
    instalments: np.ndarray
    later: np.ndarray
    buyer_days: float

    @classmethod
    def of(cls, own: Sequence[Buyer], everyone: Sequence[Buyer], *, ages: Sequence[int]) -> Purchases:
        """From a piece's own buyers, or from all if it has few. ages: days since each one's first purchase."""
        used = own if len(own) >= ENOUGH_BUYERS else [*own, *(one for one in everyone if one not in own)]
        return cls(
            np.array([buyer.first for buyer in used]),
            np.array([buyer.instalments for buyer in used]),
            np.array([amount for buyer in everyone for amount in buyer.later]),
            float(sum(ages)),
        )

    def paid_within(self, months: int) -> np.ndarray:
        """Share of an agreed amount that is paid by the end of each of so many months, by the month of purchase.

        Shape (months,): a purchase in month j (0, 1, ...) has months - j payments within them.
        """
        if not self.first.size:
            return np.ones(months)
        left = months - np.arange(months)
        share = np.minimum(self.instalments, left[:, None]) / self.instalments
        found: np.ndarray = share @ self.first / self.first.sum()
        return found

    def mean_draws(self, size: int, rng: np.random.Generator) -> np.ndarray:
        """Equally likely values of what a buyer agrees to pay, in random order, shape (size,); 0 without purchases."""
        return rng.permutation(mean_amount_slices(self.first, size) if self.first.size else np.zeros(size))

    def paid_by_month(self, mean: np.ndarray, sold: np.ndarray, buyers: Sequence[Buyer]) -> np.ndarray:
        """Paid by the end of each of twelve months by new buyers, and by these in instalments; shape (12, draws).

        mean: what a new buyer agrees to pay, shape (draws,). sold: how many buy in each month, shape (12, draws).
        """
        months = range(1, 13)
        return np.array([mean * (self.paid_within(m) @ sold[:m]) + due_within(buyers, m) for m in months])


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """Equally likely draws, shape (draws,) each, in the ledger's currency where they are money.

    Parameters
    ----------
    next_year : what the next twelve months bring, chance included.
    expected_by_month : expected by the end of each of the next twelve months, shape (12, draws).
    first_year : expected of a first year of sign-ups of a piece like it, all of whose buyers have come.
    sign_up_value : of a sign-up, in the end.
    mean_amount : agreed by a buyer.
    final_share : of the sign-ups, buy in the end.
    late : buyers still to come in the end, chance included, of each group of waiting sign-ups, shape (groups, draws).
    """

    next_year: np.ndarray
    expected_by_month: np.ndarray
    first_year: np.ndarray
    sign_up_value: np.ndarray
    mean_amount: np.ndarray
    final_share: np.ndarray
    late: np.ndarray


def due_within(buyers: Sequence[Buyer], months: int) -> float:
    """The instalments that are due from these buyers within so many months."""
    return sum(sum(buyer.due[:months]) for buyer in buyers)


def look_ahead(
    sign_ups: SignUps,
    decay: Decay,
    drawn: ConversionDraws,
    purchases: Purchases,
    *,
    seen: int,
    buyers: Sequence[Buyer],
    rng: np.random.Generator,
) -> Outlook:
    """Draw the next twelve months of a piece with these buyers.

    seen: days from publishing to now. Sign-ups of days that were not counted any more are taken to have come.
    """
    size = drawn.shape.size
    grid = shapes()
    trickle = grid.trickle[drawn.shape]
    buying = np.where(drawn.robots, 0.0, trickle)  # the part of the trickle that can buy
    phi = decay.dispersion
    counted = grid.total(decay.days)[drawn.shape]
    level = rng.gamma((sign_ups.total + 0.5) / phi, phi, size) / counted

    edges = np.concatenate([np.arange(decay.days, seen + YEAR, 7.0), [seen + YEAR]])
    whole = grid.until(edges[:, None])[:, drawn.shape] + buying * edges[:, None]
    new = level * np.diff(whole, axis=0)  # sign-ups to come that can buy, shape (weeks, draws)
    new_total = np.maximum(new.sum(axis=0), 1e-12)
    spread = rng.gamma(new_total / max(phi - 1, 1e-6), max(phi - 1, 1e-6)) / new_total if phi > 1.001 else 1.0

    ends = seen + MONTH * np.arange(13)  # of the next twelve months, as ages of the piece
    middles = (edges[:-1] + edges[1:]) / 2
    bought = -np.expm1(-np.maximum(ends[:, None, None] - middles[:, None], 0) / drawn.delay)  # (13, weeks, draws)
    by_new = drawn.share * np.einsum("wd,mwd->md", new, np.diff(bought, axis=0))

    people = _people(drawn, sign_ups.waiting_age)
    still = np.exp(-sign_ups.watched[:, None] / drawn.delay)  # of those who buy, not yet
    c = drawn.share * people
    eventually = c * still / (1 - c * (1 - still))  # of those who wait, buy in the end, shape (groups, draws)
    soon = -np.expm1(-(ends - seen)[:, None] / drawn.delay)  # (13, draws)
    by_waiting = np.diff(soon, axis=0) * (sign_ups.count @ eventually)

    mean = purchases.mean_draws(size, rng)
    count_new = rng.poisson(by_new.sum(axis=0) * spread)
    count_waiting = binomials(sign_ups.count, eventually * soon[-1], rng)
    count = count_new + count_waiting
    amount = count * mean
    if purchases.first.size:
        noise = np.sqrt(count) * np.std(purchases.first) * rng.standard_normal(size)
        amount = np.maximum(amount + noise, count * purchases.first.min())
    by_month = by_new + by_waiting
    whole_year = by_month.sum(axis=0)
    paid_share = purchases.paid_within(12) @ by_month
    paid_share = np.divide(paid_share, whole_year, out=np.ones(size), where=whole_year > 1e-12)
    again, again_expected = _again(purchases, len(buyers), count, rng)
    later = again_expected * np.arange(1, 13)[:, None] / 12
    first = level * (grid.until(YEAR)[drawn.shape] + buying * YEAR) * drawn.share * mean
    average = _average_share(sign_ups, drawn)
    return Outlook(
        next_year=amount * paid_share + due_within(buyers, 12) + again,
        expected_by_month=purchases.paid_by_month(mean, by_month, buyers) + later,
        first_year=first,
        sign_up_value=average * mean,
        mean_amount=mean,
        final_share=average,
        late=rng.binomial(sign_ups.count[:, None].astype(np.int64), eventually).astype(float),
    )


def binomials(counts: np.ndarray, chances: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Draws of the sum of binomial counts, as one binomial of the same mean and nearly the same variance.

    counts: shape (groups,). chances: shape (groups, draws). Returns shape (draws,). Source: Ehm (1991), Statistics &
    Probability Letters 11, 7-16.
    """
    mean, square = counts @ chances, counts @ chances**2
    trials = np.maximum(np.ceil(mean**2 / np.maximum(square, 1e-300)), 1).astype(np.int64)
    return rng.binomial(trials, np.clip(mean / trials, 0.0, 1.0))


def _people(drawn: ConversionDraws, ages: np.ndarray) -> np.ndarray:
    """Share of the sign-ups at each age that is not a robots' trickle, shape (ages, draws)."""
    grid = shapes()
    fading = grid.rate(ages[:, None])[:, drawn.shape]
    found: np.ndarray = np.where(drawn.robots, fading / (fading + grid.trickle[drawn.shape]), 1.0)
    return found


def _average_share(sign_ups: SignUps, drawn: ConversionDraws) -> np.ndarray:
    """Of all the sign-ups so far, robots' trickle included, the share that buys in the end; shape (draws,)."""
    ages = np.concatenate([sign_ups.age, sign_ups.waiting_age])
    counts = np.concatenate([np.ones(len(sign_ups.age)), sign_ups.count])
    if not counts.sum():
        return drawn.share
    found: np.ndarray = drawn.share * (counts @ _people(drawn, ages)) / counts.sum()
    return found


def _again(
    purchases: Purchases, buyers: int, new: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Later purchases in the next year of the piece's buyers and, for half of it, of new ones: draws, and expected.

    At the rate at which all buyers of the ledger came back so far, a gamma rate with Poisson counts. None so far: none.
    """
    count = purchases.later.size
    if not count or purchases.buyer_days <= 0:
        return np.zeros(new.size), np.zeros(new.size)
    rate = rng.gamma(count, 1 / purchases.buyer_days, new.size) * YEAR
    mean = rate * (buyers + new / 2)
    times = rng.poisson(mean)
    spread = np.sqrt(times) * np.std(purchases.later) * rng.standard_normal(new.size)
    amount = np.maximum(times * purchases.later.mean() + spread, times * purchases.later.min())
    return amount, mean * purchases.later.mean()
