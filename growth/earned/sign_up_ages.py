"""The value of a sign-up by its age: what sign-ups of so many days paid, and what late buyers will still bring."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from growth.earned.conversion import interval_of
from growth.earned.interval import Interval
from growth.earned.piece_counts import days_between
from growth.earned.piece_report import PieceReport

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
    pieces
        Of a report; their sign-ups are taken together.
    day
        The report's day, year-month-day.

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
