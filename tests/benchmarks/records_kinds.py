"""How often the intervals and bands of `growth measure` hold, over the fourteen kinds of business of records_world.py.

    python tests/benchmarks/records_kinds.py [businesses of each kind, 40] [seed, 1] [kind ...]

For each kind: the share of businesses whose stated 95% intervals hold the truth (churn now, joining, expansion,
contraction), the share of 90% and 95% bands that hold the MRR in 12 months, the same for the band of nine in ten that
follows from the ranges in the written file, bias and error of the forecast, the errors of plain rivals on the same
records, and in how many businesses a change of churn was found. No timing.
"""

from __future__ import annotations

import os
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from records_world import AHEAD, FIRST, KNOWN, WORLDS, business

import growth
from growth.records import forecast_measured, measure, read_records, spread_payments, write_scenario

INTERVALS = ("churn", "joins", "expansion", "contraction")
RIVALS = ("no change", "line of 6", "last growth", "retention")


def paid(text: str) -> np.ndarray:
    """MRR as a spreadsheet would add it up: by customer and month, a yearly charge a twelfth in each of its months."""
    rows = [line.split(",") for line in text.splitlines()[1:]]
    names = {name: place for place, name in enumerate(dict.fromkeys(row[0] for row in rows))}
    found = np.zeros((len(names), KNOWN))
    for name, date, amount, months, _ in rows:
        start = int((np.datetime64(date[:7]) - FIRST).astype(int))
        found[names[name], start : start + int(months)] += float(amount) / int(months)
    return found


def rivals(text: str) -> list[float]:
    """What plain ways make of the same records, for 12 months ahead, in the order of RIVALS."""
    by_customer = paid(text)
    mrr = by_customer.sum(axis=0)
    slope, level = np.polyfit(np.arange(-5, 1), mrr[-6:], 1)
    before, after = by_customer[:, -13:-1], by_customer[:, -12:]
    kept = (after * (before > 0)).sum() / before.sum()
    new = (after * (before == 0)).sum() / 12
    last = mrr[-1]
    for _ in range(AHEAD):
        last = last * kept + new
    return [mrr[-1], level + slope * AHEAD, mrr[-1] + AHEAD * (mrr[-1] - mrr[-2]), last]


def one_run(kind: str, seed: list[int]) -> list[float]:
    """Held or not by the four intervals and the three bands, a change found, and the signed errors of all forecasts."""
    text, truth = business(WORLDS[kind], seed)
    with tempfile.TemporaryDirectory() as folder:
        (path := Path(folder) / "charges.csv").write_text(text)
        measured = measure(spread_payments(read_records(path), until=str(FIRST + KNOWN - 1)))
        written = write_scenario(measured, Path(folder) / "measured.yaml", business="Measured", months=AHEAD)
    rates = (measured.churn, measured.joining.level, measured.expansion, measured.contraction)
    true = (truth.churn, truth.joins, truth.expansion, truth.contraction)
    held = [rate.low <= value <= rate.high for rate, value in zip(rates, true, strict=True)]
    forecast, actual = forecast_measured(measured, months=AHEAD), truth.mrr[-1]
    for share in (0.9, 0.95):
        low, high = forecast.band(share)
        held.append(low[-1] <= actual <= high[-1])
    low, high = growth.spread_of(written).band(0.9)
    held.append(low[-1] <= actual <= high[-1])
    changed = getattr(measured, "churn_change", None) is not None
    off = [(guess - actual) / actual for guess in (forecast.mrr[-1], *rivals(text))]
    near = [rate.value / value - 1 if value else 0.0 for rate, value in zip(rates, true, strict=True)]
    return [*held, changed, *off, *near]


def main(runs: int, seed: int, kinds: list[str]) -> None:
    """Print a line for each kind, and the whole."""
    print(f"{runs} businesses of each kind, seed {seed}; intervals 95%; 12 months ahead; errors are mean absolute ones")
    print(f"{'':15}" + "".join(f"{name[:9]:>10}" for name in INTERVALS), end="")
    print("   band 90  95  file   change    bias  error   " + "  ".join(RIVALS) + "   bias of " + " ".join(INTERVALS))
    every = []
    with ProcessPoolExecutor(2) as pool:
        for number, kind in enumerate(WORLDS):
            if kinds and kind not in kinds:
                continue
            jobs = [pool.submit(one_run, kind, [seed, number, run]) for run in range(runs)]
            found = np.array([job.result() for job in jobs], float)
            every.append(found)
            show(kind, found)
    show("the whole", np.concatenate(every))


def show(kind: str, found: np.ndarray) -> None:
    """Print one line."""
    share, off, near = found[:, :8].mean(axis=0), found[:, 8:13], np.median(found[:, 13:], axis=0)
    errors = np.abs(off).mean(axis=0)
    held = "".join(f"{part:>10.0%}" for part in share[:4])
    others = "".join(f"{part:>10.1%}" for part in errors[1:])
    biases = " ".join(f"{part:+.0%}" for part in near)
    print(
        f"{kind:15}{held}   {share[4]:>6.0%} {share[5]:>4.0%} {share[6]:>5.0%}  {share[7]:>5.0%}  "
        f"{off[:, 0].mean():>+7.1%} {errors[0]:>6.1%} {others}   {biases}",
        flush=True,
    )


if __name__ == "__main__":
    arguments = sys.argv[1:]
    main(int(arguments[0]) if arguments else 40, int(arguments[1]) if len(arguments) > 1 else 1, arguments[2:])
