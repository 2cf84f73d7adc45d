"""How long the page's engine takes, in Node, beside the Python engine on the same scenarios of 120 months.

python tests/benchmarks/page_engine.py            (seconds; prints, asserts nothing)
"""

from __future__ import annotations

import json
import subprocess
import time
from pathlib import Path

import numpy as np
from engine import business, fullest

import growth
from growth.measures import goal_month, growth_ceiling

MONTHS = 120
LIMIT = 2.0  # milliseconds a forecast may take in the page: an eighth of a frame of 16 ms
CASES = {
    "constant churn": business({"curve": "constant", "monthly_churn_rate": 0.04}, MONTHS),
    "sBG": business({"curve": "sbg", "alpha": 1.0, "beta": 20.0}, MONTHS),
    "BdW": business({"curve": "bdw", "alpha": 1.0, "beta": 20.0, "shape": 1.2}, MONTHS),
    "every feature": fullest(None, months=MONTHS),
    "every feature, 12 channels and plans": fullest(None, months=MONTHS, channels=12, plans=12),
}


def python_milliseconds(scenario: growth.Scenario, runs: int = 30) -> tuple[float, float]:
    """Medians of a forecast and of the page's two measures of it."""
    rows = []
    for _ in range(runs):
        start = time.perf_counter()
        forecast = growth.forecast(scenario)
        between = time.perf_counter()
        goal_month(forecast), growth_ceiling(forecast)
        rows.append((between - start, time.perf_counter() - between))
    return tuple(1e3 * np.median(rows, axis=0))


def main() -> None:
    questions = json.dumps({name: scenario.model_dump(mode="json") for name, scenario in CASES.items()})
    runner = Path(__file__).with_name("page_engine.mjs")
    page = json.loads(
        subprocess.run(["node", runner], input=questions, capture_output=True, text=True, check=True).stdout
    )
    print(f"{MONTHS} months, milliseconds; page: median (95th percentile) in Node; limit {LIMIT:.0f} for a forecast")
    for name, scenario in CASES.items():
        python = dict(zip(("forecast", "measures"), python_milliseconds(scenario), strict=True))
        for kind, ours in page[name].items():
            ratio = ours["median"] / python[kind]
            times = f"{ours['median']:.2f} ({ours['p95']:.2f}); Python {python[kind]:.2f}"
            print(f"  {name}: {kind} {times}; ratio {ratio:.2f}")


if __name__ == "__main__":
    main()
