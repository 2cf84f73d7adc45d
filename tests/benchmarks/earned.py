"""How often the intervals of `growth earned` hold the truth, and how fast a large ledger answers.

    python tests/benchmarks/earned.py [runs of each kind]

First the pieces of `earned_world.py`: for each kind the coverage of the four intervals (0.95 is what they say), how far
off the medians are (the typical ratio of the value of a sign-up to its truth; the sum of the expected next years over
the sum of the true ones), the typical relative error of a next year, and how often nothing was said. Then the exact
coverage of the difference of two shares, summed over all counts, and how sure "how sure" is.
"""

from __future__ import annotations

import datetime
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from earned_world import AGES, KINDS_OF_WORLD, world
from scipy import stats

from growth.earned.earnings import report
from growth.earned.interval import Interval, difference, sure_higher
from growth.earned.ledger import Ledger
from growth.earned.ledger_format import KINDS, FileRows


def holds(interval: Interval, value: float) -> bool:
    """Half a unit of money is allowed for: amounts are whole prices. No halving in four years counts as none."""
    return interval.low - 0.5 <= value <= interval.high + 0.5


def one_run(kind: str, age: int, seed: list[int]) -> list[float] | None:
    """Held or not (value, next year, final share, halving), then the medians and truths; None where nothing is said."""
    ledger, truth = world(kind, age, np.random.default_rng(seed))
    with ledger:
        one = report(ledger, last=1).pieces[0]
    if one.sign_up_value is None or one.next_year is None or one.final_share is None or one.halving is None:
        return None
    share = one.final_share.low <= truth.share <= one.final_share.high
    held = [holds(one.sign_up_value, truth.value), holds(one.next_year, truth.next_year), share]
    medians = [one.sign_up_value.value, truth.value, one.next_year.value, truth.next_year]
    return [*held, holds(one.halving, truth.halving), *medians, age]


def worlds(runs: int) -> None:
    print("kind             said   value  next year  share  halving   value x  next year x  error   next year by age")
    every = []
    for number, kind in enumerate(KINDS_OF_WORLD):
        found = [one_run(kind, AGES[run % len(AGES)], [11, number, run]) for run in range(runs)]
        said = np.array([one for one in found if one is not None], dtype=float)
        every.append(said)
        held = said[:, :4].mean(axis=0)
        value, year = np.median(said[:, 4] / np.maximum(said[:, 5], 1e-9)), said[:, 6].sum() / said[:, 7].sum()
        error = np.median(np.abs(said[:, 6] - said[:, 7]) / np.maximum(said[:, 7], 100))
        by_age = " ".join(f"{said[said[:, 8] == age, 1].mean():.2f}" for age in AGES if (said[:, 8] == age).any())
        print(
            f"{kind:<16} {len(said) / runs:4.2f}   {held[0]:.3f}  {held[1]:.3f}      {held[2]:.3f}  {held[3]:.3f}     "
            f"{value:.2f}     {year:.2f}         {error:.2f}    {by_age}",
            flush=True,
        )
    held = np.concatenate(every)[:, :4].mean(axis=0)
    print(f"all              {'':4}   {held[0]:.3f}  {held[1]:.3f}      {held[2]:.3f}  {held[3]:.3f}")


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


def how_sure(rng: np.random.Generator, of: int) -> tuple[float, float]:
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
    buyers = [
        (f"{p[0]}.{n}", p[0], days[0][1], "2023-06-01", 240_000, "", p[0], "", 1) for p in pieces for n in range(19)
    ]
    batches = [
        FileRows(KINDS[name], rows, range(2, len(rows) + 2), name)
        for name, rows in (("pieces", pieces), ("days", days), ("buyers", buyers))
    ]
    with tempfile.TemporaryDirectory() as folder, Ledger(Path(folder) / "ledger.db", create=True) as ledger:
        start = time.perf_counter()
        ledger.record(batches, on="2026-01-01")
        taken = time.perf_counter()
        report(ledger, last=3)
        return taken - start, time.perf_counter() - taken


def main(runs: int) -> None:
    worlds(runs)
    for of_a, of_b in ((20, 20), (20, 400), (40, 40), (400, 400)):
        held = differences(of_a, of_b)
        print(
            f"difference of shares, {of_a:>3} and {of_b:>3}: held {held.mean():.3f} of 0.95, {held.min():.3f} to "
            f"{held.max():.3f} for single pairs"
        )
    rng = np.random.default_rng(0)
    said, true = np.array([how_sure(rng, 100) for _ in range(4_000)]).T
    for low in (0.0, 0.2, 0.4, 0.6, 0.8):
        inside = (said >= low) & (said < low + 0.2 + (low == 0.8))
        print(f"how sure that a is better: said {said[inside].mean():.3f}, true in {true[inside].mean():.3f}")
    imported, answered = large_ledger(100_000)
    print(f"100,000 rows: imported in {imported:.2f} s, answered in {answered:.2f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 180)
