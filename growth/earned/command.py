"""The command `growth earned`: fill the ledger, and ask what the pieces earned."""

from __future__ import annotations

import argparse
import datetime
import re
import textwrap
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from growth.output import YAML, add_file_output, add_folder_output, confirmed

if TYPE_CHECKING:
    from growth.earned.ledger import Ledger
    from growth.earned.ledger_format import FileRows

WIDTH = 96


def add_command(subparsers: Any) -> None:
    """Add `earned` to the command line."""
    what = "say what your pieces earned, from a ledger of views, sign-ups and buyers"
    earned = subparsers.add_parser("earned", help=what)
    actions = earned.add_subparsers(title="actions", metavar="ACTION", required=True)

    take = _action(actions, "import", "take CSV files into the ledger; a file taken twice counts once", _import)
    files = "files of pieces, days or buyers, told apart by their columns"
    month = "the files are the whole account of this month: replace what was there"
    take.add_argument("files", nargs="+", metavar="CSV", help=files)
    take.add_argument("--correct", metavar="YYYY-MM", type=_month, help=month)
    take.add_argument("--currency", metavar="CODE", help="of every amount, when the ledger is new (EUR where not said)")
    take.add_argument("--columns", metavar="FILE", help="a YAML file that says what your columns are called")
    take.add_argument("--yes", action="store_true", help="take the guess at what your columns mean")
    add_file_output(take, "--remember", suffixes=YAML, help="write what your columns are called, for --columns")

    tell = _action(actions, "report", "say what the last pieces earned and which kind to make next", _report)
    tell.add_argument("--last", type=_whole, default=3, metavar="N", help="how many pieces, the newest first (3)")
    day = "as things stood on this day; the ledger's last where not said"
    tell.add_argument("--day", type=_day, metavar="YYYY-MM-DD", help=day)
    tell.add_argument("--keep-robots", action="store_true", help="count the days that look like robots too")

    versus = _action(actions, "compare", "say which of two pieces is better, and how sure that is", _compare)
    versus.add_argument("pieces", nargs=2, metavar="PIECE", help="two pieces by their names")

    launch = _action(actions, "launch", "say which pieces the buyers of a launch name: first, last, at all", _launch)
    launch.add_argument("launch", nargs="?", metavar="LAUNCH", help="the launch; all of them where not said")

    _action(actions, "named", "show what buyers name by the piece they signed up with", _named)

    _action(actions, "history", "list every import, corrections among them", _history)

    export = _action(actions, "export", "write the ledger as CSV files that are safe to open in a spreadsheet", _export)
    add_folder_output(export, "--to", required=True, help="the directory to write to")
    export.add_argument("--as-of", type=_whole, metavar="NUMBER", help="as the ledger stood after this import")

    loop = _action(actions, "scenario", "write the measured rates into the content channel of a scenario", _scenario)
    loop.add_argument("scenario", metavar="SCENARIO", help="the scenario file of your own list")
    loop.add_argument("--channel", required=True, metavar="NAME", help="the content channel that the pieces belong to")
    loop.add_argument("--pieces", type=float, metavar="N", help="forecast so many more pieces, over six months")
    add_file_output(loop, "--to", suffixes=YAML, required=True, help="the scenario file to write")


def _action(actions: Any, name: str, does: str, run: Callable[[argparse.Namespace], None]) -> argparse.ArgumentParser:
    parser = actions.add_parser(name, help=does, description=does[0].upper() + does[1:] + ".")
    parser.add_argument("ledger", metavar="LEDGER", help="the ledger's file")
    parser.set_defaults(run=run, extra="earned")
    return parser


