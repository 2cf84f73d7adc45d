"""From charge rows to bridge, cohorts and fits, beside the time that libraries take merely to read the file.

    python tests/benchmarks/records.py [--rows 10000000] [--folder DIR] [--repeat 3]

Makes the files once with the demo script (invented rows), then runs each reader and the whole way in processes of their
own, in turn, and keeps the least of --repeat. Prints seconds by the clock and of the processor, peaks of memory and
ratios; asserts nothing. Readers that are not installed are said to be so.
"""

from __future__ import annotations

import argparse
import math
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from growth.records.demo import DemoBusiness, write_demo

ARROW = "import pyarrow as pa\nfrom pyarrow import csv\nwords = pa.dictionary(pa.int32(), pa.string())\n"
DUCKDB = "import duckdb\nduckdb.sql('set enable_progress_bar = false')\n"
DUCKDB_READ = "read_csv('{}', columns = {{customer: 'varchar', date: 'date', amount: 'double', months: 'smallint', "
DUCKDB_READ += "plan: 'varchar', currency: 'varchar'}})"
# as each reads by default; as text throughout; with the types said
CSV_READERS = {
    "Arrow, default": ARROW + "run = lambda: csv.read_csv(path)",
    "Arrow, types said": ARROW
    + "run = lambda: csv.read_csv(path, convert_options=csv.ConvertOptions(column_types={'customer': pa.string(), "
    "'date': pa.date32(), 'amount': pa.float64(), 'months': pa.int16(), 'plan': words, 'currency': words}))",
    "Arrow, text as dictionaries": ARROW
    + "run = lambda: csv.read_csv(path, convert_options=csv.ConvertOptions(column_types={'amount': pa.float64(), "
    "**dict.fromkeys(('customer', 'date', 'months', 'plan', 'currency'), words)}))",
    "pandas, default": "import pandas\nrun = lambda: pandas.read_csv(path)",
    "pandas with Arrow": "import pandas\n"
    "run = lambda: pandas.read_csv(path, engine='pyarrow', dtype_backend='pyarrow')",
    "Polars, default": "import polars\nrun = lambda: polars.read_csv(path)",
    "Polars, all as text": "import polars\nrun = lambda: polars.read_csv(path, infer_schema=False)",
    "Polars, types said": "import polars as p\nrun = lambda: p.read_csv(path, schema={'customer': p.String, "
    "'date': p.Date, 'amount': p.Float64, 'months': p.Int16, 'plan': p.String, 'currency': p.String})",
    "Polars, text as categories": "import polars as p\nrun = lambda: p.read_csv(path, schema_overrides="
    "{'amount': p.Float64, **dict.fromkeys(('customer', 'date', 'plan', 'currency'), p.Categorical)})",
    "DuckDB, default": DUCKDB + "run = lambda: duckdb.sql(f\"select * from read_csv('{path}')\").to_arrow_table()",
    "DuckDB, types said": DUCKDB
    + f"run = lambda: duckdb.sql('select * from ' + {DUCKDB_READ!r}.format(path)).to_arrow_table()",
}
PARQUET_READERS = {
    "Arrow, default": "import pyarrow.parquet as q\nrun = lambda: q.read_table(path)",
    "Polars, default": "import polars\nrun = lambda: polars.read_parquet(path)",
    "DuckDB, default": DUCKDB + "run = lambda: duckdb.sql(f\"select * from '{path}'\").to_arrow_table()",
}
WHOLE = """
from growth.records.bridge import bridge_columns, triangles
from growth.records.paid_months import spread_payments
from growth.records.estimate import measure
from growth.records.read import read_records
import scipy.optimize, scipy.stats, pyarrow.compute, pyarrow.csv, pyarrow.parquet
def run():
    measured = measure(spread_payments(read_records(path, leave_out=10**9)))
    return bridge_columns(measured.moves), triangles(measured.book, measured.runs), measured.fits
"""
TAIL = """
import time
start, used = time.perf_counter(), time.process_time()
result = run()
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM")).split()[1]
print(time.perf_counter() - start, time.process_time() - used, int(peak) / 1e6)
"""
ODD = (
    ",2024-05-01,29,1,Studio,EUR",
    "odd,soon,29,1,Studio,EUR",
    "odd,2024-05-01,n/a,1,Studio,EUR",
    "odd,2024-05-01",
    'odd,2024-05-01,29,1,"Stu\ndio",EUR',
)
Times = tuple[float, float, float]  # seconds by the clock, seconds of the processor, peak in GB


