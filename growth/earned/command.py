"""The command `growth earned`: fill the ledger, and ask what the pieces earned."""

from __future__ import annotations

import argparse
import datetime
import re
import textwrap
from typing import Any

from growth.options import add_file_output, add_folder_output
from growth.output import YAML

WIDTH = 96


def add_command(subparsers: Any) -> None:
    """Hand the command in."""
    earned = subparsers.add_parser(
        "earned", help="say what your pieces earned, from a ledger of views, sign-ups and buyers"
    )
    actions = earned.add_subparsers(title="actions", metavar="ACTION", required=True)

    take = _action(actions, "import", "take CSV files into the ledger; a file taken twice counts once", _import)
    take.add_argument(
        "files", nargs="+", metavar="CSV", help="files of pieces, days or buyers, told apart by their columns"
    )
    take.add_argument(
        "--correct",
        metavar="YYYY-MM",
        type=_month,
        help="the files are the whole account of this month: replace what was there",
    )
    take.add_argument("--currency", metavar="CODE", help="of every amount, when the ledger is new (EUR where not said)")

    tell = _action(actions, "report", "say what the last pieces earned and which kind to make next", _report)
    tell.add_argument("--last", type=_whole, default=3, metavar="N", help="how many pieces, the newest first (3)")
    tell.add_argument(
        "--day", type=_day, metavar="YYYY-MM-DD", help="as things stood on this day; the ledger's last where not said"
    )

    versus = _action(actions, "compare", "say which of two pieces is better, and how sure that is", _compare)
    versus.add_argument("pieces", nargs=2, metavar="PIECE", help="two pieces by their names")

    launch = _action(actions, "launch", "say which pieces the buyers of a launch name: first, last, at all", _launch)
    launch.add_argument("launch", nargs="?", metavar="LAUNCH", help="the launch; all of them where not said")

    _action(actions, "history", "list every import, corrections among them", _history)

    export = _action(actions, "export", "write the ledger as CSV files that are safe to open in a spreadsheet", _export)
    add_folder_output(export, "--to", required=True, help="the directory to write to")
    export.add_argument("--as-of", type=_whole, metavar="NUMBER", help="as the ledger stood after this import")

    loop = _action(actions, "scenario", "write the measured rates into the content channel of a scenario", _scenario)
    loop.add_argument("scenario", metavar="SCENARIO", help="the scenario file of your own list")
    loop.add_argument("--channel", required=True, metavar="NAME", help="the content channel that the pieces belong to")
    loop.add_argument("--pieces", type=float, metavar="N", help="forecast so many more pieces, over six months")
    add_file_output(loop, "--to", suffixes=YAML, required=True, help="the scenario file to write")


def _action(actions: Any, name: str, does: str, run: Any) -> argparse.ArgumentParser:
    parser = actions.add_parser(name, help=does, description=does[0].upper() + does[1:] + ".")
    parser.add_argument("ledger", metavar="LEDGER", help="the ledger's file")
    parser.set_defaults(run=run, extra="earned")
    return parser


def _import(arguments: argparse.Namespace) -> None:
    from growth.earned.columns import read_csv
    from growth.earned.ledger import Ledger

    batches = [read_csv(file) for file in arguments.files]
    with Ledger(arguments.ledger, create=True, currency=arguments.currency) as ledger:
        done = ledger.record(batches, on=datetime.date.today().isoformat(), correct=arguments.correct)
    if done.number is None:
        print(f"Nothing new: all {done.unchanged:,} rows are in {arguments.ledger} already.")
        return
    print(
        f"Import {done.number} into {arguments.ledger}: {done.added:,} rows added, {done.corrected:,} corrected, "
        f"{done.withdrawn:,} withdrawn, {done.unchanged:,} there already. What was there before is kept."
    )


def _report(arguments: argparse.Namespace) -> None:
    from growth.earned.sentences import report_text
    from growth.earned.worth import report

    with _opened(arguments) as ledger:
        found = report(ledger, day=arguments.day, last=arguments.last)
    print(f"As of {found.day}.")
    _say(report_text(found))