def _import(arguments: argparse.Namespace) -> None:
    from growth.earned.column_names import names_text
    from growth.earned.ledger import Ledger
    from growth.earned.ledger_format import LedgerError
    from growth.errors import Problem
    from growth.output import local_path, write_output

    local_path(arguments.ledger)
    if arguments.ledger == ":memory:":
        problem = Problem("", "the name of a file", ":memory:", "A ledger in memory would be lost at once.")
        raise LedgerError([problem], file=arguments.ledger)
    batches, names = _read(arguments)
    on = datetime.date.today().isoformat()
    if not Path(arguments.ledger).exists():  # what is wrong shows before a file is made
        with Ledger(":memory:", create=True, currency=arguments.currency) as trial:
            trial.record(batches, on=on, correct=arguments.correct)
    with Ledger(arguments.ledger, create=True, currency=arguments.currency) as ledger:
        done = ledger.record(batches, on=on, correct=arguments.correct)
    if arguments.remember:
        inputs = [arguments.ledger, arguments.columns, *arguments.files]
        write_output(arguments.remember, names_text(names), suffixes=YAML, inputs=inputs, replace=arguments.replace)
        print(f"Written: {arguments.remember}, for --columns.")
    if done.number is None:
        print(f"Nothing new: all {done.unchanged:,} rows are in {arguments.ledger} already.")
        return
    print(
        f"Import {done.number} into {arguments.ledger}: {done.added:,} rows added, {done.corrected:,} corrected, "
        f"{done.completed:,} completed, {done.withdrawn:,} withdrawn, {done.unchanged:,} there already. "
        "What was there before is kept."
    )


def _read(arguments: argparse.Namespace) -> tuple[list[FileRows], dict[str, dict[str, str]]]:
    """The rows of the files, and the names of their columns, from the columns file or a confirmed guess."""
    from growth.earned import column_names
    from growth.earned.ledger_csv import read_csv

    names = column_names.load_names(arguments.columns) if arguments.columns else {}
    batches = []
    for file in arguments.files:
        header = column_names.headings(file)
        columns = None if column_names.is_ours(header) else column_names.known(header, names)
        guess = None if columns or column_names.is_ours(header) else column_names.guess(header)
        if guess is not None:
            _agreed(file, str(guess), arguments.yes)
            columns = guess.columns
            names[guess.kind] = {**names.get(guess.kind, {}), **columns}
        batches.append(read_csv(file, columns=columns))
    return batches, names


def _agreed(file: str, guess: str, yes: bool) -> None:
    """Show what was understood. Raises LedgerError unless the user confirms it."""
    from growth.earned.ledger_format import LedgerError
    from growth.errors import Problem

    print(textwrap.fill(_plain(f"{file} would be read as {guess}."), WIDTH, break_on_hyphens=False))
    if confirmed(yes):
        return
    fix = "Add --yes if that is right; else say what they are called in a file for --columns."
    raise LedgerError([Problem("", "columns whose meaning you have agreed to", "a guess", fix)], file=file)


def _report(arguments: argparse.Namespace) -> None:
    from growth.earned.earnings import report
    from growth.earned.earnings_text import age_table, report_text
    from growth.earned.piece_report import value_by_age

    with _opened(arguments) as ledger:
        found = report(ledger, day=arguments.day, last=arguments.last, robots=arguments.keep_robots)
    print(f"As of {found.day}.")
    *told, cautions = report_text(found)
    _say(told)
    bands = value_by_age(found.pieces, day=found.day)
    if bands:
        print("\nThe value of a sign-up by its age:\n")
        _print_table(age_table(bands, found.currency))
    _say([cautions])


def _compare(arguments: argparse.Namespace) -> None:
    from growth.earned.earnings import report
    from growth.earned.earnings_text import CAUTION, comparison_sentences
    from growth.earned.piece_report import compare
    from growth.errors import MeasureError, Problem

    with _opened(arguments) as ledger:
        told = report(ledger)
    found = {one.piece.name: one for one in told.pieces}
    missing = [name for name in arguments.pieces if name not in found]
    if missing:
        raise MeasureError([Problem("", "pieces of the ledger", ", ".join(missing), f"There is {', '.join(found)}.")])
    a, b = (found[name] for name in arguments.pieces)
    _say([*comparison_sentences(a, b, compare(a, b), told.currency), CAUTION])


