"""The ledger's CSV files, read, validated and written; no text in them becomes a spreadsheet formula."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from growth.earned.ledger import Ledger
from growth.earned.ledger_format import (
    KINDS,
    THOUSANDTHS,
    FileKind,
    FileRows,
    LedgerError,
    Row,
    Value,
    without_addresses,
)
from growth.errors import Problem
from growth.files import read_input
from growth.output import write_outputs
from growth.scenario.entry import shown

MOST_PROBLEMS = 20
MOST_BYTES = 500_000_000  # some five million rows


def read_csv(path: str | Path, *, columns: Mapping[str, str] | None = None) -> FileRows:
    """Read and validate one file of pieces, days or buyers.

    Columns are separated by commas or semicolons and may stand in any order. The text is UTF-8. Lines before the header
    that begin with # are comments.

    Parameters
    ----------
    path : a regular file of at most 500 MB.
    columns : the file's own headings: our name -> heading. Headings that it does not mention are not read. None: the
        file has our names and no others.

    Returns
    -------
    FileRows
        The rows in the order of the kind's columns.

    Raises
    ------
    LedgerError
        What is wrong, line by line.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "buyers.csv"
    ...     _ = file.write_text("buyer;piece;signed_up;bought;amount")
    ...     read_csv(file).kind.name
    'buyers'
    """
    return parse_csv(read_text(path), file=str(path), columns=columns)


def read_text(path: str | Path, *, most_bytes: int = MOST_BYTES) -> str:
    """The text of a UTF-8 file. Raises LedgerError for a folder, a pipe, a device, a workbook or other bytes."""
    content = read_input(path, most_bytes=most_bytes, error=LedgerError, fix="Split it, for instance by year.")
    if content[:4] == b"PK\x03\x04":
        problem = Problem("", "a text file", "a workbook or an archive", "Save its sheet as CSV in UTF-8.")
        raise LedgerError([problem], file=str(path))
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        problem = Problem("", "not text in UTF-8", f"byte {error.start}", "Save it as CSV in UTF-8.")
        raise LedgerError([problem], file=str(path)) from None


def parse_csv(text: str, *, file: str, columns: Mapping[str, str] | None = None) -> FileRows:
    """The rows of a text, as `read_csv` reads them. `file` is its name in errors.

    >>> parse_csv("piece,day,views,sign_ups\\nwhen-to-quit,2026-03-02,310,9\\n", file="days.csv").rows
    [('when-to-quit', '2026-03-02', 310, 0, 9)]
    >>> theirs = {"piece": "Post", "day": "Date"}
    >>> parse_csv("Post,Date,Bounces\\nwhen-to-quit,2026-03-02,4\\n", file="days.csv", columns=theirs).rows
    [('when-to-quit', '2026-03-02', 0, 0, 0)]
    """
    reader, comments = _reader(text)
    rows: list[Row] = []
    lines: list[int] = []
    problems: list[Problem] = []
    seen: dict[Row, int] = {}
    try:
        header = [name.strip() for name in next(reader, [])]
        kind, places = _matched(header, columns, file)
        for cells in reader:
            line = reader.line_num + comments
            if not any(cell.strip() for cell in cells):
                continue
            row = _row(kind, places, cells, len(header), line, problems)
            if len(problems) >= MOST_PROBLEMS:
                break
            if row is None:
                continue
            key = kind.of(row, *kind.key)
            if key in seen:
                rule = f"each {' and '.join(kind.key)} once in a file"
                again = f"the same as on line {seen[key]}"  # a buyer's code may be an address: it is not repeated
                problems.append(Problem(kind.key[0], rule, again, "Keep one of the rows.", line))
            seen[key] = line
            rows.append(row)
            lines.append(line)
    except csv.Error as error:
        problem = Problem("", f"not a CSV file: {error}", line=reader.line_num + comments)
        raise LedgerError([problem], file=file) from None
    if problems:
        raise LedgerError(problems, file=file)
    given = frozenset(name for name, place in zip(kind.names, places, strict=True) if place is not None)
    return FileRows(kind, rows, lines, file, given)


def header_of(text: str) -> list[str]:
    """The headings of a CSV text.

    >>> header_of("# a comment\\nPost; Date\\n")
    ['Post', 'Date']
    """
    try:
        return [name.strip() for name in next(_reader(text)[0], [])]
    except csv.Error:
        return []


def csv_text(kind: FileKind, rows: list[Row]) -> str:
    """Rows as a CSV text that `parse_csv` reads back and in which no cell is a spreadsheet formula.

    >>> csv_text(KINDS["days"], [("when-to-quit", "2026-03-02", 310, 0, 9)]).splitlines()[1]
    'when-to-quit,2026-03-02,310,0,9'
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(kind.names)
    for row in rows:
        writer.writerow([_cell(value, column.is_money) for value, column in zip(row, kind.columns, strict=True)])
    return out.getvalue()


