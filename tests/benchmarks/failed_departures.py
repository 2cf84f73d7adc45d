"""How often departures by failed payment are told right by their pattern, where no status tells.

    python tests/benchmarks/failed_departures.py [businesses, 60] [seed, 1]

Of the departures in RETURNED of records_world.py, whose truth is known: which share of those called failed left by
will, and which share of those that failed is found. Departures in the last months, which are not settled, do not count.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from records_world import FIRST, KNOWN, RETURNED, live

from growth.records import read_records, spread_payments
from growth.records.failed_payments import failed_departures


def departures(seed: list[int]) -> tuple[int, int, int, int]:
    """Count departures called failed that were, called failed that were by will, failed in truth, and all known."""
    charges, random, _ = live(RETURNED, seed)
    text = charges.csv(random)
    names = list(dict.fromkeys(line.split(",")[0] for line in text.splitlines()[1:]))
    with tempfile.TemporaryDirectory() as folder:
        (path := Path(folder) / "charges.csv").write_text(text)
        book = spread_payments(read_records(path), until=str(FIRST + KNOWN - 1))
    called = failed_departures(book)
    gone = np.flatnonzero(~book.goes_on & (book.month < book.settled - 1))
    said = np.zeros(gone.size, bool) if called is None else called[gone]
    keys = [(int(names[book.customer[at]].split("-")[1]), int(book.month[at])) for at in gone]
    known = np.array([key in charges.ended for key in keys])
    truth = np.array([charges.ended.get(key, False) for key in keys])
    return tuple(int(part.sum()) for part in (said & truth & known, said & ~truth & known, truth, known))


def main(runs: int, seed: int) -> None:
    """Print the two error rates."""
    right, wrong, failed, known = np.sum([departures([seed, run]) for run in range(runs)], axis=0).tolist()
    print(f"{known:,} departures in {runs} businesses, {failed:,} of them after a failed payment")
    print(f"called failed: {right + wrong:,}, of which {wrong / max(right + wrong, 1):.1%} left by will")
    print(f"found: {right / max(failed, 1):.1%} of those that failed")


if __name__ == "__main__":
    main(*(int(value) for value in [*sys.argv[1:], *["60", "1"][len(sys.argv) - 1 :]][:2]))
