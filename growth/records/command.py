"""`growth measure`, from billing records to a scenario file, and `growth records-demo`, for invented records."""

from __future__ import annotations

import argparse
import re
from typing import Any

from growth.errors import Problem
from growth.options import add_file_output
from growth.output import YAML

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
    add_file_output(
        measure, "--to", suffixes=YAML, required=True, metavar="SCENARIO", help="the scenario file to write (YAML)"
    )
    measure.add_argument(
        "--columns",
        metavar="FILE",
        help="a YAML file: names of columns, unit of amounts, exchange rates",
    )
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
    from growth.records.backtest import run_backtest, verdict
    from growth.records.estimate import measure
    from growth.records.paid_months import spread_payments
    from growth.records.read import load_columns, read_records
    from growth.records.report import summary
    from growth.records.scenario_file import write_scenario

    columns = load_columns(arguments.columns) if arguments.columns else None
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
    print(f"{rows:,} rows of an invented business were written to {arguments.to}")