def timed(ways: dict[str, tuple[str, Path]], repeat: int) -> dict[str, Times | str]:
    """The least seconds and the highest peak of each way over fresh processes (Linux), or why there are none.

    ways: code and file by name. They take turns, so that what else runs on the machine weighs on all alike; seconds of
    the processor tell more there.
    """
    found: dict[str, list[Times]] = {name: [] for name in ways}
    failed: dict[str, str] = {}
    for _ in range(repeat):
        for name, (code, path) in ways.items():
            if name in failed:
                continue
            text = f"path = {str(path)!r}\n{code}{TAIL}"
            done = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True)
            if done.returncode:
                missing = "ModuleNotFoundError" in done.stderr
                failed[name] = "not installed" if missing else "cannot read it so"
            else:
                found[name].append(tuple(map(float, done.stdout.split())))
    return failed | {
        name: (min(clock), min(processor), max(peak))
        for name, (clock, processor, peak) in (
            (name, zip(*times, strict=True)) for name, times in found.items() if times
        )
    }


def made(folder: Path, rows: int, ending: str) -> Path:
    """A file of about so many charge rows of an invented business."""
    path = folder / f"charges-{rows}.{ending}"
    if not path.exists():
        write_demo(DemoBusiness(months=60, signups=26320 * rows / 1e7), path, seed=1)
    return path


def with_odd_rows(path: Path) -> Path:
    """The same file with a row that cannot be read behind every hundredth row, of five kinds in turn."""
    odd = path.with_stem(path.stem + "-odd")
    if not odd.exists():
        with path.open() as rows, odd.open("w") as stream:
            for number, row in enumerate(rows):
                stream.write(row if number % 100 != 50 else f"{row}{ODD[number // 100 % len(ODD)]}\n")
    return odd


def shown(times: Times | str) -> str:
    """One line of figures."""
    if isinstance(times, str):
        return times
    return f"{times[0]:8.2f} s {times[1]:8.2f} s of processor {times[2]:6.2f} GB"


def report(readers: dict[str, str], path: Path, wholes: dict[str, Path], repeat: int) -> dict[str, Times]:
    """Compare the readers of one file with the whole way from some files; returns the figures of the latter."""
    print(f"\n{path.name}, {path.stat().st_size / 1e6:,.0f} MB")
    times = timed(
        {f"read: {name}": (code, path) for name, code in readers.items()}
        | {name: (WHOLE, file) for name, file in wholes.items()},
        repeat,
    )
    for name, result in times.items():
        print(f"  {name:36}{shown(result)}", flush=True)
    read = {name: result for name, result in times.items() if name.startswith("read: ") and not isinstance(result, str)}
    for name in wholes:
        said = []
        for place, by in enumerate(("by the clock", "of the processor's seconds")):
            best = min(read, key=lambda reader: read[reader][place])
            said.append(f"{times[name][place] / read[best][place]:.2f} times {best.removeprefix('read: ')} {by}")
        print(f"  {name}: {'; '.join(said)}")
    return {name: times[name] for name in wholes}


def on_the_command_line(path: Path, to: Path, repeat: int) -> tuple[float, float]:
    """Least seconds by the clock and of the processor of `growth measure`, from its start to its end."""
    command = [sys.executable, "-m", "growth.cli", "measure", str(path), "--to", str(to), "--replace"]
    clock, processor = [], []
    for _ in range(repeat):
        start, used = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, check=True, capture_output=True)
        now = resource.getrusage(resource.RUSAGE_CHILDREN)
        clock.append(time.perf_counter() - start)
        processor.append(now.ru_utime + now.ru_stime - used.ru_utime - used.ru_stime)
    return min(clock), min(processor)


def main() -> None:
    """Parse the arguments and print every comparison."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, default=10_000_000)
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--folder", type=Path)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder, repeat = arguments.folder or Path(temporary), arguments.repeat
        small, large = (made(folder, rows, "csv") for rows in (arguments.rows // 10, arguments.rows))
        columnar = made(folder, arguments.rows, "parquet")
        fewer = timed({"CSV to bridge, cohorts, fits": (WHOLE, small)}, repeat)
        wholes = {"CSV to bridge, cohorts, fits": large, "the same with 1% odd rows": with_odd_rows(large)}
        whole = report(CSV_READERS, large, wholes, repeat)
        report(PARQUET_READERS, columnar, {"Parquet to bridge, cohorts, fits": columnar}, repeat)
        print("\nten times the rows")
        for place, by in enumerate(("by the clock", "of the processor's seconds")):
            less, more = next(iter(fewer.values()))[place], next(iter(whole.values()))[place]
            print(f"  {less:.2f} to {more:.2f} s {by}: rows to the power of {math.log10(more / less):.2f}")
        path = folder / "thousand.csv"
        rows = write_demo(DemoBusiness(months=36, signups=70), path, seed=1)
        print(f"\na thousand paying customers, {rows:,} rows")
        for name, result in timed({"rows to fits": (WHOLE, path)}, repeat).items():
            print(f"  {name:36}{shown(result)}")
        for file in (path, large):
            clock, processor = on_the_command_line(file, folder / "scenario.yaml", repeat)
            print(f"  growth measure {file.name}, with start-up: {clock:.2f} s, {processor:.2f} s of processor")


if __name__ == "__main__":
    main()