def _launch(arguments: argparse.Namespace) -> None:
    from growth.earned.buyers import launches, mentions
    from growth.earned.earnings_text import mention_sentences
    from growth.errors import MeasureError, Problem

    with _opened(arguments) as ledger:
        names = launches(ledger)
        if arguments.launch and arguments.launch not in names:
            there = f"There is {', '.join(names) or 'none'}."
            raise MeasureError([Problem("", "a launch of the ledger", arguments.launch, there)])
        for name in [arguments.launch] if arguments.launch else names:
            buyers, found = mentions(ledger, launch=name)
            _say(mention_sentences(name, buyers, found, ledger.currency))
    if not names:
        print("No buyer in the ledger belongs to a launch.")


def _named(arguments: argparse.Namespace) -> None:
    from growth.earned.buyers import named_by_signed_up, read_buyers
    from growth.earned.earnings_text import named_table
    from growth.earned.piece_counts import last_day

    with _opened(arguments) as ledger:
        buyers = read_buyers(ledger, day=last_day(ledger) or "")
        currency = ledger.currency
    if not buyers:
        print("There is no buyer in the ledger.")
        return
    _print_table(named_table(named_by_signed_up(buyers), currency))
    _say(["Each buyer stands in one row. What was named first began it; it need not be what they signed up with."])


def _history(arguments: argparse.Namespace) -> None:
    with _opened(arguments) as ledger:
        for number, day, files, correct in ledger.history():
            print(f"{number:>4}  {day}  {_plain(files)}{f'  (corrects {correct})' if correct else ''}")


def _export(arguments: argparse.Namespace) -> None:
    from growth.earned.ledger_csv import export

    with _opened(arguments) as ledger:
        for path in export(ledger, to=arguments.to, as_of=arguments.as_of, replace=arguments.replace):
            print(f"Written: {path}")


def _scenario(arguments: argparse.Namespace) -> None:
    from growth.earned.earnings import report
    from growth.earned.piece_text import percent
    from growth.earned.to_scenario import into_channel, measured
    from growth.files import scratch
    from growth.output import write_output
    from growth.scenario.file import load_scenario, save_scenario

    scenario = load_scenario(arguments.scenario)
    with _opened(arguments) as ledger:
        found = report(ledger)
    changed = into_channel(found, scenario, channel=arguments.channel, pieces=arguments.pieces)
    with scratch() as folder:
        draft = folder / "draft.yaml"  # the words and comments of the file come along
        draft.write_bytes(Path(arguments.scenario).read_bytes())
        text = save_scenario(changed, draft).read_bytes()
    inputs = [arguments.scenario, arguments.ledger]
    write_output(arguments.to, text, suffixes=YAML, inputs=inputs, replace=arguments.replace)
    rates = measured(found)
    for name, what in (("signup_rate", "of the views sign up"), ("conversion_rate", "of the sign-ups buy in the end")):
        rate = rates[name]
        print(f"{percent(rate.value or 0)} {what} (between {percent(rate.low)} and {percent(rate.high)}).")
    print(f"Written: {arguments.to}. growth forecast says what would follow.")


def _opened(arguments: argparse.Namespace) -> Ledger:
    from growth.earned.ledger import Ledger

    return Ledger(arguments.ledger)


def _say(paragraphs: Sequence[str]) -> None:
    for paragraph in paragraphs:
        print()
        print(textwrap.fill(_plain(paragraph), WIDTH, break_on_hyphens=False, break_long_words=False))


def _print_table(rows: Sequence[Sequence[str]]) -> None:
    widths = [max(len(_plain(cell)) for cell in column) for column in zip(*rows, strict=True)]
    for row in rows:
        print("  ".join(_plain(cell).ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())


def _plain(text: str) -> str:
    """A text from a file without control characters, safe for a terminal."""
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