def _compare(arguments: argparse.Namespace) -> None:
    from growth.earned.sentences import CAUTION, comparison_sentences
    from growth.earned.worth import compare, report
    from growth.errors import MeasureError, Problem

    with _opened(arguments) as ledger:
        found = {one.piece.name: one for one in report(ledger).pieces}
    missing = [name for name in arguments.pieces if name not in found]
    if missing:
        raise MeasureError([Problem("", "pieces of the ledger", ", ".join(missing), f"There is {', '.join(found)}.")])
    a, b = (found[name] for name in arguments.pieces)
    _say([*comparison_sentences(a, b, compare(a, b)), CAUTION])


def _launch(arguments: argparse.Namespace) -> None:
    from growth.earned.mentions import launches, mentions
    from growth.earned.sentences import mention_sentences
    from growth.errors import MeasureError, Problem

    with _opened(arguments) as ledger:
        names = launches(ledger)
        if arguments.launch and arguments.launch not in names:
            raise MeasureError(
                [Problem("", "a launch of the ledger", arguments.launch, f"There is {', '.join(names) or 'none'}.")]
            )
        for name in [arguments.launch] if arguments.launch else names:
            buyers, found = mentions(ledger, launch=name)
            _say(mention_sentences(name, buyers, found, ledger.currency))
    if not names:
        print("No buyer in the ledger belongs to a launch.")


def _history(arguments: argparse.Namespace) -> None:
    with _opened(arguments) as ledger:
        for number, day, files, correct in ledger.history():
            print(f"{number:>4}  {day}  {_plain(files)}{f'  (corrects {correct})' if correct else ''}")


def _export(arguments: argparse.Namespace) -> None:
    from growth.earned.export import export

    with _opened(arguments) as ledger:
        for path in export(ledger, to=arguments.to, as_of=arguments.as_of, replace=arguments.replace):
            print(f"Written: {path}")


def _scenario(arguments: argparse.Namespace) -> None:
    import tempfile
    from pathlib import Path

    from growth.calculator.words import percent
    from growth.earned.loop import into_channel, measured
    from growth.earned.worth import report
    from growth.output import write_output
    from growth.scenario.file import load_scenario, save_scenario

    scenario = load_scenario(arguments.scenario)
    with _opened(arguments) as ledger:
        found = report(ledger)
    changed = into_channel(found, scenario, channel=arguments.channel, pieces=arguments.pieces)
    with tempfile.TemporaryDirectory(prefix="growth-") as folder:
        draft = Path(folder) / "draft.yaml"  # the words and comments of the file come along
        draft.write_bytes(Path(arguments.scenario).read_bytes())
        text = save_scenario(changed, draft).read_bytes()
    inputs = [arguments.scenario, arguments.ledger]
    write_output(arguments.to, text, suffixes=YAML, inputs=inputs, replace=arguments.replace)
    rates = measured(found)
    for name, what in (("signup_rate", "of the views sign up"), ("conversion_rate", "of the sign-ups buy in the end")):
        rate = rates[name]
        print(f"{percent(rate.value)} {what} (between {percent(rate.low)} and {percent(rate.high)}).")
    print(f"The scenario lies at {arguments.to}; growth forecast says what would follow.")


def _opened(arguments: argparse.Namespace) -> Any:
    from growth.earned.ledger import Ledger

    return Ledger(arguments.ledger)


def _say(paragraphs: list[str]) -> None:
    for paragraph in paragraphs:
        print()
        print(textwrap.fill(_plain(paragraph), WIDTH, break_on_hyphens=False, break_long_words=False))


def _plain(text: str) -> str:
    """A text from a file as a terminal may show it: no control characters."""
    return "".join(character if character.isprintable() else " " for character in text)


def _month(text: str) -> str:
    if not re.fullmatch(r"[0-9]{4}-(0[1-9]|1[0-2])", text):
        raise argparse.ArgumentTypeError(f"a month as YYYY-MM, not {text!r}")
    return text


def _day(text: str) -> str:
    try:
        return datetime.date.fromisoformat(text).isoformat()
    except ValueError:
        raise argparse.ArgumentTypeError(f"a day as YYYY-MM-DD, not {text!r}") from None


def _whole(text: str) -> int:
    if not text.isdigit() or not 0 < int(text) < 10**9:
        raise argparse.ArgumentTypeError(f"a whole number from 1, not {text!r}")
    return int(text)
