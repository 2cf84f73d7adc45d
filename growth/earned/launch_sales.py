"""Pieces of an owner who sells in launches: what their sign-ups buy at the first launch they live through and later.

Sales that come in launches say nothing of a sign-up that has not lived through one. A launch is the days from the first
to the last sale that carry its name. Launches differ in how well they sell, by a quarter either way (a log-normal
spread of 0.25), and come as far apart as they did so far; both are assumptions, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from growth.earned.buyers import Buyer, days_between
from growth.earned.conversion import SignUps
from growth.earned.decay import YEAR, Decay, shapes
from growth.earned.outlook import MONTH, Outlook, Purchases, due_within
from growth.earned.piece_counts import PieceCounts

IN_LAUNCHES = 0.8  # from this share of buyers on, sales are taken to come in launches
SPREAD = 0.25
ENOUGH_EXPOSED = 50
STILL_RUNS = 7  # days without a sale after which a launch is over
_LIKE_OTHERS = 12.0  # sign-ups that the other pieces' share counts for


@dataclass(frozen=True, slots=True)
class LaunchWindow:
    """A launch: its name, its first and its last sale, year-month-day."""

    name: str
    first: str
    last: str


@dataclass(frozen=True, slots=True)
class Exposure:
    """Sign-ups of a piece that lived through launches, and those of them who bought there.

    new, new_bought: at the first launch after the sign-up. old, old_bought: at later ones, of those who had not bought.
    launches: how many the piece has seen.
    """

    new: int
    new_bought: int
    old: int
    old_bought: int
    launches: int


def launches_of(buyers: Sequence[Buyer], *, day: str) -> list[LaunchWindow]:
    """The launches among the payments, by first sale; one with a sale in the last week before `day` still runs."""
    days: dict[str, list[str]] = {}
    for buyer in buyers:
        for place, payment in enumerate(buyer.payments):
            if payment.launch and (place == 0 or payment.launch != buyer.payments[place - 1].launch):
                days.setdefault(payment.launch, []).append(payment.day)
    found = [
        LaunchWindow(name, min(of), max(of)) for name, of in days.items() if days_between(max(of), day) >= STILL_RUNS
    ]
    return sorted(found, key=lambda launch: (launch.first, launch.name))


def sells_in_launches(buyers: Sequence[Buyer]) -> bool:
    """Whether at least four in five buyers first bought in a launch."""
    return bool(buyers) and sum(bool(buyer.launch) for buyer in buyers) >= IN_LAUNCHES * len(buyers)


def exposure(piece: PieceCounts, launches: Sequence[LaunchWindow]) -> Exposure:
    """The sign-ups of a piece that lived through launches, from the day of publishing on."""
    found = np.zeros(4, dtype=np.int64)
    since = [launch for launch in launches if launch.last >= piece.published]
    before = -1  # the age at which the last launch ended
    for launch in since:
        last = days_between(piece.published, launch.last)
        new = int(piece.sign_ups_by_day[before + 1 : last + 1].sum())
        earlier = [buyer for buyer in piece.buyers if buyer.bought < launch.first]
        old = int(piece.sign_ups_by_day[: before + 1].sum()) - sum(
            days_between(piece.published, buyer.signed_up) <= before for buyer in earlier
        )
        bought = [buyer for buyer in piece.buyers if buyer.launch == launch.name]
        is_new = [days_between(piece.published, buyer.signed_up) > before for buyer in bought]
        found += (new, sum(is_new), max(old, 0), len(bought) - sum(is_new))
        before = last
    new, new_bought, old, old_bought = (int(value) for value in found)
    return Exposure(max(new, new_bought), new_bought, max(old, old_bought), old_bought, len(since))


def look_ahead_by_launches(
    piece: PieceCounts,
    sign_ups: SignUps,
    decay: Decay,
    own: Exposure,
    all_pieces: Exposure,
    launches: Sequence[LaunchWindow],
    purchases: Purchases,
    *,
    day: str,
    size: int,
    rng: np.random.Generator,
) -> Outlook:
    """Draw the next twelve months, from a day on (year-month-day), of a piece of an owner who sells in launches.

    own, all_pieces: its exposure to launches, and that of all pieces in sum. launches: all of the ledger. In the
    outlook `sign_up_value` and `final_share` are those of the first launch after a sign-up.
    """
    spread = np.exp(SPREAD / np.sqrt(max(own.launches, 1)) * rng.standard_normal(size))
    usual = (all_pieces.new_bought - own.new_bought + 0.5) / (all_pieces.new - own.new + 4.0)
    like = _LIKE_OTHERS * (rng.random(size) < 0.5) * (all_pieces.new > own.new)  # half of the prior follows the others
    bought, not_bought = own.new_bought + 0.7 + like * usual, own.new - own.new_bought + 5.0 + like * (1 - usual)
    first = np.minimum(rng.beta(bought, not_bought) * spread, 1.0)
    known = own if own.old >= ENOUGH_EXPOSED else all_pieces
    if known.old:
        later = rng.beta(known.old_bought + 0.5, known.old - known.old_bought + 2.0, size)
    else:
        later = first * rng.random(size)
    later = np.minimum(later, 1.0)

    shape = shapes().at(rng.choice(decay.weights.size, size, p=decay.weights))
    counted = shape.total(decay.days)
    level = rng.gamma((sign_ups.total + 0.5) / decay.dispersion, decay.dispersion, size) / counted

    def signed(age: np.ndarray | float) -> np.ndarray:
        return level * shape.total(age)

    last_end = days_between(piece.published, launches[-1].last)
    fresh = float(piece.sign_ups_by_day[last_end + 1 :].sum()) + np.zeros(size)
    stale = float(piece.waiting_by_day[: last_end + 1].sum()) + np.zeros(size)
    counted_to = signed(float(decay.days))
    ago = days_between(launches[-1].first, day)
    starts = np.array([days_between(launches[0].first, launch.first) for launch in launches])
    gap = float(np.mean(np.diff(starts))) if len(starts) > 1 else 180.0
    width = 0.3 if len(starts) > 1 else 0.6
    when = np.maximum(gap * np.exp(width * rng.standard_normal(size)) - ago, 7 * rng.random(size))
    mean = purchases.mean_draws(size, rng)
    by_month, expected = np.zeros((12, size)), np.zeros((12, size))
    base = counted_to
    while (when < YEAR).any():
        now = np.where(when < YEAR, 1.0, 0.0)
        until = signed(piece.seen + np.minimum(when, YEAR))
        fresh = fresh + np.maximum(until - base, 0) * now
        base = np.where(now > 0, until, base)
        luck = np.exp(SPREAD * rng.standard_normal(size))
        sold_new, sold_old = fresh * np.minimum(first * luck, 1), stale * np.minimum(later * luck, 1)
        month = np.minimum(when // MONTH, 11).astype(int)
        where = now > 0
        np.add.at(by_month, (month[where], np.flatnonzero(where)), rng.poisson((sold_new + sold_old)[where]))
        np.add.at(expected, (month[where], np.flatnonzero(where)), (sold_new + sold_old)[where])
        stale = np.where(where, stale - sold_old + fresh - sold_new, stale)
        fresh = np.where(where, 0.0, fresh)
        when = when + gap * np.exp(0.3 * rng.standard_normal(size))
    count = by_month.sum(axis=0)
    noise = np.sqrt(count) * (np.std(purchases.first) if purchases.first.size else 0.0) * rng.standard_normal(size)
    amount = np.maximum(mean * (purchases.paid_within(12) @ by_month) + noise, 0)
    return Outlook(
        next_year=amount + due_within(piece.buyers, 12),
        expected_by_month=purchases.paid_by_month(mean, expected, piece.buyers),
        first_year=signed(float(YEAR)) * first * mean,
        sign_up_value=first * mean,
        mean_amount=mean,
        final_share=first,
        late=np.zeros((0, size)),
    )
