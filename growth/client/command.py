"""The commands `growth new`, `growth questions` and `growth actuals`."""

from __future__ import annotations

import argparse
import sys
from datetime import date
from typing import Any

from growth.output import add_file_output, add_folder_output

ASKED = {
    "customers": "How many customers pay today? ",
    "price": "What does one of them pay a month? ",
    "joining": "How many join in a usual month? ",
    "leaving": "How many of them leave in a usual month? ",
    "goal": "What monthly revenue is wanted (empty if nobody knows)? ",
}


def add_command(subparsers: Any) -> None:
    """Hand the commands in."""
    new = subparsers.add_parser("new", help="start a client's folder from five answers")
    new.add_argument("business", metavar="NAME", help="the client's business")
    add_folder_output(new, "--to", required=True, help="the folder; made if it is not there")
    for name, question in ASKED.items():
        new.add_argument(f"--{name}", type=float, metavar="NUMBER", help=question.strip().lower())
    new.add_argument("--currency", default="EUR", metavar="CODE", help="three letters, such as EUR")
    new.add_argument("--language", default="en", metavar="CODE", help="of what the client reads, such as de or fr")
    new.set_defaults(run=_new)

    ask = subparsers.add_parser("questions", help="list what to ask an owner, by how much it moves the answer")
    ask.add_argument("scenario", metavar="SCENARIO", help="a scenario file (YAML)")
    add_file_output(ask, "--to", suffixes=[".md"], help="the file to write; without it the list is printed")
    ask.set_defaults(run=_questions)

    actuals = subparsers.add_parser("actuals", help="set what happened beside what was forecast")
    actuals.add_argument("scenario", metavar="SCENARIO", help="the scenario file as it was then (YAML)")
    actuals.add_argument("actuals", metavar="ACTUALS", help="a CSV file with the columns month, customers and mrr")
    actuals.set_defaults(run=_actuals)


def _new(arguments: argparse.Namespace) -> None:
    from growth.calculator.language import locale_of
    from growth.client.first_meeting import Answers, first_scenario, questions_text, slug_of
    from growth.files import shipped
    from growth.output import write_outputs
    from growth.scenario.file import parse, scenario_of

    locale = locale_of(arguments.language)
    given = {name: getattr(arguments, name) for name in ASKED}
    for name in ASKED:
        if given[name] is None:
            given[name] = _asked(name)
    answers = Answers(arguments.business, currency=arguments.currency, language=arguments.language, **given)
    text = first_scenario(answers, today=date.today())
    file = f"{slug_of(arguments.business)}.yaml"
    notebook = shipped("notebooks/client.ipynb").read_text("utf-8").replace("../scenarios/fernhollow.yaml", file)
    contents = {
        file: text,
        "questions.md": questions_text(scenario_of(parse(text, file=file)), locale),
        "actuals.csv": "month,customers,mrr\n",
        "client.ipynb": notebook,
    }
    paths = write_outputs(arguments.to, contents, replace=arguments.replace)
    print("\n".join(str(path) for path in paths))
    print(f"Next: jupyter lab {paths[-1]}")


def _asked(name: str) -> float | None:
    """The answer typed in. Raises GrowthError where nobody can be asked."""
    from growth.errors import GrowthError

    if not sys.stdin.isatty():
        if name == "goal":
            return None
        raise GrowthError(f"--{name} is needed: {ASKED[name].strip().lower()}")
    while True:
        print(ASKED[name], end="", flush=True)
        typed = sys.stdin.readline().strip().replace(",", ".")
        if not typed and name == "goal":
            return None
        try:
            return float(typed)
        except ValueError:
            print("A number is needed, such as 2 or 2.5.")


def _questions(arguments: argparse.Namespace) -> None:
    from growth.client.first_meeting import questions_text
    from growth.giveaway.brief import read_giveaway
    from growth.output import SEAL, write_output
    from growth.scenario.file import load_scenario

    scenario = load_scenario(arguments.scenario)
    text = questions_text(scenario, read_giveaway(arguments.scenario, scenario=scenario).locale)
    if arguments.to is None:
        print(text, end="")
    else:
        path = write_output(
            arguments.to, f"{text}\n<!-- {SEAL} -->\n", inputs=[arguments.scenario], replace=arguments.replace
        )
        print(f"The questions lie at {path}")


def _actuals(arguments: argparse.Namespace) -> None:
    from growth.client.actuals import compare_with_actuals, comparison_lines, read_actuals
    from growth.scenario.file import load_scenario

    compared = compare_with_actuals(load_scenario(arguments.scenario), read_actuals(arguments.actuals))
    print("\n".join(comparison_lines(compared)))
    print("The band holds the file's ranges and chance; a forecast is neither advice nor a promise.")
