"""Writing the scenario file: every measured value with its interval and source in a comment beside it."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Any

from growth.errors import Problem
from growth.files import replace_file
from growth.records.assumptions import DEFAULT, Value, assumptions
from growth.records.measured import Measured
from growth.records.unreadable import RecordsError
from growth.scenario import Scenario
from growth.scenario.document import parse
from growth.scenario.file import scenario_of
from growth.scenario.write import flow, scalar

COMMENT_AT = 46  # column where comments begin, where the value leaves room
HEAD = """\
Measured from billing records of {first} to {last}: {customers:,} customers, {rows:,} rows. No customer is named here.
Beside each measured value stand its 95% interval and what it was measured from. An interval holds the uncertainty of counting, \
not that of the future. What the records cannot tell is marked as a default: put your own numbers there.
A forecast made from this is neither advice nor a promise."""


def scenario_text(measured: Measured, *, business: str, invented: bool = False, months: int = 36) -> str:
    """The whole file as text. Raises ScenarioError where the measured values make no valid scenario."""
    book = measured.book
    words = HEAD.format(
        first=book.first_month,
        last=book.first_month + (book.months - 1),
        customers=len(set(book.customer.tolist())),
        rows=book.rows.amount.size,
    )
    notes = [*(words.split("\n")), *([f"{business} and its records are invented."] if invented else [])]
    notes += [f"Note: {note}." for note in (*book.notes, *_left_out(measured))]
    values = assumptions(measured, business=business, invented=invented, months=months)
    lines = [f"# {line}" for note in notes for line in textwrap.wrap(note, 116)]
    lines += ["", "scenario:", *_lines(values, 2)]
    if defaults := _defaults(values, ""):
        listed = textwrap.wrap("Not in the records, left at defaults: " + ", ".join(defaults) + ".", 116)
        lines += ["", *(f"# {line}" for line in listed)]
    return "\n".join(lines) + "\n"


def write_scenario(
    measured: Measured,
    path: str | Path,
    *,
    business: str,
    invented: bool = False,
    months: int = 36,
    replace: bool = False,
) -> Scenario:
    """Write the file, whole or not at all, and return the scenario it holds.

    Raises RecordsError where the file is there already and `replace` is not set, ScenarioError where the values make no
    valid scenario; nothing is written then.
    """
    if Path(path).exists() and not replace:
        raise RecordsError(
            [Problem("", "a file that is not there yet", fix="Take another name, or give --replace.")], file=str(path)
        )
    text = scenario_text(measured, business=business, invented=invented, months=months)
    scenario = scenario_of(parse(text, file=str(path)))
    replace_file(path, text)
    return scenario


def _left_out(measured: Measured) -> list[str]:
    rows, notes = measured.book.rows, []
    if rows.unreadable.total:
        kinds = "; ".join(str(rows.unreadable).splitlines())
        notes.append(f"{rows.unreadable.total:,} rows could not be read and are left out ({kinds})")
    if measured.unknown_ages:
        notes.append(
            f"{measured.unknown_ages:,} customers were on board before the records begin, nobody knows since when: "
            "they are left out of the churn curves"
        )
    return notes


def _lines(values: dict[str, Any], indent: int) -> list[str]:
    pad, lines = " " * indent, []
    for key, value in values.items():
        if isinstance(value, dict):
            lines += [*([""] if indent == 2 else []), f"{pad}{key}:", *_lines(value, indent + 2)]
        elif isinstance(value, list):
            lines.append(f"{pad}{key}:")
            for part in value:
                first, *rest = _lines(part, indent + 4)
                lines += [f"{pad}  - {first.lstrip()}", *rest]
        else:
            lines += _leaf(pad + key, value)
    return lines


def _leaf(key: str, value: Any) -> list[str]:
    if not isinstance(value, Value):
        return [f"{key}: {scalar(value)}"]
    text = f"{key}: {flow(value.value) if isinstance(value.value, (list, dict)) else scalar(value.value)}"
    comment = textwrap.wrap(value.comment, 72)
    pad = " " * (len(key) - len(key.lstrip()))
    if isinstance(value.value, list) or len(text) >= COMMENT_AT:
        return [*(f"{pad}# {line}" for line in comment), *_folded(key, value.value, text)]
    return [f"{text:<{COMMENT_AT}}# {comment[0]}", *(" " * COMMENT_AT + f"#   {line}" for line in comment[1:])]


def _folded(key: str, value: Any, text: str) -> list[str]:
    """A long list of sections in braces, one a line; anything else as it is."""
    if len(text) <= 110 or not isinstance(value, list):
        return [text]
    pad = " " * (len(key) - len(key.lstrip()) + 2)
    return [f"{key}:", *(f"{pad}- {flow(part)}" for part in value)]


def _defaults(value: Any, place: str) -> list[str]:
    if isinstance(value, Value):
        return [place.lstrip(".")] if value.comment == DEFAULT or value.comment.startswith("not in the records") else []
    if isinstance(value, dict):
        return [name for key, part in value.items() for name in _defaults(part, f"{place}.{key}")]
    if isinstance(value, list):
        return [name for part in value for name in _defaults(part, place)]
    return []
