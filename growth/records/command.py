"""`growth measure`, from billing records to a scenario file, and `growth records-demo`, for invented records."""

from __future__ import annotations

import argparse
import re
import textwrap
from typing import TYPE_CHECKING, Any

from growth.errors import Problem, count_of
from growth.output import YAML, add_file_output, confirmed

if TYPE_CHECKING:
    from growth.records.read import ColumnNames

CAUTION = (
    "No customer's identifier was kept, and none is in the scenario. The plans' names are: look at them before you "
    "publish. Customer data stays on this machine, and local data-protection law governs it. Measured "
    "values describe the past; they are neither advice nor a promise."
)


def add_command(subparsers: Any) -> None:
    """Add `measure` and `records-demo`."""
    measure = subparsers.add_parser("measure", help="measure the assumptions of a scenario from billing records")
    measure.add_argument(
        "records", metavar="RECORDS", help="a CSV, Parquet or .xlsx file: charges, months or subscriptions"
    )
    add_file_output(measure, "--to", suffixes=YAML, metavar="SCENARIO", help="the scenario file to write (YAML)")
    measure.add_argument(
        "--columns",
        metavar="FILE",
        help="a YAML file: names of columns, order of dates, notation and unit of amounts, exchange rates",
    )
    measure.add_argument("--yes", action="store_true", help="take the guesses at what the records mean")
    add_file_output(measure, "--remember", suffixes=YAML, help="write what was understood, for --columns next month")
    measure.add_argument(
        "--business", metavar="NAME", default="Measured business", help="the name that the scenario gets"
    )
    measure.add_argument(
        "--until",
        metavar="MONTH",
        help="the last month that is over, such as 2025-12; by default the latest date's",
    )
    measure.add_argument(
        "--grace",
        type=int,
        metavar="N",
        help="for how many months a payment may be missing before the customer counts as gone (the data choose)",
    )
    measure.add_argument(
        "--leave-out", type=int, default=0, metavar="N", help="how many unreadable rows may be left out (0)"
    )
    measure.add_argument(
        "--months", type=int, default=36, metavar="N", help="how many months the scenario looks ahead (36)"
    )
    measure.add_argument(
        "--backtest",
        action="store_true",
        help="also say how far off such forecasts were in the past, beside plain rules (30 months or more)",
    )
    measure.add_argument("--invented", action="store_true", help="mark the business as invented")
    measure.set_defaults(run=_measure, extra="records")

    demo = subparsers.add_parser("records-demo", help="make billing records of an invented business, of any size")
    add_file_output(
        demo, "--to", suffixes=[".csv", ".parquet"], required=True, help="the file to write: .csv or .parquet"
    )
    demo.add_argument("--months", type=int, default=36, metavar="N", help="how many months (36)")
    demo.add_argument("--sign-ups", type=float, default=25.0, metavar="N", help="sign-ups a month, on average (25)")
    demo.add_argument("--seed", type=int, default=1, metavar="N", help="the same seed gives the same rows (1)")
    demo.set_defaults(run=_demo, extra="records")


def _measure(arguments: argparse.Namespace) -> None:
    from growth.records.read.rows import RecordsError

    if arguments.until and not re.fullmatch(r"(19|20|21)\d\d-(0[1-9]|1[0-2])", arguments.until):
        raise RecordsError([Problem("--until", "a month written year-month, such as 2025-12", arguments.until[:40])])
    if not 1 <= arguments.months <= 120 or arguments.leave_out < 0:
        raise RecordsError("--months has to be from 1 to 120, and --leave-out at least 0")
    if arguments.grace is not None and not 0 <= arguments.grace <= 12:
        raise RecordsError([Problem("--grace", "a number of months from 0 to 12", str(arguments.grace))])
    if not arguments.to and not arguments.remember:
        raise RecordsError([Problem("--to", "a scenario file to write, or --remember a file for --columns", "neither")])
    columns = _agreed(arguments)
    if not arguments.to:
        return
    from growth.records.backtest import run_backtest, verdict
    from growth.records.estimate import measure
    from growth.records.paid_months import spread_payments
    from growth.records.read import read_records
    from growth.records.report import summary
    from growth.records.scenario_file import write_scenario

    rows = read_records(arguments.records, columns=columns, leave_out=arguments.leave_out, until=arguments.until)
    measured = measure(spread_payments(rows, until=arguments.until, grace=arguments.grace))
    write_scenario(
        measured,
        arguments.to,
        business=arguments.business,
        invented=arguments.invented,
        months=arguments.months,
        replace=arguments.replace,
    )
    tried = (
        [*verdict(run_backtest(rows, until=arguments.until, grace=arguments.grace)), ""] if arguments.backtest else []
    )
    print("\n".join([*summary(measured), *tried, f"The scenario was written to {arguments.to}", "", CAUTION]))


def _agreed(arguments: argparse.Namespace) -> ColumnNames:
    """Show how the records are understood; RecordsError unless somebody agrees to what was guessed."""
    from growth.output import write_output
    from growth.records.read import load_columns, understand
    from growth.records.read.guess import settings_text
    from growth.records.read.rows import RecordsError
    from growth.scenario.write import flow

    found = understand(arguments.records, load_columns(arguments.columns) if arguments.columns else None)
    grace = "chosen from the data" if arguments.grace is None else f"{arguments.grace}, as --grace says"
    if found.shape == "subscriptions" and arguments.grace is None:
        grace = "none, since the table says who left"
    print("understood:")
    for line in (*found.told, f"months that a payment may be missing: {grace}"):
        print(textwrap.fill(line, 98, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False))
    print()
    if found.guessed and not confirmed(arguments.yes):
        guess = flow({name: found.columns.model_dump(mode="json")[name] for name in found.guessed})
        fix = f"Add --yes if what is listed above is right; else write what is right into a file for --columns: {guess}"
        raise RecordsError([Problem("", "a yes to what was guessed", "none", fix)], file=arguments.records)
    if arguments.remember:
        inputs = [arguments.records, arguments.columns]
        write_output(
            arguments.remember, settings_text(found.columns), suffixes=YAML, inputs=inputs, replace=arguments.replace
        )
        print(f"Written: {arguments.remember}, for --columns.", end="\n\n")
    return found.columns


def _demo(arguments: argparse.Namespace) -> None:
    from growth.records.read.rows import RecordsError

    if not 1 <= arguments.months <= 600 or not 0 < arguments.sign_ups <= 1e6 or arguments.seed < 0:
        raise RecordsError("--months has to be from 1 to 600, --sign-ups above 0 up to a million, --seed at least 0")
    from growth.records.demo import DemoBusiness, write_demo

    rows = write_demo(
        DemoBusiness(months=arguments.months, signups=arguments.sign_ups),
        arguments.to,
        seed=arguments.seed,
        replace=arguments.replace,
    )
    print(f"{count_of(rows, 'row')} of an invented business were written to {arguments.to}")
