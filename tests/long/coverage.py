"""How often the nine-in-ten band holds, over ranges and chance together, on generated scenarios.

Run: python tests/long/coverage.py --scenarios 100    (some minutes)
For each scenario 64 draws of its ranges, and 40 runs of whole customers for each. It prints each scenario's share and,
at the end, how many lie between 87 and 93%.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from band_coverage import coverage, ranged_business


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenarios", type=int, default=100)
    count = parser.parse_args().scenarios
    found = []
    for seed in range(count):
        scenario = ranged_business(seed)
        found.append(coverage(scenario, seed=seed))
        print(f"{seed:4d}  {scenario.opening.customers:6.0f} customers  {found[-1]:.3f}", flush=True)
    shares = np.array(found)
    good = int(((shares >= 0.87) & (shares <= 0.93)).sum())
    print(
        f"mean {shares.mean():.4f}, lowest {shares.min():.3f}, highest {shares.max():.3f}; {good} of {count} in 87-93%"
    )


if __name__ == "__main__":
    main()
