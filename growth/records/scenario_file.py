"""Writing the scenario file: every measured value with its interval and source in a comment beside it."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Any

from growth.output import YAML, check_output, write_output
from growth.records.measured import Measured
from growth.records.page_draft import ABOUT, page_words
from growth.records.read.values import NONE
from growth.records.report import notes
from growth.records.to_scenario import DEFAULT, Value, assumptions
from growth.scenario import Scenario
from growth.scenario.document import parse
from growth.scenario.file import scenario_of
from growth.scenario.write import entry, flow, scalar

COMMENT_AT, WIDTH = 42, 98  # column where comments begin where the value leaves room, and where lines end
HEAD = """\
Measured from billing records of {first} to {last}: {customers:,} customers, {rows:,} rows. No customer is named here.
Beside each measured value stand its 95% interval and what it was measured from. An interval holds the uncertainty of \
counting, not that of the future. What the records cannot tell is marked as a default: put your own numbers there.
A forecast made from this is neither advice nor a promise."""


def scenario_text(measured: Measured, *, business: str, invented: bool = False, months: int = 36) -> str:
    """Return the text of a scenario file: every measured value with its interval and source beside it.

    Parameters
    ----------
    measured : Measured
        From `measure`.
    business : str
        The name that the scenario gets; it is not in the records.
    invented : bool
        Mark the business as invented.
    months : int
        How far the scenario looks ahead, 1 to 120.

    Returns
    -------
    str
        YAML, with the words of a page drafted under `giveaway`.
    """
    book = measured.book
    head = HEAD.format(
        first=book.first_month,
        last=book.first_month + (book.months - 1),
        customers=int((book.converted != NONE).sum()),
        rows=book.rows.size,
    )
    said = [*(head.split("\n")), *([f"{business} and its records are invented."] if invented else [])]
    said += [f"Note: {note}." for note in notes(measured)]
    values = assumptions(measured, business=business, invented=invented, months=months)
    lines = [f"# {line}" for note in said for line in textwrap.wrap(note, WIDTH - 2)]
    lines += ["", "scenario:", *_lines(values, 2)]
    if defaults := _defaults(values, ""):
        listed = textwrap.wrap("Not in the records, left at defaults: " + ", ".join(defaults) + ".", WIDTH - 2)
        lines += ["", *(f"# {line}" for line in listed)]
    words = page_words(measured, business=business)
    lines += ["", *(f"# {line}" for line in textwrap.wrap(ABOUT, WIDTH - 2)), "giveaway:"]
    lines += _words(words, 2)
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
    """Write a scenario file, whole or not at all.

    Parameters
    ----------
    measured, business, invented, months
        As for `scenario_text`.
    path : str or Path
        The file, ending in .yaml or .yml.
    replace : bool
        Replace a file that is already there.

    Returns
    -------
    Scenario
        What the file holds.

    Raises
    ------
    FileError
        The file is already there and `replace` is not set.
    ScenarioError
        The measured values make no valid scenario.
    """
    check_output(path, suffixes=YAML, replace=replace)
    text = scenario_text(measured, business=business, invented=invented, months=months)
    scenario = scenario_of(parse(text, file=str(path)))
    write_output(path, text, replace=replace)
    return scenario


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
    pad = " " * (len(key) - len(key.lstrip()))
    if isinstance(value.value, list) or len(text) >= COMMENT_AT:
        comment = textwrap.wrap(value.comment, WIDTH - 2 - len(pad))
        return [*(f"{pad}# {line}" for line in comment), *_folded(key, value.value, text)]
    comment = textwrap.wrap(value.comment, WIDTH - 4 - COMMENT_AT)
    return [f"{text:<{COMMENT_AT}}# {comment[0]}", *(" " * COMMENT_AT + f"#   {line}" for line in comment[1:])]


def _folded(key: str, value: Any, text: str) -> list[str]:
    """Break a long list of sections into lines, keeping each section whole; anything else stays on one line."""
    if len(text) <= WIDTH or not isinstance(value, list):
        return [text]
    pad = " " * (len(key) - len(key.lstrip()) + 2)
    parts = [flow(part).replace(" ", "\0") for part in value]  # a section is not broken
    lines = textwrap.wrap(", ".join(parts), WIDTH - len(pad), break_long_words=False, break_on_hyphens=False)
    return [f"{key}: [", *(pad + line.replace("\0", " ") for line in lines), f"{pad[2:]}]"]


def _words(values: dict[str, Any], indent: int) -> list[str]:
    """Lay out sections of prose: texts folded, lists under dashes."""
    pad, lines = " " * indent, []
    for key, value in values.items():
        if isinstance(value, dict):
            lines += [f"{pad}{key}:", *_words(value, indent + 2)]
        elif isinstance(value, list):
            lines.append(f"{pad}{key}:")
            for text in value:
                folded = textwrap.wrap(text, WIDTH - 4 - indent, break_long_words=False, break_on_hyphens=False)
                lines += [f"{pad}  - >-", *(f"{pad}    {line}" for line in folded)]
        else:
            lines.append(f"{pad}{entry(key, value, indent)}")
    return lines


def _defaults(value: Any, place: str) -> list[str]:
    if isinstance(value, Value):
        return [place.lstrip(".")] if value.comment == DEFAULT or value.comment.startswith("not in the records") else []
    if isinstance(value, dict):
        return [name for key, part in value.items() for name in _defaults(part, f"{place}.{key}")]
    if isinstance(value, list):
        return [name for part in value for name in _defaults(part, place)]
    return []
