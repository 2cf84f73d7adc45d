"""What each piece earned so far, what it may earn in the next twelve months, and which kind to make next.

Intervals are quantiles of draws that carry everything that is not known: the shape of the fading, the level, the share
who buy, their delay, what they pay, and the chance in the counts to come. Estimates are medians. How often the
intervals hold, over ten kinds of pieces of known truth, is printed by tests/benchmarks/earned.py: 95% to 97% over all
kinds, 94% to 98% for most. The weakest is the next year of a piece with a daily trickle of robots: 93% of 720 pieces
(three seeds, 88% to 96%), nearly always too high when it misses. Between two and five months after publishing little
tells robots from people who take their time.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence

import numpy as np

from growth.earned import decay
from growth.earned.buyers import Buyer, days_between, read_buyers
from growth.earned.conversion import SignUps, delay_evidence, draw, interval_of
from growth.earned.interval import TAILS, Interval, share, sign_up_value
from growth.earned.launch_sales import (
    Exposure,
    LaunchWindow,
    exposure,
    launches_of,
    look_ahead_by_launches,
    sells_in_launches,
)
from growth.earned.ledger import Ledger
from growth.earned.ledger_format import THOUSANDTHS
from growth.earned.outlook import MONTH, Outlook, Purchases, look_ahead
from growth.earned.piece_counts import PieceCounts, last_day, read_pieces
from growth.earned.piece_report import EarningsReport, PieceReport
from growth.errors import MeasureError, Problem

DRAWS = 4_000
MOST_OTHERS = 12  # so many of the newest pieces say what is usual
LEAST_DAYS = 14  # counted since publishing; below, nothing is said of what is to come
LEAST_ROWS = 3  # days with a row of the piece
WATCHED = 60  # days after which a sign-up says how many buy


def report(
    ledger: Ledger, *, day: str | None = None, last: int | None = None, seed: int = 0, robots: bool = False
) -> EarningsReport:
    """Read the pieces of a ledger and what follows from them.

    Parameters
    ----------
    ledger : the ledger, opened.
    day : as things stood at the close of this day, year-month-day; None: the last day that the ledger holds.
    last : the newest so many pieces alone; None: all.
    seed : of the draws.
    robots : keep days that look like robots among the counts.

    Returns
    -------
    EarningsReport

    Raises
    ------
    MeasureError
        No piece is published by then.

    Examples
    --------
    >>> from growth.earned.ledger_csv import parse_csv
    >>> with Ledger(":memory:", create=True) as ledger:
    ...     done = ledger.record([parse_csv("piece,published\\na,2026-03-02\\n", file="pieces.csv")], on="2026-04-01")
    ...     report(ledger).pieces[0].too_early
    True
    """
    day = day or last_day(ledger)
    pieces = read_pieces(ledger, day=day, robots=robots) if day else []
    if day is None or not pieces:
        rule = "a ledger with a piece published by then"
        raise MeasureError([Problem("", rule, day or "an empty ledger", "Import its pieces first.")])
    everyone = read_buyers(ledger, day=day)
    launches = launches_of(everyone, day=day) if sells_in_launches(everyone) else None
    newest = sorted(pieces, key=lambda piece: (piece.published, piece.name), reverse=True)
    usual = newest[:MOST_OTHERS]
    phis = dict(zip([one.name for one in usual], decay.dispersion([one.sign_ups_by_day for one in usual]), strict=True))
    rng = np.random.default_rng(seed)
    shown = newest[:last]
    seen = {one.name: sign_ups_of(one) for one in {*usual, *shown}}
    reports = []
    for piece in shown:
        others = [one for one in usual if one is not piece]
        reports.append(_report(piece, others, seen, phis, everyone, launches, day, rng))
    return EarningsReport(day, ledger.currency, tuple(reports), tuple(everyone))


def sign_ups_of(piece: PieceCounts) -> SignUps:
    """A piece's sign-ups, those who bought and those who wait, as the conversion sees them."""
    ages = [max(days_between(piece.published, buyer.signed_up), 0) + 0.5 for buyer in piece.buyers]
    delays = [float(days_between(buyer.signed_up, buyer.bought)) for buyer in piece.buyers]
    return SignUps.of(ages, delays, piece.waiting_by_day, piece.seen)


