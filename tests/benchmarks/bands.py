"""How often the bands of forecasts from records hold, and how far off the forecasts are, beside their rivals.

    python tests/benchmarks/bands.py [businesses of each kind, 100]

Invented businesses of known parameters; an origin after 18, 24 or 36 months; what happens in the 12 months after it. No
timing: the numbers are the same on every machine but for rounding.
"""

from __future__ import annotations

import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from growth.records.backtest import RIVALS, run_backtest
from growth.records.demo import DemoBusiness, demo_book

KINDS = {
    "steady": {},
    "new customers +2% a month": {"monthly_growth_rate": 0.02},
    "new customers -1% a month": {"monthly_growth_rate": -0.01},
    "small, steady": {"signups": 8.0},
    "small, new customers +5% a month": {"signups": 8.0, "monthly_growth_rate": 0.05},
}
KNOWN = (18, 24, 36)  # months before the origin
AHEAD = (1, 6, 12)


def main(businesses: int) -> None:
    """Print a line for each kind and length."""
    print(f"{businesses} businesses each; error: mean, as a share of what happened; band: share held of 95%\n")
    print(
        f"{'':34}{'known':>6}   " + "".join(f"band {n:>2}  " for n in AHEAD) + "error 12   bias 12   rivals' errors 12"
    )
    for kind, parameters in KINDS.items():
        for known in KNOWN:
            tests = [one(DemoBusiness(months=known + 12, **parameters), seed, known) for seed in range(businesses)]
            band = [np.mean([test.coverage[n - 1] for test in tests]) for n in AHEAD]
            error, bias = (np.mean([getattr(test, name)()[11] for test in tests]) for name in ("error", "bias"))
            rivals = (f"{name} {np.mean([test.error(name)[11] for test in tests]):.0%}" for name in RIVALS)
            shares = "".join(f"{share:>7.0%}  " for share in band)
            print(f"{kind:34}{known:>6}   {shares}{error:>8.1%}  {bias:>+8.1%}   {', '.join(rivals)}", flush=True)


def one(business: DemoBusiness, seed: int, known: int):
    """The backtest of one business, from one origin."""
    until = str(np.datetime64(business.first_month, "M") + business.months - 1)
    return run_backtest(demo_book(business, seed=5000 + seed).rows, until=until, shortest=known, every=1000, seed=seed)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
