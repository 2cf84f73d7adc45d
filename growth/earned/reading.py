"""What the ledger holds of each piece, added up as it stood at the close of a day."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from growth.earned.columns import THOUSANDTHS
from growth.earned.ledger import Ledger


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One piece's counts.

    views, shares, sign_ups: in all. viewers: the views that a rate can be taken of: at least the sign-ups, since
    whoever signed up has seen the piece, even where the count of views missed it. sign_ups_by_day: from the day of
    publishing on. amounts: what each buyer paid in all, in order of their first purchase. delays: days from sign-up to
    first purchase of each buyer. waiting: days seen -> sign-ups that have not bought. payments: (day, thousandths) in
    order of the day.
    """

    name: str
    title: str
    published: str
    hours: float
    hourly_rate: float
    other_cost: float
    views: int
    shares: int
    sign_ups: int
    sign_ups_by_day: np.ndarray
    amounts: np.ndarray
    delays: np.ndarray
    waiting: dict[int, int]
    payments: tuple[tuple[str, int], ...]

    @property
    def buyers(self) -> int:
        """How many of its sign-ups have bought."""
        return len(self.amounts)

    @property
    def viewers(self) -> int:
        """Views, or sign-ups where fewer views than sign-ups were counted."""
        return max(self.views, self.sign_ups)


def last_day(ledger: Ledger) -> str | None:
    """The last day on which the ledger holds anything, year-month-day; None for an empty one."""
    question = (
        "SELECT max(day) FROM (SELECT max(day) AS day FROM days WHERE replaced IS NULL "
        "UNION ALL SELECT max(bought) FROM buyers WHERE replaced IS NULL "
        "UNION ALL SELECT max(published) FROM pieces WHERE replaced IS NULL)"
    )
    return ledger.select(question)[0][0]


def read_pieces(ledger: Ledger, *, day: str) -> list[Piece]:
    """The pieces published by a day, each with what was counted until its close."""
    now = "FROM days WHERE replaced IS NULL AND day <= ?"
    seen = ledger.select(f"SELECT piece, sum(views), sum(shares) {now} GROUP BY piece", (day,))
    views = {name: (total, shared) for name, total, shared in seen}
    sign_ups: dict[str, dict[str, int]] = {}
    for name, when, signed in ledger.select(f"SELECT piece, day, sign_ups {now} AND sign_ups > 0", (day,)):
        sign_ups.setdefault(name, {})[when] = signed
    sales: dict[str, list[tuple]] = {}
    question = (
        "SELECT piece, buyer, signed_up, bought, amount FROM buyers "
        "WHERE replaced IS NULL AND piece <> '' AND bought <= ? ORDER BY bought, buyer"
    )
    for name, *sale in ledger.select(question, (day,)):
        sales.setdefault(name, []).append(tuple(sale))
    pieces = ledger.select(
        "SELECT piece, title, published, hours, hourly_rate, other_cost FROM pieces WHERE replaced IS NULL "
        "AND published <= ?",
        (day,),
    )
    return [
        _piece(row, views.get(row[0], (0, 0)), sign_ups.get(row[0], {}), sales.get(row[0], []), day) for row in pieces
    ]


def _piece(row: tuple, seen: tuple[int, int], sign_ups: dict[str, int], sales: list[tuple], day: str) -> Piece:
    name, title, published, hours, rate, other = row
    first: dict[str, tuple[str, str]] = {}
    paid: dict[str, int] = {}
    for buyer, signed_up, bought, amount in sales:
        first.setdefault(buyer, (signed_up, bought))
        paid[buyer] = paid.get(buyer, 0) + amount
    waiting = dict(sign_ups)
    for signed_up, _ in first.values():  # a buyer is a sign-up even where the day's count missed it
        if waiting.get(signed_up, 0) > 0:
            waiting[signed_up] -= 1
        else:
            sign_ups = {**sign_ups, signed_up: sign_ups.get(signed_up, 0) + 1}
    by_day = np.zeros(max(_days(published, day) + 1, 1), dtype=np.int64)
    for when, count in sign_ups.items():  # sign-ups before the day of publishing count on it
        by_day[max(_days(published, when), 0)] += count
    watched: dict[int, int] = {}
    for when, count in waiting.items():
        if count:
            watched[_days(when, day)] = watched.get(_days(when, day), 0) + count
    return Piece(
        name=name,
        title=title or name,
        published=published,
        hours=hours,
        hourly_rate=rate / THOUSANDTHS,
        other_cost=other / THOUSANDTHS,
        views=seen[0],
        shares=seen[1],
        sign_ups=int(by_day.sum()),
        sign_ups_by_day=by_day,
        amounts=np.array([amount / THOUSANDTHS for amount in paid.values()]),
        delays=np.array([_days(*span) for span in first.values()], dtype=float),
        waiting=watched,
        payments=tuple((sale[2], sale[3]) for sale in sales),
    )


def _days(start: str, end: str) -> int:
    return _ordinal(end) - _ordinal(start)


@lru_cache(maxsize=10_000)
def _ordinal(day: str) -> int:
    return datetime.date.fromisoformat(day).toordinal()