def _report(
    piece: PieceCounts,
    others: Sequence[PieceCounts],
    seen: dict[str, SignUps],
    phis: dict[str, float],
    everyone: Sequence[Buyer],
    launches: Sequence[LaunchWindow] | None,
    day: str,
    rng: np.random.Generator,
) -> PieceReport:
    own = seen[piece.name]
    too_early = piece.counted_days < LEAST_DAYS or piece.rows < LEAST_ROWS
    lived = exposure(piece, launches or [])
    no_launch = launches is not None and lived.new == 0
    paid_back = _paid_back(piece)
    told: decay.Decay | None = None
    halving = mean_delay = None
    trickle = robots = 0.0
    outlook = None
    if not too_early:
        phi = phis.get(piece.name) or decay.dispersion([piece.sign_ups_by_day])[0]
        told = decay.fit(piece.sign_ups_by_day, phi=phi, others=[one.sign_ups_by_day for one in others])
        since_first = [days_between(buyer.bought, day) for buyer in everyone]
        purchases = Purchases.of(piece.buyers, everyone, ages=since_first)
        if launches is not None:
            shape = rng.choice(told.weights.size, DRAWS, p=told.weights)
            if not no_launch:
                all_lived = [exposure(one, launches) for one in [piece, *others]]
                total = Exposure(*(sum(getattr(one, name) for one in all_lived) for name in Exposure.__slots__))
                outlook = look_ahead_by_launches(
                    piece, own, told, lived, total, launches, purchases, day=day, size=DRAWS, rng=rng
                )
        else:
            evidence = [delay_evidence(seen[one.name]) for one in others if seen[one.name].total]
            drawn = draw(
                own,
                told,
                size=DRAWS,
                rng=rng,
                delays=np.sum(evidence, axis=0) if evidence else None,
                others=_watched([seen[one.name] for one in others]),
            )
            shape = drawn.shape
            outlook = look_ahead(own, told, drawn, purchases, seen=piece.seen, buyers=piece.buyers, rng=rng)
            mean_delay = interval_of(drawn.delay) if piece.buyers or evidence else None
            robots = float(np.mean(drawn.robots))
        halving = _halving(shape, piece)
        trickle = _trickle(piece, shape)
        if not everyone:
            outlook = None
    return PieceReport(
        piece=piece,
        sign_up_share=share(count=piece.sign_ups, of=piece.viewers),
        bought_share=share(count=len(piece.buyers), of=piece.sign_ups),
        value_so_far=sign_up_value(amounts=np.array([one.paid for one in piece.buyers]), sign_ups=piece.sign_ups),
        too_early=too_early,
        in_launches=launches is not None,
        no_launch=no_launch,
        final_share=interval_of(outlook.final_share) if outlook else None,
        sign_up_value=interval_of(outlook.sign_up_value) if outlook else None,
        mean_delay=mean_delay,
        halving=halving,
        fading=told,
        trickle=trickle,
        robots=robots,
        next_year=interval_of(outlook.next_year) if outlook else None,
        paid_back=paid_back,
        pays_back=None if paid_back or not outlook else _pays_back(piece, outlook, day),
        outlook=outlook,
        seen=own,
    )


def _watched(others: Sequence[SignUps]) -> tuple[float, float]:
    """Buyers and sign-ups of other pieces, of sign-ups that have been watched for long."""
    buyers = sum(float(len(one.delay)) for one in others)
    waiting = sum(float(one.count[one.watched > WATCHED].sum()) for one in others)
    return buyers, buyers + waiting


def _halving(shape: np.ndarray, piece: PieceCounts) -> Interval | None:
    if not piece.sign_ups:
        return None
    days = np.minimum(decay.halving(shape, float(piece.seen)), decay.LONGEST)
    low, value, high = (
        float(np.inf if end >= 0.95 * decay.LONGEST else end) for end in np.quantile(days, (TAILS[0], 0.5, TAILS[1]))
    )
    return Interval(value, low, high)


def _trickle(piece: PieceCounts, shape: np.ndarray) -> float:
    """Sign-ups a day of the steady trickle, the median; 0 where most of the draws have none."""
    grid = decay.shapes()
    level = piece.sign_ups / grid.total(piece.counted_days)
    return float(np.median((level * grid.trickle)[shape]))


def _paid_back(piece: PieceCounts) -> str | None:
    """The month in which the sums paid first reached the cost; the month of publishing where it cost nothing."""
    if piece.cost <= 0:
        return piece.published[:7]
    total = 0
    for day, amount in sorted((payment.day, payment.amount) for buyer in piece.buyers for payment in buyer.payments):
        total += amount
        if total >= round(piece.cost * THOUSANDTHS):
            return day[:7]
    return None


def _pays_back(piece: PieceCounts, outlook: Outlook, day: str) -> str | None:
    """The first of the next twelve months by whose end the cost is reached in half of the draws."""
    expected = piece.paid + np.median(outlook.expected_by_month, axis=1)
    reached = np.flatnonzero(expected >= piece.cost)
    if not reached.size:
        return None
    days = round((int(reached[0]) + 1) * MONTH)
    return (datetime.date.fromisoformat(day) + datetime.timedelta(days=days)).isoformat()[:7]
