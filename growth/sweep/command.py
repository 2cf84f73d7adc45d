"""The command `growth sweep`: check the whole file, compute every point, run the reports, publish the comparison."""

from __future__ import annotations

import argparse
import shlex
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from growth.sweep.run_sweep import Outcome

DEFAULTS = {"limit": 600.0, "kernels": "warm"}


def add_command(subparsers: Any) -> None:
    """Add `sweep` to the command line."""
    sweep = subparsers.add_parser(
        "sweep",
        help="compute every point of a sweep file, run their reports and publish the comparison",
        description="Compute every point of a sweep, run a notebook report for those that are to have one, and publish "
        "the comparison as one page. Run again after an interruption, it finishes what is missing.",
        epilog="Exit codes: 0 all done, 1 some reports failed, 2 bad input or a folder that cannot be written, "
        "130 interrupted.",
        allow_abbrev=False,
    )
    sweep.set_defaults(run=_sweep, extra="sweep", **DEFAULTS)
    add = sweep.add_argument
    place = "where the table, the reports and the page go: a folder, or an address such as s3://bucket/folder"
    notebook = "a report notebook of your own in the place of the one that comes along"
    kernels = "fork kernels from one that holds the imports, or start each anew"
    add("sweep", metavar="FILE", help="a sweep file (YAML)")
    add("--to", required=True, metavar="ADDRESS", help=place)
    add("--notebook", metavar="NOTEBOOK", help=notebook)
    add("--take-over", action="store_true", help="replace the claim that a killed sweep left at an address")
    add("--again", choices=["failed"], help="run the reports again that failed the last time")
    add("--workers", type=_positive, metavar="N", help="reports at the same time (default: two for each processor)")
    add("--limit", type=_seconds, metavar="SECONDS", help="time limit for one report (default: 600)")
    add("--kernels", choices=["warm", "stock"], help=kernels)
    add("--check", action="store_true", help="check the file and say what would be done, without doing it")
    add("--scheduler", metavar="ADDRESS", help="run the reports on the Dask cluster at this address")


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
    from growth.lazy import put_off_grammar

    put_off_grammar()
    from growth.sweep.run_sweep import prepare, run_sweep

    job = prepare(arguments.sweep, notebook=arguments.notebook)
    print(f"{arguments.sweep}: {job.design.count:,} points, {len(job.tasks):,} reports", flush=True)
    if arguments.check:
        return 0
    try:
        outcome = run_sweep(
            job,
            to=arguments.to,
            again=arguments.again == "failed",
            take_over=arguments.take_over,
            workers=arguments.workers,
            limit=arguments.limit,
            warm=arguments.kernels == "warm",
            scheduler=arguments.scheduler,
            say=_say,
            progress=True,
        )
    except KeyboardInterrupt:
        _say(f"interrupted; run again to resume: {_command(arguments)}")
        return 130
    if outcome.page:
        print(f"The comparison is at {outcome.page}")
    else:
        _say(f"the comparison could not be made: {outcome.no_page}")
    return _tell_failures(outcome, len(job.tasks), arguments) or (0 if outcome.page else 1)


def _tell_failures(outcome: Outcome, total: int, arguments: argparse.Namespace) -> int:
    """Say which reports failed, why, and what to do. Returns the exit code, 0 if none failed."""
    from growth.sweep.report_notebook import has_no_place

    if not outcome.failed:
        return 0
    _say(f"{len(outcome.failed):,} of {total:,} reports failed:")
    for task, why in outcome.failed:
        _say(f"  {task.title}: {why}")
    unwritten = [task for task, why in outcome.failed if has_no_place(why)]
    if len(unwritten) < len(outcome.failed):
        _say(f"their notebooks are in failed/; to run them again: {_command(arguments, again='failed')}")
    if unwritten:
        _say(f"what could not be written is made when there is room; run again to resume: {_command(arguments)}")
        return 2
    return 1


def _command(arguments: argparse.Namespace, **changed: str) -> str:
    """The command line that finishes this sweep, ready to paste."""
    given = vars(arguments) | changed
    words = ["growth", "sweep", given["sweep"], "--to", given["to"]]
    for name in ("notebook", "again", "workers", "limit", "kernels", "scheduler"):
        if given[name] is not None and given[name] != DEFAULTS.get(name):
            value = given[name]
            words += [f"--{name}", f"{value:g}" if isinstance(value, float) else str(value)]
    return shlex.join(words)


def _say(text: str) -> None:
    print(f"growth: {text}", file=sys.stderr)
