"""The commands `growth review` and `growth kit`."""

from __future__ import annotations

import argparse
import sys
import textwrap
from typing import Any

WIDTH = 96
KIT = """\
Make the page of a scenario file and all that goes with it, each named after the giveaway:

  NAME.html           the page; put it on your site
  NAME.svg, NAME.png  the answer as a picture, shown where the page is shared; put the PNG beside the page
  NAME-embed.html     the page for a frame in a blog; put it beside the page
  NAME-embed.txt      what to paste into the blog: the frame, and the lines that let it grow and shrink with its page
  NAME-email.txt, NAME-email.html  the e-mail that tells your list
  NAME.xlsx           the forecast as a workbook with live formulas
  NAME-handout.pdf    one page to print

To embed: set address: in the giveaway to where the page will lie, make the kit, put NAME-embed.html there, and paste
NAME-embed.txt into the post as HTML. The frame loads nothing but that one file, sets no cookies, sends no address of
the post along, and tells the post its own height alone. Where the blog allows no scripts, leave the script out of what
you paste and set a height that fits. The PNG and the PDF need Chromium."""


def add_command(subparsers: Any) -> None:
    """Hand the commands in."""
    review = subparsers.add_parser("review", help="read a brief as an editor would, before it is published")
    review.add_argument("scenario", metavar="SCENARIO", help="a scenario file with a giveaway part (YAML)")
    review.add_argument("--strict", action="store_true", help="end with exit code 2 where there is anything to remark")
    review.add_argument(
        "--words-only", action="store_true", help="read the words alone, without making the page to weigh it"
    )
    review.add_argument("--notebook", metavar="FILE", help="a giveaway notebook of your own")
    review.set_defaults(run=_review, extra="notebooks", instead="--words-only")

    kit = subparsers.add_parser(
        "kit",
        help="make the page and all that goes with it: picture, e-mail, embedding, handout",
        description=KIT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    kit.add_argument("scenario", metavar="SCENARIO", help="a scenario file with a giveaway part (YAML)")
    kit.add_argument("--to", required=True, metavar="DIR", help="the directory the kit is written to")
    kit.add_argument("--notebook", metavar="FILE", help="a giveaway notebook of your own")
    kit.set_defaults(run=_kit, extra="notebooks")


def _review(arguments: argparse.Namespace) -> int:
    from growth.giveaway.review import passed_over, review

    page = None if arguments.words_only else _page(arguments)
    findings = review(arguments.scenario, notebook=arguments.notebook, page=page)
    for finding in findings:
        place = (
            f"{arguments.scenario}:{finding.line}"
            if finding.line and "notebook" not in finding.field
            else arguments.scenario
        )
        words = f" “{textwrap.shorten(_plain(finding.words), 160, placeholder=' ...')}”" if finding.words else ""
        print(f"{place}: {finding.field}: {finding.rule}.{words}")
        for lead, text in (("Why", finding.reason), ("Try", finding.suggestion)):
            print(textwrap.fill(f"{lead}: {text}", WIDTH, initial_indent="    ", subsequent_indent="         "))
    if note := passed_over(arguments.scenario):
        print(textwrap.fill(note, WIDTH))
    count = len(findings)
    print(
        "Nothing to remark."
        if not count
        else f"{count} {'remark' if count == 1 else 'remarks'}. They are questions to you, not verdicts."
    )
    return 2 if findings and arguments.strict else 0


def _page(arguments: argparse.Namespace) -> str:
    import tempfile

    from growth.giveaway import publish

    with tempfile.TemporaryDirectory() as folder:
        return publish(arguments.scenario, to=folder, notebook=arguments.notebook).read_text("utf-8")


def _kit(arguments: argparse.Namespace) -> None:
    from growth.giveaway.kit import make_kit

    made = make_kit(arguments.scenario, to=arguments.to, notebook=arguments.notebook)
    width = max(len(part.path.name) for part in made.parts)
    for part in made.parts:
        print(f"{part.path.name:<{width}}  {part.use}")
    for note in made.notes:
        print(f"Note: {note}", file=sys.stderr)
    print(f"The kit lies in {made.parts[0].path.parent}")


def _plain(text: str) -> str:
    return "".join(character if character.isprintable() else " " for character in text)
