"""Every clause of the answer, over many generated scenarios: `python tests/long/sentences.py --scenarios 20000`.

A false clause is printed with the seed of its scenario, `generated.scenario_of(seed)`, and
becomes a named test. `--first` sets the first seed; the program ends with 1 where anything was false.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from generated import scenario_of
from true_sentences import untrue


def judged(seed: int) -> tuple[int, list[str]]:
    """The false clauses of one seed's answer."""
    scenario = scenario_of(seed)
    with np.errstate(all="ignore"):
        try:
            return seed, untrue(scenario)
        except Exception as error:  # the judge's own fault is a find like another
            return seed, [f"{type(error).__name__}: {error}"]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenarios", type=int, default=20_000)
    parser.add_argument("--first", type=int, default=0, help="the first seed (0)")
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    seeds, kinds, false = range(given.first, given.first + given.scenarios), Counter(), 0
    with ProcessPoolExecutor(given.processes) as pool:
        for seed, found in pool.map(judged, seeds, chunksize=20):
            false += bool(found)
            kinds.update(one.split(",")[0].split(" ")[0] for one in found)
            if found:
                print(f"seed {seed}: {'; '.join(found)}", flush=True)
    print(f"{given.scenarios} scenarios from seed {given.first}: {false} with a false clause {dict(kinds)}")
    return 1 if false else 0


if __name__ == "__main__":
    sys.exit(main())
