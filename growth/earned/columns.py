"""The three kinds of file that a ledger is filled from, column by column, and their validation.

    pieces   what was published, and what it cost to make
    days     what each piece brought on each day
    buyers   who bought, when, for how much, and which pieces they name as what brought them

A file's kind is told by its columns. A buyer is a number or code of your own, never a name or an address.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from growth.errors import GrowthError, Problem
from growth.scenario.entry import shown

MOST_PROBLEMS = 20
LONGEST_TEXT = 2_000
THOUSANDTHS = 1_000  # money is held in whole thousandths, so that sums are exact in every currency
_SLUG = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


class LedgerError(GrowthError):
    """A ledger, or a file for it, that cannot be used; nothing was changed."""


def _piece(text: str) -> str:
    if not _SLUG.fullmatch(text) or len(text) > 60:
        raise ValueError
    return text


def _text(text: str) -> str:
    if len(text) > LONGEST_TEXT or any(ord(c) < 32 and c not in "\n\t\r" for c in text):
        raise ValueError
    return text


def _day(text: str) -> str:
    if len(text) != 10:
        raise ValueError
    return datetime.date.fromisoformat(text).isoformat()


def _count(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,12}", text):
        raise ValueError
    return int(text)


def _hours(text: str) -> float:
    if not re.fullmatch(r"[0-9]{1,6}(\.[0-9]{1,6})?", text):
        raise ValueError
    return float(text)


def _money(text: str) -> int:
    try:
        if not re.fullmatch(r"[0-9]{1,10}(\.[0-9]{1,3})?", text):
            raise ValueError
        return int(Decimal(text) * THOUSANDTHS)
    except InvalidOperation:
        raise ValueError from None


def _named(text: str) -> str:
    return ";".join(_piece(part.strip()) for part in text.split(";")) if text.strip() else ""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, how its text is read, the rule as an error says it, and the value of an empty cell."""

    name: str
    read: Callable[[str], Any]
    rule: str
    empty: Any = None  # None: the cell may not be empty
    kind: str = "TEXT"


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of file and table. key: the columns that tell rows apart; day: the column whose month a row belongs
    to."""

    name: str
    key: tuple[str, ...]
    day: str
    columns: tuple[Column, ...]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)

    def place(self, name: str) -> int:
        return self.names.index(name)


SLUG_RULE = "small letters, digits and hyphens, at most 60, as in the giveaway's name"
DAY_RULE = "a day as year-month-day, such as 2026-03-09"
MONEY_RULE = "an amount such as 1200 or 99.50, a point for decimals, no currency sign"

KINDS = {
    kind.name: kind
    for kind in (
        Kind(
            "pieces",
            ("piece",),
            "published",
            (
                Column("piece", _piece, SLUG_RULE),
                Column("title", _text, f"a text of at most {LONGEST_TEXT:,} characters", ""),
                Column("published", _day, DAY_RULE),
                Column("hours", _hours, "hours of work such as 14 or 7.5", 0.0, "REAL"),
                Column("hourly_rate", _money, MONEY_RULE, 0, "INTEGER"),
                Column("other_cost", _money, MONEY_RULE, 0, "INTEGER"),
            ),
        ),
        Kind(
            "days",
            ("piece", "day"),
            "day",
            (
                Column("piece", _piece, SLUG_RULE),
                Column("day", _day, DAY_RULE),
                Column("views", _count, "a whole number", 0, "INTEGER"),
                Column("shares", _count, "a whole number", 0, "INTEGER"),
                Column("sign_ups", _count, "a whole number", 0, "INTEGER"),
            ),
        ),
        Kind(
            "buyers",
            ("buyer", "bought"),
            "bought",
            (
                Column("buyer", _text, "a number or code of your own for the buyer, without personal data"),
                Column("piece", _piece, SLUG_RULE + "; empty where the buyer signed up elsewhere", ""),
                Column("signed_up", _day, DAY_RULE + "; empty without a piece", ""),
                Column("bought", _day, DAY_RULE),
                Column("amount", _money, MONEY_RULE, None, "INTEGER"),
                Column("launch", _text, "the name of the launch the sale belongs to, if any", ""),
                Column("named", _named, "pieces the buyer names, in the buyer's order, with ; between them", ""),
                Column("words", _text, f"the buyer's own words, at most {LONGEST_TEXT:,} characters", ""),
            ),
        ),
    )
}


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """The rows of one file, validated: tuples in the order of the kind's columns, with the line each stands on."""

    kind: Kind
    rows: Sequence[tuple]
    lines: Sequence[int]
    file: str


