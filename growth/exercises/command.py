"""The command `growth exercises`."""

from __future__ import annotations

import argparse
from typing import Any

from growth.output import add_folder_output

EXERCISES = """\
Make exercises for a class from a scenario file, with its own numbers:

  NAME-worksheet.html   the questions with room to write; print it on A4 or Letter
  NAME-answers.html     each answer by hand, and how the tool is asked
  NAME-exercises.ipynb  the same as a notebook: work, open the answer, check with the tool

Only what is true of these numbers is asked: the short formula for where growth stops, joining / share who leave, comes
up only where the same share leaves every month. The words are in the `language:` of the file."""


def add_command(subparsers: Any) -> None:
    """Add `exercises` to the command line."""
    parser = subparsers.add_parser(
        "exercises",
        help="make a worksheet with answers, for teaching",
        description=EXERCISES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("scenario", metavar="SCENARIO", help="a scenario file (YAML)")
    add_folder_output(parser, "--to", required=True, help="the folder; made if it is not there")
    parser.set_defaults(run=_exercises)


def _exercises(arguments: argparse.Namespace) -> None:
    from growth.exercises.exercise_files import make_exercises

    for path in make_exercises(arguments.scenario, to=arguments.to, replace=arguments.replace):
        print(path)
