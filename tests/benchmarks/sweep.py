"""Sweeps, side by side: `python tests/benchmarks/sweep.py` prints ratios; run it on a calm machine.

    reports  N reports by this package, by a shell loop of stock papermill, and by papermill in a plain process pool,
             with their outputs compared
    points   a million points of 60 months in one pass, against a pandas loop over months
    memory   what all processes of a sweep hold, in quarters of N reports
    kills    N times SIGKILL at random moments, then resumed, against an uninterrupted run

Name the parts wanted; without any, all run. `--loop` and `--pool` take fewer reports where time is short: ratios are
per report.
"""

from __future__ import annotations

import argparse
import os
import shlex
import subprocess
import sys
import tempfile
import threading
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pandas as pd
import yaml

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from sweep_tools import CHURN, ROOT, Workplace, kill_and_compare, outputs, with_mark

import growth
from growth.sweep.design import design_of
from growth.sweep.evaluate import write_table
from growth.sweep.load_sweep import load_sweep
from growth.sweep.report_notebook import run_report
from growth.sweep.run_sweep import prepare


def reports(count: int, loop: int, pool: int) -> None:
    """Seconds a report, three ways."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        file = place / "sweep.yaml"
        (place / "base.yaml").write_text((ROOT / "scenarios" / "fernhollow.yaml").read_text())
        axes = [{"name": "churn", "field": CHURN, "from": 0.02, "to": 0.06, "steps": count}]
        file.write_text(yaml.safe_dump({"sweep": {"title": "b", "scenario": "base.yaml", "axes": axes}}))
        job = prepare(file)
        tasks = job.tasks
        for task in tasks:
            (place / f"{task.point}.yaml").write_text(yaml.safe_dump(task.parameters))

        start = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "growth.cli", "sweep", str(file), "--to", str(place / "ours")], check=True, cwd=ROOT
        )
        ours = (time.perf_counter() - start) / count
        print(f"growth sweep, {count} reports and their comparison: {ours:.3f} s a report", flush=True)

        papermill = shlex.quote(str(Path(sys.executable).with_name("papermill")))
        pool_tasks = tasks[:pool]
        jobs = [(str(job.notebook), str(place / f"pool-{task.point}.ipynb"), task.parameters) for task in pool_tasks]
        start = time.perf_counter()
        with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as executor:
            whys = list(executor.map(_stock, jobs))
        each = (time.perf_counter() - start) / len(pool_tasks)
        print(
            f"papermill.execute_notebook in a pool of {os.cpu_count()}, {pool}: {each:.3f} s a report, "
            f"{each / ours:.1f} times ours",
            flush=True,
        )

        lines = [
            f"{papermill} --no-progress-bar -f {place / f'{task.point}.yaml'} {shlex.quote(str(job.notebook))} "
            f"{place / f'loop-{task.point}.ipynb'}"
            for task in tasks[:loop]
        ]
        start = time.perf_counter()
        subprocess.run(["sh", "-ec", "\n".join(lines)], check=True, stderr=subprocess.DEVNULL, cwd=place)
        each = (time.perf_counter() - start) / loop
        print(f"shell loop of papermill, {loop}: {each:.3f} s a report, {each / ours:.1f} times ours", flush=True)

        same = [
            outputs(place / "ours" / "reports" / f"{task.name}.ipynb") == outputs(place / f"{kind}-{task.point}.ipynb")
            for kind, part in (("loop", tasks[:loop]), ("pool", pool_tasks))
            for task in part
        ]
        sizes = [path.stat().st_size for path in (place / "ours" / "reports").iterdir()]
        print(f"outputs equal cell by cell: {sum(same)} of {len(same)}; failed in the pool: {sum(map(bool, whys))}")
        print(f"largest report: {max(sizes) / 1024:.0f} KB; processes left: {len(with_mark(str(place)))}", flush=True)


def _stock(job: tuple) -> str:
    notebook, output, parameters = job
    return run_report(notebook=notebook, output=output, parameters=parameters, warm=False)


def points(count: int) -> None:
    """Microseconds a point, one pass against a pandas loop over months."""
    import resource

    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        scenario = growth.load_scenario(ROOT / "scenarios" / "fernhollow.yaml").model_copy(update={"months": 60})
        growth.save_scenario(scenario, place / "base.yaml")
        axes = [
            {"name": "churn", "field": CHURN, "from": 0.01, "to": 0.1},
            {"name": "price", "field": "pay.plans.Studio.monthly_price", "from": 10, "to": 60},
            {"name": "trial", "field": "sign_up.signup_rate", "from": 0.01, "to": 0.1},
        ]
        for measures in (["cash", "lowest_cash", "break_even_month"], None):
            size = count
            sampled = {"method": "latin_hypercube", "size": size, "at_most": size}
            whole = {
                "title": "b",
                "scenario": "base.yaml",
                "axes": axes,
                "points": sampled,
                "reports": {"choose": "none"},
            }
            file = place / "sweep.yaml"
            file.write_text(yaml.safe_dump({"sweep": whole | ({"measures": measures} if measures else {})}))
            design = design_of(load_sweep(file))
            before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            start = time.perf_counter()
            write_table(design, place / "points.parquet", key="", reports={})
            ours = (time.perf_counter() - start) / size
            most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            what = "without ceiling and retention" if measures else "with every measure"
            print(
                f"{size:,} points of 60 months to Parquet, {what}: {ours * 1e6:.1f} us a point; "
                f"most memory {most:,.0f} MB (before {before:,.0f})"
            )
            start = time.perf_counter()
            for number in range(20):
                closing = pandas_loop(scenario, **design.point(number))
            loop = (time.perf_counter() - start) / 20
            row = pd.read_parquet(place / "points.parquet").iloc[19]
            print(
                f"  pandas loop: {loop * 1e3:.1f} ms a point, {loop / ours:,.0f} times; "
                f"differs by {abs(closing / row.closing_mrr - 1):.1e}",
                flush=True,
            )


def pandas_loop(scenario, *, churn: float, price: float, trial: float) -> float:
    """The same business month by month in a data frame, as one writes it in a notebook; returns the closing MRR."""
    channel, opening, grow = scenario.arrive.channels[0], scenario.opening, scenario.grow
    columns = ["opening_mrr", "new_mrr", "expansion_mrr", "churned_mrr", "closing_mrr", "customers", "net_cash", "cash"]
    frame = pd.DataFrame(0.0, index=range(scenario.months + 1), columns=columns)
    frame.loc[0, ["closing_mrr", "customers", "cash"]] = opening.mrr, opening.customers, scenario.bill.opening_cash
    for month in range(1, scenario.months + 1):
        visitors = channel.monthly_visitors * (1 + channel.monthly_growth_rate) ** (month - 1)
        new = visitors * trial * scenario.pay.conversion_rate
        before = frame.loc[month - 1]
        frame.loc[month, "opening_mrr"] = before["closing_mrr"]
        frame.loc[month, "new_mrr"] = new * price
        frame.loc[month, "churned_mrr"] = before["closing_mrr"] * churn
        frame.loc[month, "expansion_mrr"] = before["closing_mrr"] * (1 - churn) * grow.monthly_expansion_rate
        now = frame.loc[month]
        frame.loc[month, "closing_mrr"] = (
            now["opening_mrr"] + now["new_mrr"] + now["expansion_mrr"] - now["churned_mrr"]
        )
        frame.loc[month, "customers"] = before["customers"] * (1 - churn) + new
        mrr, customers = frame.loc[month, "closing_mrr"], frame.loc[month, "customers"]
        bill = scenario.bill
        costs = (
            bill.payment_fee_rate * mrr
            + (bill.fee_per_payment + bill.monthly_cost_to_serve) * customers
            + bill.monthly_fixed_costs
        )
        frame.loc[month, "net_cash"] = mrr - costs
        frame.loc[month, "cash"] = before["cash"] + frame.loc[month, "net_cash"]
    return frame["closing_mrr"].iloc[-1]


def memory(count: int) -> None:
    """Megabytes (proportional set size) of all processes of a sweep, the median of each quarter."""
    with tempfile.TemporaryDirectory() as folder:
        place = Workplace(Path(folder))
        axes = [{"name": "churn", "field": CHURN, "from": 0.02, "to": 0.06, "steps": count}]
        file = place.sweep(axes=axes, reports={"at_most": count})
        notebook = place.notebook(
            "import growth, pandas", "growth.to_frame(growth.forecast(growth.load_scenario(scenario)))"
        )
        running = subprocess.Popen(
            place.command(file, notebook=notebook), cwd=ROOT, env={**os.environ, "GROWTH_TEST": folder}
        )
        samples: list[tuple[int, float]] = []
        done = threading.Event()

        def watch() -> None:
            while not done.wait(0.5):
                ready = len(list((place.path / "out" / "reports").glob("*.ipynb")))
                samples.append((ready, sum(map(_held, with_mark(f"GROWTH_TEST={folder}")))))

        watcher = threading.Thread(target=watch)
        watcher.start()
        start = time.perf_counter()
        code = running.wait()
        seconds = time.perf_counter() - start
        done.set()
        watcher.join()
        quarters = [
            pd.Series([m for n, m in samples if q * count / 4 < n <= (q + 1) * count / 4]).median() for q in range(4)
        ]
        print(
            f"{count} small reports in {seconds:.0f} s, exit code {code}; "
            f"MB in each quarter: {[round(q) for q in quarters]}"
        )
        end = time.monotonic() + 10  # for those that are just ending
        while (left := with_mark(f"GROWTH_TEST={folder}")) and time.monotonic() < end:
            time.sleep(0.1)
        print(f"processes left: {len(left)}", flush=True)


def _held(pid: int) -> float:
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024
    except (OSError, StopIteration):
        return 0.0


def kills(count: int) -> None:
    """Kill a sweep at random moments, resume it, compare; raises where anything differs or is left running."""
    with tempfile.TemporaryDirectory() as folder:
        sweeps = kill_and_compare(Workplace(Path(folder)), kills=count, seed=1)
    print(
        f"{count} kills in {sweeps} sweeps; resumed, reports, table and page of each equal an uninterrupted run's",
        flush=True,
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("parts", nargs="*", metavar="PART", help="reports, points, memory, kills")
    parser.add_argument("--reports", type=int, default=200)
    parser.add_argument("--loop", type=int)
    parser.add_argument("--pool", type=int)
    parser.add_argument("--points", type=int, default=1_000_000)
    parser.add_argument("--memory", type=int, default=2000)
    parser.add_argument("--kills", type=int, default=20)
    given = parser.parse_args()
    wanted = given.parts or ["reports", "points", "memory", "kills"]
    if set(wanted) - {"reports", "points", "memory", "kills"}:
        parser.error("a part is one of reports, points, memory, kills")
    if "reports" in wanted:
        reports(given.reports, given.loop or given.reports, given.pool or given.reports)
    if "points" in wanted:
        points(given.points)
    if "memory" in wanted:
        memory(given.memory)
    if "kills" in wanted:
        kills(given.kills)