def read_csv(path: str | Path) -> Batch:
    """A file's rows, validated, in the order of its kind's columns.

    Commas or semicolons part the columns; their order is free; the text is UTF-8; lines before the first that begin
    with # are notes. Raises LedgerError that lists what is wrong, with its line.
    """
    file = str(path)
    try:
        text = Path(path).read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise LedgerError(
            [Problem("", "there is no such file", fix="Check the name and the folder.")], file=file
        ) from None
    except UnicodeDecodeError as error:
        raise LedgerError(
            [Problem("", "not text in UTF-8", f"byte {error.start}", "Save it as CSV in UTF-8.")], file=file
        ) from None
    except OSError as error:
        raise LedgerError([Problem("", "it cannot be read", error.strerror or str(error))], file=file) from None
    return parse_csv(text, file=file)


def parse_csv(text: str, *, file: str) -> Batch:
    """The rows of a text in the layout of `read_csv`; `file` is its name in errors.

    >>> parse_csv("piece,day,views,sign_ups\\nwhen-to-quit,2026-03-02,310,9\\n", file="days.csv").rows
    [('when-to-quit', '2026-03-02', 310, 0, 9)]
    """
    notes = len(re.match(r"(#[^\n]*\n)*", text)[0].splitlines())
    text = text.split("\n", notes)[notes]
    head = text.partition("\n")[0]
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=";" if head.count(";") > head.count(",") else ",", strict=True
    )
    try:
        header = [name.strip() for name in next(reader, [])]
        kind = _kind_of(header, file)
        places = [header.index(column.name) if column.name in header else None for column in kind.columns]
        rows, lines, problems, seen = [], [], [], {}
        for cells in reader:
            line = reader.line_num + notes
            if not any(cell.strip() for cell in cells):
                continue
            row = _row(kind, places, cells, len(header), line, problems)
            if len(problems) >= MOST_PROBLEMS:
                break
            if row is None:
                continue
            key = tuple(row[kind.place(name)] for name in kind.key)
            if key in seen:
                rule = f"each {' and '.join(kind.key)} once in a file"
                problems.append(
                    Problem(
                        kind.key[0], rule, f"{' '.join(key)}, as on line {seen[key]}", "Keep one of the rows.", line
                    )
                )
            seen[key] = line
            rows.append(row)
            lines.append(line)
    except csv.Error as error:
        raise LedgerError([Problem("", f"not a CSV file: {error}", line=reader.line_num + notes)], file=file) from None
    if problems:
        raise LedgerError(problems, file=file)
    return Batch(kind, rows, lines, file)


def _kind_of(header: list[str], file: str) -> Kind:
    for kind in KINDS.values():
        needed = [column.name for column in kind.columns if column.empty is None]
        if set(needed) <= set(header) <= set(kind.names) and len(set(header)) == len(header):
            return kind
    columns = "; ".join(f"{kind.name}: {', '.join(kind.names)}" for kind in KINDS.values())
    found = shown(", ".join(header)) if header else "an empty file"
    raise LedgerError(
        [Problem("", "the columns of one kind of file", found, f"The kinds are {columns}.", 1)], file=file
    )


def _row(kind: Kind, places: list, cells: list[str], width: int, line: int, problems: list[Problem]) -> tuple | None:
    if len(cells) != width:
        problems.append(
            Problem("", f"{width} cells in every row", str(len(cells)), "Put texts with commas in quotes.", line)
        )
        return None
    values, before = [], len(problems)
    for column, place in zip(kind.columns, places, strict=True):
        text = "" if place is None else unguarded(cells[place].strip())
        try:
            if not text and column.empty is None:
                raise ValueError
            values.append(column.read(text) if text else column.empty)
        except ValueError:
            problems.append(Problem(column.name, column.rule, shown(text) if text else "nothing", "", line))
            values.append(None)
    if len(problems) == before and kind.name == "buyers":
        _buyer(dict(zip(kind.names, values, strict=True)), line, problems)
    return tuple(values) if len(problems) == before else None


def _buyer(row: dict[str, Any], line: int, problems: list[Problem]) -> None:
    if bool(row["piece"]) != bool(row["signed_up"]):
        problems.append(Problem("signed_up", "piece and signed_up both, or neither", "one of the two", "", line))
    elif row["signed_up"] > row["bought"]:
        problems.append(Problem("bought", "not before signed_up", row["bought"], "Are the two days swapped?", line))


def guarded(text: str) -> str:
    """A text as it may stand in a CSV file: what a spreadsheet would take for a formula gets an apostrophe in front.

    >>> guarded('=HYPERLINK("https://example.org")')
    '\\'=HYPERLINK("https://example.org")'
    """
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r", "\n", "'", "|", "%") else text


def unguarded(text: str) -> str:
    """The text that `guarded` was given."""
    return text[1:] if len(text) > 1 and text[0] == "'" and guarded(text[1:]) != text[1:] else text
