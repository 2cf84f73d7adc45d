"""Pieces of known truth, as they happen in real businesses: a ledger of three pieces, and what is true of the newest.

Everything is invented. Each kind is a world of its own:

    exponential     sign-ups halve every 15 to 200 days
    power law       (1 + t / s)^-alpha, alpha 0.6 to 1.6, s 2 to 20 days
    trickle         an exponential above a steady trickle of people, 2% to 10% of the first day's level
    bursts          days vary (gamma), and one in fifty starts a burst of five to fifteen times the level
    robots daily    a steady trickle of 0.2 to 1 robots a day, which never buy
    robots at once  two days with 30 to 80 robots and hardly a view
    instalments     each buyer pays six times, monthly; the file says so
    unmarked        the same, and the file does not say so
    launches        nobody buys outside launches, which come every 90 to 180 days
    later buys      a buyer buys again every 400 days on average

5% to 30% of the people buy, 10 to 90 days after signing up on average.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np

from growth.earned.ledger import Ledger
from growth.earned.ledger_format import KINDS, FileRows

KINDS_OF_WORLD = (
    "exponential",
    "power law",
    "trickle",
    "bursts",
    "robots daily",
    "robots at once",
    "instalments",
    "unmarked",
    "launches",
    "later buys",
)
AGES = (15, 30, 60, 100, 150, 365)
PRICES = np.array([240.0, 240.0, 480.0, 900.0])
TODAY = datetime.date(2026, 11, 15)
AHEAD = 365


@dataclass(frozen=True)
class Truth:
    """Of the newest piece, of all its sign-ups so far: their final value and the share that buys in the end; days until
    its sign-ups a day have halved; what its buyers pay in the twelve months to come.
    """

    value: float
    share: float
    halving: float
    next_year: float


@dataclass
class Owner:
    """What the pieces of one owner have in common."""

    kind: str
    share: float
    delay: float
    half_life: float
    alpha: float
    scale: float
    trickle: float
    robots: float
    launches: list[tuple[int, float]]  # day from today, luck


def world(kind: str, age: int, rng: np.random.Generator) -> tuple[Ledger, Truth]:
    """A ledger in memory whose newest piece, "newest", is `age` days old today, and its truth."""
    gap = rng.uniform(90, 180)
    start = -rng.uniform(0, gap) + gap
    days = np.arange(start - 12 * gap, AHEAD, gap) + rng.uniform(-10, 10)
    owner = Owner(
        kind,
        rng.uniform(0.05, 0.3),
        np.exp(rng.uniform(np.log(10), np.log(90))),
        np.exp(rng.uniform(np.log(15), np.log(200))),
        rng.uniform(0.6, 1.6),
        rng.uniform(2, 20),
        rng.uniform(0.02, 0.1) if kind == "trickle" else 0.0,
        rng.uniform(0.2, 1.0) if kind == "robots daily" else 0.0,
        [(round(day), float(np.exp(0.25 * rng.standard_normal()))) for day in days],
    )
    rows: dict[str, list[tuple]] = {"pieces": [], "days": [], "buyers": []}
    truth = None
    for name, old in (("oldest", age + 330), ("older", age + 130), ("newest", age)):
        truth = _piece(name, old, owner, rng, rows)
    ledger = Ledger(":memory:", create=True)
    ledger.record(
        [FileRows(KINDS[of], found, range(len(found)), f"{of}.csv") for of, found in rows.items()], on="2026-11-16"
    )
    return ledger, truth


def _piece(name: str, age: int, owner: Owner, rng: np.random.Generator, rows: dict[str, list[tuple]]) -> Truth:
    kind, t = owner.kind, np.arange(age + AHEAD)
    published = TODAY - datetime.timedelta(days=age - 1)
    half_life = owner.half_life * np.exp(0.3 * rng.standard_normal())
    alpha, scale = owner.alpha * np.exp(0.15 * rng.standard_normal()), owner.scale
    c = min(owner.share * np.exp(0.3 * rng.standard_normal()), 0.6)
    level = np.exp(rng.uniform(np.log(1.5), np.log(8))) * (3 if kind == "power law" else 1)
    mid = t + 0.5
    fading = (1 + mid / scale) ** -alpha if kind == "power law" else 2 ** (-mid / half_life)
    mean = level * (fading + owner.trickle)
    if kind == "bursts":
        lift = np.ones(t.size)
        for day in np.flatnonzero(rng.random(t.size) < 0.02):
            lift[day : day + 4] += rng.uniform(5, 15) * 0.5 ** np.arange(len(lift[day : day + 4]))
        drawn = mean * lift * rng.gamma(2, 0.5, t.size)
    else:
        drawn = mean
    people = rng.poisson(drawn)
    robots = rng.poisson(owner.robots, t.size)
    views = rng.poisson(drawn / 0.06)
    if kind == "robots at once":
        for day in rng.choice(min(age, 60), 2, replace=False):
            robots[day] += rng.integers(30, 80)
            views[day] += 3
    prices = np.repeat(PRICES, 1)
    each = 6 if kind in ("instalments", "unmarked") else 1
    signed = np.repeat(t, people)
    next_year = 0.0
    number = 0
    for day in signed.tolist():
        bought = _buys(day, age, c, owner, rng)
        if bought is None:
            continue
        price = float(rng.choice(prices))
        number += 1
        payments = [(bought + 30.4 * n, price / each) for n in range(each)]
        if kind == "later buys":
            again = bought + 1 + rng.exponential(400)
            while again < age + AHEAD:
                payments.append((again, float(rng.choice(prices))))
                again += 1 + rng.exponential(400)  # never twice on a day
        for when, amount in payments:
            if age <= when < age + AHEAD:
                next_year += amount
            if when < age:
                date = (published + datetime.timedelta(days=int(when))).isoformat()
                since = (published + datetime.timedelta(days=day)).isoformat()
                launch = f"launch {_launch(int(when) - age, owner)}" if kind == "launches" else ""
                stated = 6 if kind == "instalments" else 1
                money = round(amount * 1000)
                rows["buyers"].append((f"{name}{number}", name, since, date, money, launch, "", "", stated))
    rows["pieces"].append((name, name, published.isoformat(), 10.0, 60_000, 0))
    total = people + robots
    for day in range(age):
        if total[day] or views[day]:
            date = (published + datetime.timedelta(days=day)).isoformat()
            rows["days"].append((name, date, int(views[day]), 0, int(total[day])))
    seen = people[:age].sum() + (robots[:age].sum() if kind == "robots daily" else 0)
    final = c * people[:age].sum() / max(seen, 1)
    return Truth(final * float(prices.mean()), final, _halving(mean + owner.robots, age), next_year)


def _buys(day: int, age: int, c: float, owner: Owner, rng: np.random.Generator) -> float | None:
    """The age of the piece at which a sign-up of a day buys; None where it never does."""
    if owner.kind != "launches":
        return day + rng.exponential(owner.delay) if rng.random() < c else None
    chance = c
    for launch, luck in owner.launches:
        start = max(launch + age, day)
        if start > launch + age + 4:
            continue
        if rng.random() < min(chance * luck, 1):
            return rng.integers(start, launch + age + 5)
        chance = 0.4 * c
    return None


def _launch(day: int, owner: Owner) -> int:
    """The number of the launch that a day, counted from today, belongs to."""
    return max(number for number, (start, _) in enumerate(owner.launches) if start <= day)


def _halving(mean: np.ndarray, age: int) -> float:
    below = np.flatnonzero(mean[age:] <= mean[age] / 2)
    return float(below[0]) if below.size else np.inf
