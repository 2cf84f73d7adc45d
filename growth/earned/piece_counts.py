"""What the ledger holds of each piece at the close of a day: counts by day, buyers, and days set aside as robots."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from growth.earned.buyers import Buyer, days_between, read_buyers
from growth.earned.ledger import Ledger
from growth.earned.ledger_format import THOUSANDTHS

ROBOT_SIGN_UPS = 10  # a day with fewer is never set aside
ROBOT_TIMES = 5  # how many times as many as the day's views would bring at the rate of ordinary days
LEAST_VIEWS = 50  # of ordinary days


@dataclass(frozen=True, slots=True, eq=False)
class PieceCounts:
    """One piece as it stood at the close of a day.

    Parameters
    ----------
    name, title, published : from its row; published is year-month-day.
    hours, hourly_rate, other_cost : what it took to make. Money in the ledger's currency.
    views, shares : in all. Views of days set aside are not in it.
    sign_ups_by_day : shape (counted days,), from the day of publishing to the last day for which the ledger has a row
        of any piece. A day without a row counts as 0. Robots are left out.
    waiting_by_day : of them, those who have not bought, shape (counted days,).
    seen : days from publishing to the close of the day, at least the counted days.
    buyers : those who signed up with the piece, by their first purchase.
    uncounted : buyers who signed up with the piece but exceed the sign-ups counted; they are among the sign-ups here.
    rows : days on which the piece has a row.
    robot_days : day (year-month-day) -> sign-ups that look like robots and are left out everywhere: all of that day but
        those who bought.
    """

    name: str
    title: str
    published: str
    hours: float
    hourly_rate: float
    other_cost: float
    views: int
    shares: int
    sign_ups_by_day: np.ndarray
    waiting_by_day: np.ndarray
    seen: int
    buyers: tuple[Buyer, ...] = ()
    uncounted: int = 0
    rows: int = 0
    robot_days: dict[str, int] = field(default_factory=dict)

    @property
    def sign_ups(self) -> int:
        """Sign-ups in all, without robots."""
        return int(self.sign_ups_by_day.sum())

    @property
    def viewers(self) -> int:
        """Views, or sign-ups where fewer views than sign-ups were counted: whoever signed up has seen the piece."""
        return max(self.views, self.sign_ups)

    @property
    def counted_days(self) -> int:
        """Days from publishing to the last day that was counted."""
        return len(self.sign_ups_by_day)

    @property
    def half_came(self) -> int:
        """The day since publishing, from 1, by whose end half of the sign-ups had come; 0 if there are none."""
        if not self.sign_ups:
            return 0
        return int(np.searchsorted(np.cumsum(self.sign_ups_by_day), self.sign_ups / 2)) + 1

    @property
    def cost(self) -> float:
        """Hours at their rate, plus other costs."""
        return self.hours * self.hourly_rate + self.other_cost

    @property
    def paid(self) -> float:
        """What its buyers have paid so far."""
        return sum(buyer.paid for buyer in self.buyers)

    @property
    def contracted(self) -> float:
        """What its buyers have paid and have still to pay in instalments."""
        return sum(buyer.contracted for buyer in self.buyers)


def last_day(ledger: Ledger) -> str | None:
    """The last day with an entry in the ledger, year-month-day; None if it is empty."""
    question = (
        "SELECT max(day) FROM (SELECT max(day) AS day FROM days WHERE replaced IS NULL "
        "UNION ALL SELECT max(bought) FROM buyers WHERE replaced IS NULL "
        "UNION ALL SELECT max(published) FROM pieces WHERE replaced IS NULL)"
    )
    found: str | None = ledger.select(question)[0][0]
    return found


def read_pieces(ledger: Ledger, *, day: str, robots: bool = False) -> list[PieceCounts]:
    """The pieces published by a day (year-month-day), by name, each with what was counted until its close.

    robots: keep the days that look like robots among the counts.

    >>> from growth.earned.ledger_csv import parse_csv
    >>> with Ledger(":memory:", create=True) as ledger:
    ...     done = ledger.record([parse_csv("piece,published\\na,2026-03-02\\n", file="p.csv"),
    ...         parse_csv("piece,day,views,sign_ups\\na,2026-03-03,40,2\\n", file="d.csv")], on="2026-04-01")
    ...     read_pieces(ledger, day="2026-04-01")[0].sign_ups_by_day.tolist()
    [0, 2]
    """
    counts: dict[str, list[_DayRow]] = defaultdict(list)
    question = "SELECT piece, day, views, shares, sign_ups FROM days WHERE replaced IS NULL AND day <= ? ORDER BY day"
    for name, *row in ledger.select(question, (day,)):
        counts[name].append(_DayRow(*row))
    counted_to = max((rows[-1].day for rows in counts.values()), default="")
    buyers: dict[str, list[Buyer]] = defaultdict(list)
    for buyer in read_buyers(ledger, day=day):
        buyers[buyer.piece].append(buyer)
    question = (
        "SELECT piece, title, published, hours, hourly_rate, other_cost FROM pieces "
        "WHERE replaced IS NULL AND published <= ? ORDER BY piece"
    )
    pieces = ledger.select(question, (day,))
    return [_piece(row, counts[row[0]], buyers[row[0]], day, counted_to, robots) for row in pieces]


def looks_like_robots(views: np.ndarray, sign_ups: np.ndarray) -> np.ndarray:
    """Days whose sign-ups look like a robot's, as a Boolean mask.

    They have at least ten sign-ups, and at least five times as many as their views would bring at the rate of ordinary
    days: those that bring at most twice the average. Common practice, no source. Where ordinary days have fewer than 50
    views no day is set aside. views, sign_ups: of each day, shape (days,).

    >>> looks_like_robots(np.array([150, 90, 5]), np.array([4, 5, 60])).tolist()
    [False, False, True]
    """
    average = sign_ups.sum() / max(views.sum(), 1)
    ordinary = sign_ups <= 2 * average * views
    seen = views[ordinary].sum()
    usual = max(sign_ups[ordinary].sum(), 1) / max(seen, 1)
    flood: np.ndarray = (sign_ups >= ROBOT_SIGN_UPS) & (sign_ups >= ROBOT_TIMES * usual * views) & (seen >= LEAST_VIEWS)
    return flood


class _DayRow(NamedTuple):
    """What one day of a piece brought; the day is year-month-day."""

    day: str
    views: int
    shares: int
    sign_ups: int


def _piece(
    row: tuple[Any, ...], counts: list[_DayRow], buyers: list[Buyer], day: str, counted_to: str, robots: bool
) -> PieceCounts:
    name, title, published, hours, rate, other = row
    ages = np.array([days_between(published, one.day) for one in counts], dtype=np.int64)
    views, shares, signed = np.array([one[1:] for one in counts], dtype=np.int64).reshape(-1, 3).T
    # A buyer's sign-up was counted on the nearest day with one that no other buyer has taken: files that count by week,
    # or in another time zone, put it on another day than the buyer's own row.
    free = signed.copy()
    extra = []
    for buyer in buyers:
        age, open_days = days_between(published, buyer.signed_up), np.flatnonzero(free > 0)
        if open_days.size:
            free[open_days[np.abs(ages[open_days] - age).argmin()]] -= 1
        else:
            extra.append(age)
    aside = np.zeros(len(counts), dtype=bool) if robots else looks_like_robots(views, signed)
    by_day = np.zeros(max(days_between(published, counted_to or published), *extra, 0) + 1, dtype=np.int64)
    waiting = np.zeros_like(by_day)
    counted_on = np.maximum(ages, 0)  # sign-ups before the day of publishing count on it
    np.add.at(by_day, counted_on, np.where(aside, signed - free, signed))
    np.add.at(waiting, counted_on, np.where(aside, 0, free))
    np.add.at(by_day, np.maximum(np.array(extra, dtype=np.int64), 0), 1)
    return PieceCounts(
        name=name,
        title=title or name,
        published=published,
        hours=hours,
        hourly_rate=rate / THOUSANDTHS,
        other_cost=other / THOUSANDTHS,
        views=int(views[~aside].sum()),
        shares=int(shares.sum()),
        sign_ups_by_day=by_day,
        waiting_by_day=waiting,
        seen=max(days_between(published, day) + 1, len(by_day)),
        buyers=tuple(buyers),
        uncounted=len(extra),
        rows=len(counts),
        robot_days={counts[place].day: int(free[place]) for place in np.flatnonzero(aside)},
    )