def guarded(text: str) -> str:
    """Guard a text for a CSV file: an apostrophe in front of what a spreadsheet would take for a formula.

    >>> guarded('=HYPERLINK("https://example.org")')
    '\\'=HYPERLINK("https://example.org")'
    """
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r", "\n", "'", "|", "%") else text


def unguarded(text: str) -> str:
    """The inverse of `guarded`.

    >>> unguarded("'=1"), unguarded("plain")
    ('=1', 'plain')
    """
    return text[1:] if len(text) > 1 and text[0] == "'" and guarded(text[1:]) != text[1:] else text


def _reader(text: str) -> tuple[Any, int]:
    """A CSV reader of the text after its comments, and the number of comment lines."""
    found = re.match(r"(#[^\n]*\n)*", text)
    comments = len(found[0].splitlines()) if found else 0
    text = text.split("\n", comments)[comments]
    head = text.partition("\n")[0]
    delimiter = ";" if head.count(";") > head.count(",") else ","
    return csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True), comments


def _matched(header: list[str], columns: Mapping[str, str] | None, file: str) -> tuple[FileKind, list[int | None]]:
    """The kind of file, and where each of its columns stands in the header."""
    theirs = {column.name: column.name for kind in KINDS.values() for column in kind.columns}
    if columns is not None:
        theirs = dict(columns)
    ours = [next((name for name in theirs if theirs[name] == heading), None) for heading in header]
    known = {name for name in ours if name is not None}
    for kind in KINDS.values():
        whole = columns is not None or None not in ours
        if whole and kind.needed <= known <= set(kind.names) and len(set(header)) == len(header):
            return kind, [ours.index(name) if name in known else None for name in kind.names]
    listed = "; ".join(f"{kind.name}: {', '.join(kind.names)}" for kind in KINDS.values())
    found = shown(without_addresses(", ".join(header))) if header else "an empty file"
    raise LedgerError([Problem("", "the columns of one kind of file", found, f"The kinds are {listed}.", 1)], file=file)


def _row(
    kind: FileKind, places: list[int | None], cells: list[str], width: int, line: int, problems: list[Problem]
) -> Row | None:
    if len(cells) != width:
        found = f"{len(cells)}"
        problems.append(Problem("", f"{width} cells in every row", found, "Put texts with commas in quotes.", line))
        return None
    values: dict[str, Value] = {}
    before = len(problems)
    for column, place in zip(kind.columns, places, strict=True):
        text = "" if place is None else unguarded(cells[place].strip())
        try:
            if not text and column.empty is None:
                raise ValueError
            values[column.name] = column.read(text) if text or column.empty is None else column.empty
        except ValueError:
            hidden = (
                "a code that is too long or holds control characters"
                if column.name == "buyer"
                else shown(without_addresses(text))
            )
            problems.append(Problem(column.name, column.rule, hidden if text else "nothing", "", line))
    if len(problems) > before:
        return None
    if kind.name == "buyers":
        problems.extend(_contradictions(values, line))
    return tuple(values.values()) if len(problems) == before else None


def _contradictions(row: dict[str, Value], line: int) -> list[Problem]:
    if bool(row["piece"]) != bool(row["signed_up"]):
        return [Problem("signed_up", "piece and signed_up both, or neither", "one of the two", "", line)]
    if str(row["signed_up"]) > str(row["bought"]):
        return [Problem("bought", "not before signed_up", str(row["bought"]), "Are the two days swapped?", line)]
    return []


def _cell(value: Value, money: bool) -> str:
    if isinstance(value, str):
        return guarded(value)
    if money:
        return f"{value / THOUSANDTHS:.3f}".rstrip("0").rstrip(".")
    return f"{value:g}" if isinstance(value, float) else str(value)


def export(ledger: Ledger, *, to: str | Path, as_of: int | None = None, replace: bool = False) -> list[Path]:
    """Write pieces.csv, days.csv and buyers.csv to a folder, which is made where it is missing.

    as_of: the number of an import: the rows as they stood after it. Raises FileError where one of the files is there
    already, unless they are to be replaced, and LedgerError where one cannot be written.

    >>> import tempfile
    >>> with Ledger(":memory:", create=True) as ledger, tempfile.TemporaryDirectory() as folder:
    ...     [path.name for path in export(ledger, to=folder)]
    ['pieces.csv', 'days.csv', 'buyers.csv']
    """
    contents = {f"{kind.name}.csv": csv_text(kind, ledger.rows(kind.name, as_of=as_of)) for kind in KINDS.values()}
    try:
        return write_outputs(to, contents, inputs=[ledger.file], replace=replace)
    except OSError as error:
        raise LedgerError([Problem("", "it cannot be written", error.strerror or str(error))], file=str(to)) from None
