"""How often the intervals of `growth earned` hold the true value, and how fast a large ledger answers.

    python tests/benchmarks/earned.py [runs]

Every line prints a share that should be near 0.95. The difference of two shares is summed exactly, over all counts;
for the others true values are drawn anew in each run, so that this is the expected coverage: the discrete counts make
it vary about that for single values. The worth of the next twelve months is simulated on a grid: seen for 30, 60, 120
and 365 days, half-lives of 15, 60 and 200 days, 1 and 5 sign-ups on the first day; 5% to 30% of them buy, 10 to 90
days later on average. Where hardly anything is still to come (365 days seen, half-life 15) the interval is 0 to 0 and
holds.
"""

from __future__ import annotations

import datetime
import itertools
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from scipy import stats

from growth.earned import fading, late
from growth.earned.columns import KINDS, Batch
from growth.earned.interval import Interval, difference, share, sign_up_value, sure_higher
from growth.earned.ledger import Ledger
from growth.earned.reading import Piece
from growth.earned.worth import ENOUGH_BUYERS, _Future, report

PRICES = np.array([240.0, 240.0, 480.0, 900.0])  # a price list, invented


def holds(interval: Interval, value: float) -> bool:
    return interval.low <= value <= interval.high


def shares(rng, of: int) -> bool:
    p = rng.uniform(0.01, 0.3)
    return holds(share(count=int(rng.binomial(of, p)), of=of), p)


def differences(of_a: int, of_b: int) -> np.ndarray:
    """Exact coverage for each pair of shares of 1% to 20%, shape (400,). Counts rarer than 1e-6 are left out."""
    shares, of = np.linspace(0.01, 0.2, 20), (of_a, of_b)
    counts = [np.arange(stats.binom.ppf(1 - 1e-6, n, shares[-1]) + 1).astype(int).tolist() for n in of]
    found = [[difference(count_a=x, of_a=of_a, count_b=y, of_b=of_b) for y in counts[1]] for x in counts[0]]
    low, high = (np.array([[getattr(one, end) for one in row] for row in found]) for end in ("low", "high"))
    chances = [[stats.binom.pmf(those, n, p) for p in shares] for those, n in zip(counts, of, strict=True)]
    return np.array(
        [
            np.outer(chances[0][i], chances[1][j])[(low <= p - q) & (p - q <= high)].sum()
            for i, p in enumerate(shares)
            for j, q in enumerate(shares)
        ]
    )


def values(rng, of: int) -> bool:
    """The amounts are the piece's own from five buyers on, else those of thirty buyers of other pieces too."""
    p = rng.uniform(0.02, 0.3)
    buyers = int(rng.binomial(of, p))
    amounts = rng.choice(PRICES, buyers + (30 if buyers < 5 else 0))
    return holds(sign_up_value(buyers=buyers, sign_ups=of, amounts=amounts), p * PRICES.mean())


def half_lives(rng, days: int) -> bool:
    half_life = np.exp(rng.uniform(np.log(10), np.log(150)))
    counts = rng.poisson(4 * 2 ** (-np.arange(days) / half_life))
    return holds(fading.fit([counts]).half_life, half_life)


def final_shares(rng, of: int) -> tuple[bool, bool]:
    """Sign-ups spread over 200 days; a share buys after an exponential delay, seen so far or not."""
    c, mean = rng.uniform(0.02, 0.3), np.exp(rng.uniform(np.log(10), np.log(120)))
    found = late.fit(waiting(rng, rng.uniform(0, 200, of), c, mean)[0])
    return holds(found.share, c), holds(found.mean_delay, mean)


def waiting(rng, seen: np.ndarray, c: float, mean: float) -> tuple[late.Waiting, np.ndarray, int, dict[int, int]]:
    """(what is known, delays, buyers of the next 365 days, days seen -> sign-ups that have not bought)."""
    buys, delay = rng.random(seen.size) < c, rng.exponential(mean, seen.size)
    done = buys & (delay <= seen)
    soon = buys & ~done & (delay <= seen + 365)
    left: dict[int, int] = {}
    for days in seen[~done].astype(int):
        left[int(days)] = left.get(int(days), 0) + 1
    delays = np.floor(delay[done])
    return late.Waiting.of(delays, left), delays, int(soon.sum()), left


