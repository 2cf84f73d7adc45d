"""The command `growth sweep`: check the whole file, compute every point, run the reports, publish the comparison."""

from __future__ import annotations

import argparse
import sys
from typing import Any


def add_command(subparsers: Any) -> None:
    """Hand the command in."""
    sweep = subparsers.add_parser(
        "sweep",
        help="compute every point of a sweep file, run their reports and publish the comparison",
        description="Compute every point of a sweep, run a notebook report for those that are to have one, and publish "
        "the comparison as one page. Run again after an interruption, it finishes what is missing.",
        epilog="Exit codes: 0 all done, 1 some reports failed, 2 bad input or an unusable folder, 130 interrupted.",
        allow_abbrev=False,
    )
    sweep.add_argument("sweep", metavar="FILE", help="a sweep file (YAML)")
    sweep.add_argument(
        "--to",
        required=True,
        metavar="ADDRESS",
        help="where the table, the reports and the page go: a folder, or an address such as s3://bucket/folder",
    )
    sweep.add_argument(
        "--notebook", metavar="NOTEBOOK", help="a report notebook of your own in the place of the one that comes along"
    )
    sweep.add_argument("--again", choices=["failed"], help="run the reports again that failed the last time")
    sweep.add_argument(
        "--workers", type=_positive, metavar="N", help="reports at the same time (default: two a processor)"
    )
    sweep.add_argument(
        "--limit", type=_seconds, default=600.0, metavar="SECONDS", help="time limit for one report (default: 600)"
    )
    sweep.add_argument(
        "--kernels",
        choices=["warm", "stock"],
        default="warm",
        help="fork kernels from one that holds the imports, or start each anew",
    )
    sweep.add_argument(
        "--check", action="store_true", help="check the file and say what would be done, without doing it"
    )
    sweep.add_argument("--scheduler", metavar="ADDRESS", help="run the reports on the Dask cluster at this address")
    sweep.set_defaults(run=_sweep, extra="sweep")


def _positive(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= 1000:
        raise argparse.ArgumentTypeError("a whole number from 1 to 1,000")
    return int(text)


def _seconds(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0 < value < 1e7:
        raise argparse.ArgumentTypeError("a number of seconds above 0")
    return value


def _sweep(arguments: argparse.Namespace) -> int:
    from growth.lean import put_off_grammar

    put_off_grammar()
    from growth.sweep.whole import prepare, run

    job = prepare(arguments.sweep, notebook=arguments.notebook)
    print(f"{arguments.sweep}: {job.design.count:,} points, {len(job.tasks):,} reports")
    if arguments.check:
        return 0
    outcome = run(
        job,
        to=arguments.to,
        again=arguments.again == "failed",
        workers=arguments.workers,
        limit=arguments.limit,
        warm_kernels=arguments.kernels == "warm",
        scheduler=arguments.scheduler,
        say=lambda text: print(f"growth: {text}", file=sys.stderr),
        bar=_bar,
    )
    if outcome.page:
        print(f"The comparison lies at {outcome.page}")
    else:
        print(f"growth: the comparison cannot be made: {outcome.no_page}", file=sys.stderr)
    if outcome.failed:
        print(f"growth: {len(outcome.failed):,} of {len(job.tasks):,} reports failed:", file=sys.stderr)
        for task, why in outcome.failed:
            varied = ", ".join(f"{title} {value}" for title, value in task.varied.items())
            print(f"growth:   {varied}: {why}", file=sys.stderr)
        print("growth: their notebooks lie in failed/; --again failed runs them again", file=sys.stderr)
    return 1 if outcome.failed or not outcome.page else 0


def _bar(total: int, there: int) -> Any:
    """A bar that says done, failed, left and the time to go."""
    from tqdm import tqdm

    form = "{l_bar}{bar:20}| {n_fmt} of {total_fmt} reports{postfix}, {remaining} to go"
    return tqdm(total=total, initial=there, bar_format=form, file=sys.stderr, mininterval=0.5, postfix="0 failed")
