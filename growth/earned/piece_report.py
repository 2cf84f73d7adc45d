"""What the ledger says of a piece, of all of them, of two side by side, and of sign-ups by their age."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from growth.earned.buyers import Buyer, days_between
from growth.earned.conversion import SignUps, interval_of
from growth.earned.decay import Decay
from growth.earned.interval import Interval, difference, sure_higher
from growth.earned.outlook import Outlook
from growth.earned.piece_counts import PieceCounts


@dataclass(frozen=True, slots=True, eq=False)
class PieceReport:
    """One piece. Amounts are in the ledger's currency, shares are fractions, and intervals are at `interval.LEVEL`.

    Parameters
    ----------
    piece : its counts.
    sign_up_share, bought_share : of the views, signed up; of the sign-ups, have bought so far.
    value_so_far : paid so far per sign-up; None without one.
    too_early : fewer than 14 days since publishing are counted, or fewer than three of them have a row.
    in_launches : the owner's sales come in launches; `final_share` and `sign_up_value` are those of a sign-up's first
        launch.
    no_launch : so they do, and none has happened since the piece came out.
    final_share, sign_up_value : of the sign-ups, buy in the end; what a sign-up is worth then. None where `too_early`
        or `no_launch`.
    mean_delay : days from sign-up to purchase; None where the above are, and where sales come in launches.
    halving : days until the sign-ups a day are half of today's; infinite where they never are. None where `too_early`.
    fading : what the days tell of the shape of its fading; None where `too_early`.
    trickle : sign-ups a day of the steady trickle, and `robots`, how likely it never buys; 0 where there is no sign of
        one.
    next_year : what twelve more months bring: the amount itself, chance included. None as `sign_up_value`.
    paid_back, pays_back : the month (year-month) in which what was paid first reached the cost, None where it has not;
        the month in which it is expected to, None where it is not within twelve months.
    outlook : the draws; None where `next_year` is.
    seen : the sign-ups as the conversion sees them.
    """

    piece: PieceCounts
    sign_up_share: Interval
    bought_share: Interval
    value_so_far: float | None
    too_early: bool
    in_launches: bool
    no_launch: bool
    final_share: Interval | None
    sign_up_value: Interval | None
    mean_delay: Interval | None
    halving: Interval | None
    fading: Decay | None
    trickle: float
    robots: float
    next_year: Interval | None
    paid_back: str | None
    pays_back: str | None
    outlook: Outlook | None
    seen: SignUps

    @property
    def first_year(self) -> np.ndarray:
        """Draws of what a first year of sign-ups of a piece like it brings, shape (draws,); 0 without an outlook."""
        return np.zeros(1) if self.outlook is None else self.outlook.first_year

    @property
    def hourly(self) -> float | None:
        """Paid so far less other costs, per hour of making; None without hours."""
        return (self.piece.paid - self.piece.other_cost) / self.piece.hours if self.piece.hours else None


@dataclass(frozen=True, slots=True, eq=False)
class EarningsReport:
    """The pieces of a ledger, newest first, as they stood at the close of `day`."""

    day: str
    currency: str
    pieces: tuple[PieceReport, ...]
    buyers: tuple[Buyer, ...]

    def chances_of_best(self) -> dict[str, float]:
        """For each piece whose outlook is known, how likely it is that a next one like it earns the most.

        Per hour of making, its cost taken off; where hours are missing, the first year itself. By the piece's name; the
        values add to 1. Empty where fewer than two can be compared.
        """
        known = [one for one in self.pieces if one.outlook is not None]
        if len(known) < 2:
            return {}
        hours = [one.piece.hours for one in known]
        scale = hours if all(hours) else [1.0] * len(hours)
        gains = np.array([(one.first_year - one.piece.cost) / hour for one, hour in zip(known, scale, strict=True)])
        best = gains.argmax(axis=0)
        return {one.piece.name: float(np.mean(best == place)) for place, one in enumerate(known)}


@dataclass(frozen=True, slots=True)
class PieceComparison:
    """Piece a against piece b: the probability that a is better (0 to 1), and a minus b with its interval.

    sign_ups: of the readers, sign up. buyers: of the sign-ups, have bought by now. sign_up_value: what a sign-up is
    worth in the end. first_year: a first year of sign-ups, less the cost. The last two are None where an outlook is
    missing.
    """

    sign_ups: tuple[float, Interval]
    buyers: tuple[float, Interval]
    sign_up_value: tuple[float, Interval] | None
    first_year: tuple[float, Interval] | None


def compare(a: PieceReport, b: PieceReport) -> PieceComparison:
    """The probability that piece a is better than piece b, and by how much.

    Parameters
    ----------
    a, b : of one report.

    Returns
    -------
    PieceComparison
        Differences of shares by the score test (`growth.earned.interval.difference`), of money by the draws.

    Examples
    --------
    >>> from growth.earned import Ledger, report
    >>> from growth.earned.ledger_csv import parse_csv
    >>> pieces = "piece,published\\na,2026-03-01\\nb,2026-03-01\\n"
    >>> days = "piece,day,views,sign_ups\\na,2026-03-02,100,20\\nb,2026-03-02,100,5\\n"
    >>> with Ledger(":memory:", create=True) as ledger:
    ...     done = ledger.record([parse_csv(text, file="x.csv") for text in (pieces, days)], on="2026-04-01")
    ...     a, b = report(ledger).pieces
    >>> compare(b, a).sign_ups[0] > 0.99
    True
    """
    one, two = a.piece, b.piece
    bought = {"count_a": len(one.buyers), "of_a": one.sign_ups, "count_b": len(two.buyers), "of_b": two.sign_ups}
    signed = {"count_a": one.sign_ups, "of_a": one.viewers, "count_b": two.sign_ups, "of_b": two.viewers}
    value = first_year = None
    if a.outlook is not None and b.outlook is not None:
        value = _ahead(a.outlook.sign_up_value - b.outlook.sign_up_value)
        first_year = _ahead(a.first_year - one.cost - b.first_year + two.cost)
    return PieceComparison(
        (sure_higher(**signed), difference(**signed)), (sure_higher(**bought), difference(**bought)), value, first_year
    )


def _ahead(gain: np.ndarray) -> tuple[float, Interval]:
    return float(np.mean(gain > 0) + np.mean(gain == 0) / 2), interval_of(gain)


BANDS = ((0, 30), (31, 90), (91, 180), (181, 365), (366, None))


@dataclass(frozen=True, slots=True)
class AgeBand:
    """Sign-ups of an age, in days since they signed up; `oldest` None: no limit.

    paid, contracted: so far per sign-up, without and with instalments still due. in_the_end: with late buyers too; None
    where nothing can be said of them.
    """

    youngest: int
    oldest: int | None
    sign_ups: int
    buyers: int
    paid: float
    contracted: float
    in_the_end: Interval | None


def value_by_age(pieces: Sequence[PieceReport], *, day: str) -> list[AgeBand]:
    """The bands that hold a sign-up, the youngest first.

    Parameters
    ----------
    pieces : of a report; their sign-ups are taken together.
    day : the report's day, year-month-day.

    Returns
    -------
    list of AgeBand

    Examples
    --------
    >>> value_by_age([], day="2026-11-15")
    []
    """
    bands = []
    for youngest, oldest in BANDS:
        top = np.inf if oldest is None else oldest
        waiting, paid, contracted, count = 0.0, 0.0, 0.0, 0
        late: np.ndarray | float | None = 0.0
        for one in pieces:
            inside = (one.seen.watched >= youngest) & (one.seen.watched < top + 1)
            waiting += float(one.seen.count[inside].sum())
            for buyer in one.piece.buyers:
                if youngest <= days_between(buyer.signed_up, day) <= top:
                    paid, contracted, count = paid + buyer.paid, contracted + buyer.contracted, count + 1
            if not inside.any():
                continue
            if one.outlook is None or one.in_launches or late is None:
                late = None
            else:
                late = late + one.outlook.late[inside].sum(axis=0) * one.outlook.mean_amount
        total = count + round(waiting)
        if total:
            end = None if late is None else interval_of((contracted + np.atleast_1d(late)) / total)
            bands.append(AgeBand(youngest, oldest, total, count, paid / total, contracted / total, end))
    return bands
