"""The command `growth review`."""

from __future__ import annotations

import argparse
import textwrap
from typing import Any

WIDTH = 96


def add_command(subparsers: Any) -> None:
    """Add `review` to the command line."""
    review = subparsers.add_parser("review", help="read a brief as an editor would, before it is published")
    review.add_argument("scenario", metavar="SCENARIO", help="a scenario file with a giveaway part (YAML)")
    review.add_argument("--strict", action="store_true", help="end with exit code 2 where there is anything to remark")
    review.add_argument(
        "--words-only", action="store_true", help="read the words alone, without making the page to weigh it"
    )
    review.add_argument("--notebook", metavar="FILE", help="a giveaway notebook of your own")
    review.set_defaults(run=_review, extra="notebooks", instead="--words-only")


def _review(arguments: argparse.Namespace) -> int:
    from growth.errors import count_of
    from growth.giveaway.review import passed_over, review

    page = None if arguments.words_only else _page(arguments)
    findings = review(arguments.scenario, notebook=arguments.notebook, page=page)
    for finding in findings:
        in_file = finding.line and "notebook" not in finding.field
        place = f"{arguments.scenario}:{finding.line}" if in_file else arguments.scenario
        words = f" “{textwrap.shorten(_plain(finding.words), 160, placeholder=' ...')}”" if finding.words else ""
        print(f"{place}: {finding.field}: {finding.rule}.{words}")
        for lead, text in (("Why", finding.reason), ("Try", finding.suggestion)):
            print(textwrap.fill(f"{lead}: {text}", WIDTH, initial_indent="    ", subsequent_indent="         "))
    if note := passed_over(arguments.scenario):
        print(textwrap.fill(note, WIDTH))
    told = f"{count_of(len(findings), 'remark')}. They are questions to you, not verdicts."
    print(told if findings else "Nothing to remark.")
    return 2 if findings and arguments.strict else 0


def _page(arguments: argparse.Namespace) -> str:
    from growth.giveaway.placeholders import load_giveaway
    from growth.giveaway.publishing import made_page
    from growth.scenario.file import load_scenario

    scenario = load_scenario(arguments.scenario)
    giveaway = load_giveaway(arguments.scenario, scenario=scenario)
    return made_page(scenario, giveaway, notebook=arguments.notebook)[0]


def _plain(text: str) -> str:
    return "".join(character if character.isprintable() else " " for character in text)
