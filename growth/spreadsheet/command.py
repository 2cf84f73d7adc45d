"""The command `growth spreadsheet`."""

from __future__ import annotations

import argparse
from typing import Any

from growth.output import add_file_output


def add_command(subparsers: Any) -> None:
    """Add the command to the command line."""
    command = subparsers.add_parser("spreadsheet", help="make a workbook with live formulas of a scenario")
    command.add_argument("scenario", metavar="SCENARIO", help="a scenario file (YAML)")
    add_file_output(
        command, "--to", suffixes=[".xlsx"], required=True, help="the workbook to write, such as forecast.xlsx"
    )
    command.set_defaults(run=_spreadsheet)


def _spreadsheet(arguments: argparse.Namespace) -> None:
    from growth.spreadsheet import write_spreadsheet

    path = write_spreadsheet(arguments.scenario, to=arguments.to, replace=arguments.replace)
    print(f"The workbook is at {path}")
