"""From charge rows to bridge, cohorts and fits, beside the time that libraries take merely to read the file.

    python tests/benchmarks/records.py [--rows 10000000] [--folder DIR] [--repeat 3]

Makes the file once with the demo script (invented rows), then runs each reader and the whole way in a process of its
own, best of --repeat. Prints seconds, ratios and peak memory; asserts nothing. Readers that are not installed are
left out.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from growth.records.demo import DemoBusiness, write_demo

TYPED = """
import pyarrow as pa
from pyarrow import csv
words = pa.dictionary(pa.int32(), pa.string())
types = {"customer": words, "date": words, "amount": pa.float64(), "months": words, "plan": words, "currency": words}
run = lambda: csv.read_csv(path, convert_options=csv.ConvertOptions(column_types=types))
"""
READERS = {
    "Arrow, typed": TYPED,
    "pandas with Arrow": "import pandas\nrun = lambda: pandas.read_csv(path, engine='pyarrow', dtype_backend='pyarrow')",
    "Polars": "import polars\nrun = lambda: polars.read_csv(path, schema_overrides={'amount': polars.Float64}, try_parse_dates=True)",
    "Polars, categories": "import polars as p\nrun = lambda: p.read_csv(path, schema_overrides={'amount': p.Float64, "
    "**{n: p.Categorical for n in ('customer', 'date', 'plan', 'currency')}})",
    "DuckDB": "import duckdb\nduckdb.sql('set enable_progress_bar = false')\n"
    "run = lambda: duckdb.sql(f\"select * from read_csv('{path}')\").to_arrow_table()",
}
WHOLE = """
from growth.records.bridge import bridge, triangles
from growth.records.ledger import ledger
from growth.records.measuring import measure
from growth.records.reading import read_records
import scipy.optimize, scipy.sparse, scipy.stats, pyarrow.csv, pyarrow.parquet
def run():
    measured = measure(ledger(read_records(path)))
    return bridge(measured.moves), triangles(measured.book, measured.runs), measured.fits
"""
TAIL = """
import time
start, used = time.perf_counter(), time.process_time()
result = run()
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM")).split()[1]
print(time.perf_counter() - start, time.process_time() - used, int(peak) / 1e6)
"""


def timed(code: str, path: Path, repeat: int) -> tuple[float, float, float] | None:
    """Least seconds, least processor seconds and the memory peak in GB over fresh processes (Linux).

    None where the library is not installed. The processor's seconds tell more where other work runs on the machine.
    """
    results = []
    for _ in range(repeat):
        done = subprocess.run(
            [sys.executable, "-c", f"path = {str(path)!r}\n{code}{TAIL}"], capture_output=True, text=True
        )
        if done.returncode:
            if "ModuleNotFoundError" not in done.stderr:
                print(done.stderr[-400:])
            return None
        results.append(tuple(map(float, done.stdout.split())))
    seconds, processor, peak = zip(*results, strict=True)
    return min(seconds), min(processor), max(peak)


def report(rows: int, folder: Path, ending: str, repeat: int) -> float:
    """Compare at about so many rows; returns the processor seconds of the whole way."""
    path = folder / f"charges-{rows}.{ending}"
    if not path.exists():
        write_demo(DemoBusiness(months=60, signups=26320 * rows / 1e7), path, seed=1)
    print(f"\nabout {rows:,} charge rows, {path.stat().st_size / 1e6:,.0f} MB {ending}")
    readers = READERS if ending == "csv" else {"Arrow": "import pyarrow.parquet as q\nrun = lambda: q.read_table(path)"}
    times = {name: timed(code, path, repeat) for name, code in readers.items()}
    for name, result in times.items():
        print(f"  read by {name:22}" + (_shown(result) if result else "   not installed"))
    whole = timed(WHOLE, path, repeat)
    read = [result for result in times.values() if result]
    ratios = [whole[n] / min(result[n] for result in read) for n in (0, 1)]
    print(f"  rows to bridge, cohorts, fits {_shown(whole)}")
    print(
        f"  that is {ratios[0]:.2f} times the fastest reader by the clock, {ratios[1]:.2f} times the least by processor time"
    )
    return whole[1]


def _shown(result: tuple[float, float, float]) -> str:
    return f"{result[0]:8.2f} s {result[1]:8.2f} s of processor {result[2]:6.2f} GB"


def main() -> None:
    """Parse the arguments and print every comparison."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, default=10_000_000)
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--folder", type=Path)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = arguments.folder or Path(made)
        small, large = (
            report(rows, folder, "csv", arguments.repeat) for rows in (arguments.rows // 10, arguments.rows)
        )
        print(f"\nten times the rows take {large / small:.1f} times the processor time")
        report(arguments.rows, folder, "parquet", arguments.repeat)
        path = folder / "thousand.csv"
        rows = write_demo(DemoBusiness(months=36, signups=70), path, seed=1)
        print(f"\na thousand paying customers, {rows:,} rows: {_shown(timed(WHOLE, path, arguments.repeat))}")
        start = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "growth.cli", "measure", str(path), "--to", str(folder / "x.yaml")],
            capture_output=True,
        )
        print(f"  on the command line, with start-up: {time.perf_counter() - start:.2f} s")


if __name__ == "__main__":
    main()