def next_year(rng, days: int, half_life: float, level: float) -> bool:
    """A piece is simulated on for a year, and its takings of that year held against the interval."""
    c, mean = rng.uniform(0.05, 0.3), np.exp(rng.uniform(np.log(10), np.log(90)))
    counts = rng.poisson(level * 2 ** (-np.arange(days + 365) / half_life))
    seen = np.repeat(days - np.arange(days) - 0.5, counts[:days])
    known, delays, soon, left = waiting(rng, seen, c, mean)
    ahead = np.repeat(365 - np.arange(365) - 0.5, counts[days:])
    new = int(((rng.random(ahead.size) < c) & (rng.exponential(mean, ahead.size) <= ahead)).sum())
    earned = rng.choice(PRICES, soon + new).sum()
    amounts = rng.choice(PRICES, len(delays))
    piece = Piece(
        "a", "a", "2026-01-01", 1, 1, 0, 0, 0, int(counts[:days].sum()), counts[:days], amounts, delays, left, ()
    )
    used = amounts if len(amounts) >= ENOUGH_BUYERS else np.concatenate([amounts, rng.choice(PRICES, 30)])
    future = _Future(piece, fading.fit([counts[:days]]), late.fit(known), used, rng)
    return holds(future.worth(), earned)


def how_sure(rng, of: int) -> tuple[float, float]:
    """(said, true) of one pair: how sure it is that the first share is higher, and whether it is."""
    p, q = rng.uniform(0.01, 0.3, 2)
    said = sure_higher(count_a=int(rng.binomial(of, p)), of_a=of, count_b=int(rng.binomial(of, q)), of_b=of)
    return said, float(p > q)


def large_ledger(rows: int) -> tuple[float, float]:
    """Seconds to import so many rows, and to answer from them."""
    rng, first = np.random.default_rng(0), datetime.date(2023, 1, 1)
    pieces = [(f"piece-{n}", f"Piece {n}", first.isoformat(), 10.0, 60_000, 0) for n in range(rows // 1_000)]
    days = [
        (p[0], (first + datetime.timedelta(days=d)).isoformat(), int(v), 0, int(v // 10))
        for p in pieces
        for d, v in enumerate(rng.poisson(20, 980))
    ]
    buyers = [(f"{p[0]}.{n}", p[0], days[0][1], "2023-06-01", 240_000, "", p[0], "") for p in pieces for n in range(19)]
    batches = [
        Batch(KINDS[name], rows, range(2, len(rows) + 2), name)
        for name, rows in (("pieces", pieces), ("days", days), ("buyers", buyers))
    ]
    with tempfile.TemporaryDirectory() as folder, Ledger(Path(folder) / "ledger.db", create=True) as ledger:
        start = time.perf_counter()
        ledger.record(batches, on="2026-01-01")
        taken = time.perf_counter()
        report(ledger, last=3)
        return taken - start, time.perf_counter() - taken


def main(runs: int) -> None:
    rng = np.random.default_rng(0)
    for name, one, sizes in (
        ("share", shares, (20, 60, 400)),
        ("value of a sign-up", values, (20, 60, 200)),
        ("half-life", half_lives, (60, 200)),
        ("share who buy in the end; their delay", final_shares, (40, 150)),
    ):
        for size in sizes:
            held = np.mean([one(rng, size) for _ in range(runs)], axis=0)
            print(f"{name:<38} size {size:>4}: held {np.round(held, 3)} of 0.95")
    for of_a, of_b in ((20, 20), (20, 40), (20, 100), (20, 400), (40, 40), (40, 400), (100, 100), (400, 400)):
        held = differences(of_a, of_b)
        print(
            f"difference of shares, {of_a:>3} and {of_b:>3}: held {held.mean():.3f} of 0.95, {held.min():.3f} to "
            f"{held.max():.3f} for single pairs"
        )
    grid = []
    for days, half_life, level in itertools.product((30, 60, 120, 365), (15, 60, 200), (1, 5)):
        grid.append(np.mean([next_year(rng, days, half_life, level) for _ in range(runs)]))
        print(
            f"next twelve months, seen {days:>3} days, half-life {half_life:>3}, {level} on the first day: held "
            f"{grid[-1]:.3f} of 0.95"
        )
    print(f"next twelve months, all of the grid: held {np.mean(grid):.3f}, {min(grid):.3f} to {max(grid):.3f}")
    said, true = np.array([how_sure(rng, 100) for _ in range(4 * runs)]).T
    for low in (0.0, 0.2, 0.4, 0.6, 0.8):
        inside = (said >= low) & (said < low + 0.2 + (low == 0.8))
        print(f"how sure that a is better: said {said[inside].mean():.3f}, true in {true[inside].mean():.3f}")
    imported, answered = large_ledger(100_000)
    print(f"100,000 rows: imported in {imported:.2f} s, answered in {answered:.2f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000)
