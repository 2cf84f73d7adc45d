"""A CSV file as blocks of texts: Arrow parses the lines; the few that need more care are parsed one record at a time.

A line needs care where it holds an odd number of quotation marks: its record may go on in the next line, or a mark may
stand in the middle of a value. Python's csv module decides what such a record is.
"""

from __future__ import annotations

import csv
from collections import deque
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from mmap import ACCESS_READ, mmap
from pathlib import Path
from typing import TypeAlias

import numpy as np
import pyarrow as pa
import pyarrow.csv as arrow_csv

from growth.errors import Problem
from growth.records.read.column_names import ColumnNames
from growth.records.read.rows import Block, RecordsError, encoded

BLOCK_SIZE = 1 << 24  # bytes
ROW_BYTES = 60  # of a usual row
LONGEST_HEADER = 64 * 1024  # bytes
DELIMITERS = ",;\t|"
LINE_FEED, CARRIAGE_RETURN, QUOTE = b'\n\r"'
OPEN_QUOTE = "a quotation mark that is not closed, or a value of endless length"
LINE_BREAK = "a line break within a value, as after a quotation mark that is not closed"
WRONG_WIDTH = "not as many values as there are columns"


# our columns as binary arrays, the line of each record, and line and kind of fault of those that could not be split
ParsedBlock: TypeAlias = tuple[dict[str, pa.Array], np.ndarray, list[tuple[int, str]]]


@dataclass(frozen=True, slots=True)
class _Layout:
    """places: where in a record each of our columns stands. width: values in a record."""

    places: dict[str, int]
    width: int
    delimiter: str


@dataclass(frozen=True, slots=True)
class _Record:
    """One record parsed with care. line: its first. values: empty where there is a fault, or nothing in the line."""

    line: int
    values: list[str]
    fault: str


def csv_blocks(path: Path, names: ColumnNames, rows: int | None = None) -> Iterator[Block]:
    """Yield the file's records in order, some hundred thousand at a time, or about as many as `rows`.

    Raises
    ------
    RecordsError
        The first line does not name the columns.
    """
    with ThreadPoolExecutor(1) as parser:  # one core parses the next block while another interprets this one
        parsed = _parsed_blocks(path, names, rows * ROW_BYTES if rows else BLOCK_SIZE)
        following = parser.submit(next, parsed, None)
        while (block := following.result()) is not None:
            following = parser.submit(next, parsed, None)
            texts, lines, faults = block
            yield Block({ours: encoded(column) for ours, column in texts.items()}, lines, faults)


def csv_header(path: Path) -> list[str]:
    """Return the names of the columns."""
    return _first_line(path)[1]


def _parsed_blocks(path: Path, names: ColumnNames, size: int) -> Iterator[ParsedBlock]:
    layout = _layout(path, names)
    with path.open("rb") as stream, mmap(stream.fileno(), 0, access=ACCESS_READ) as data:
        at, line = _skip_record(data, 0, 1, layout)
        while at < len(data):
            block, at, line = _read_block(data, at, line, layout, size)
            yield block


def _layout(path: Path, names: ColumnNames) -> _Layout:
    delimiter, header = _first_line(path)
    _, places = names.find(header, file=str(path))
    return _Layout(places, len(header), delimiter)


def _first_line(path: Path) -> tuple[str, list[str]]:
    """Return what separates the values, and the names of the columns."""
    with path.open("rb") as stream:
        first = stream.readline(LONGEST_HEADER + 1)
    if len(first) > LONGEST_HEADER:
        rule = "a first line that names the columns, of at most 64 KB"
        raise RecordsError([Problem("", rule, f"{len(first)} bytes or more", line=1)], file=str(path))
    text = first.decode("utf-8-sig", "replace").split("\r")[0]
    headers = [next(csv.reader([text], delimiter=delimiter), []) for delimiter in DELIMITERS]
    delimiter, header = max(zip(DELIMITERS, headers, strict=True), key=lambda pair: len(pair[1]))
    return delimiter, [name.strip() for name in header]


def _read_block(data: mmap, start: int, first_line: int, layout: _Layout, size: int) -> tuple[ParsedBlock, int, int]:
    """Read the records that begin in one block; return also the place and the line of the next record."""
    content = data[start : _end_of_line(data, start + size)]
    ends = _line_ends(content)
    begins = np.concatenate([[0], ends[:-1]])
    plain = ~_blank(content, begins, ends)
    careful = _need_care(content, begins)
    records, beyond = _records(data, start + begins, first_line, careful, plain, layout)
    try:
        texts, lines, faults = _parse(content, begins, ends, plain, layout)
    except pa.ArrowInvalid:  # a quotation mark swallowed a line end: take no line for a record
        plain[:] = False
        records, beyond = _records(data, start + begins, first_line, ~plain, plain, layout)
        texts, lines, faults = _parse(content, begins, ends, plain, layout)
    lines += first_line
    bad = [(first_line + line, WRONG_WIDTH) for line in faults]
    bad += [(record.line, record.fault) for record in records if record.fault]
    if good := [record for record in records if record.values]:
        lines = np.concatenate([lines, [record.line for record in good]])
        order = np.argsort(lines, kind="stable")
        lines = lines[order]
        for ours, place in layout.places.items():
            values = [record.values[place].encode("utf-8", "surrogateescape") for record in good]
            texts[ours] = pa.concat_arrays([texts[ours], pa.array(values, pa.binary())]).take(pa.array(order))
    return (texts, lines, bad), *(beyond or (start + len(content), first_line + ends.size))


def _parse(
    content: bytes, begins: np.ndarray, ends: np.ndarray, plain: np.ndarray, layout: _Layout
) -> tuple[dict[str, pa.Array], np.ndarray, np.ndarray]:
    """Parse the `plain` lines, each of which has to be one record.

    Returns our columns, the line of each record, and the lines with the wrong number of values; lines count from 0.
    Raises ArrowInvalid where a record takes more than its line.
    """
    which = np.flatnonzero(plain)
    if not plain.all():
        raw = np.frombuffer(content, np.uint8)
        content = raw[np.repeat(plain, ends - begins)].tobytes()
    columns = [str(place) for place in range(layout.width)]
    header = layout.delimiter.join(columns).encode() + b"\n"
    last = b"" if content.endswith((b"\n", b"\r")) or not content else b"\n"
    wrong: list[int] = []

    def note(row: arrow_csv.InvalidRow) -> str:
        wrong.append(row.number - 2)  # the header is row 1
        return "skip"

    table = arrow_csv.read_csv(
        # behind the last line the header once more: an open quotation mark would swallow it, and the count be short
        pa.BufferReader(b"".join([header, content, last, header])),
        read_options=arrow_csv.ReadOptions(use_threads=False, block_size=len(content) + 2 * len(header) + 2),
        parse_options=arrow_csv.ParseOptions(
            delimiter=layout.delimiter,
            quote_char='"' if b'"' in content else False,
            ignore_empty_lines=False,
            invalid_row_handler=note,
        ),
        convert_options=arrow_csv.ConvertOptions(
            include_columns=[columns[place] for place in layout.places.values()],
            column_types=dict.fromkeys(columns, pa.binary()),
            strings_can_be_null=False,
        ),
    )
    if table.num_rows + len(wrong) != which.size + 1:
        raise pa.ArrowInvalid("records and lines differ")
    table = table.combine_chunks().slice(0, table.num_rows - 1)
    texts = {ours: column.combine_chunks() for ours, column in zip(layout.places, table.columns, strict=True)}
    return texts, np.delete(which, wrong), which[wrong]


def _records(
    data: mmap, places: np.ndarray, first_line: int, careful: np.ndarray, plain: np.ndarray, layout: _Layout
) -> tuple[list[_Record], tuple[int, int] | None]:
    """Parse the records that begin in `careful` lines; the lines they take are no longer `plain`.

    places: where each line of the block begins. Returns also where and in which line the next record begins, if the
    last one goes on behind the block.
    """
    records, free = [], 0
    for line in np.flatnonzero(careful).tolist():
        if line >= free:
            lines = _Lines(data, int(places[line]))
            records.append(_record(lines, first_line + line, layout))
            free = line + lines.count
            plain[line:free] = False
    return records, (lines.at, first_line + free) if free > places.size else None


def _record(lines: _Lines, line: int, layout: _Layout) -> _Record:
    try:
        values = next(csv.reader(lines, delimiter=layout.delimiter))
    except csv.Error:
        return _Record(line, [], OPEN_QUOTE)
    if any("\n" in value or "\r" in value for value in values):
        return _Record(line, [], LINE_BREAK)
    if values and len(values) != layout.width:
        return _Record(line, [], WRONG_WIDTH)
    return _Record(line, values, "")


def _skip_record(data: mmap, at: int, line: int, layout: _Layout) -> tuple[int, int]:
    """Return the place and the line behind the record that begins at a place."""
    lines = _Lines(data, at)
    _record(lines, line, layout)
    return lines.at, line + lines.count


def _line_ends(content: bytes) -> np.ndarray:
    """Return where each line ends: behind a line feed, or a carriage return that none follows, or at the end."""
    raw = np.frombuffer(content, np.uint8)
    ends = np.flatnonzero(raw == LINE_FEED) + 1
    if b"\r" in content:
        returns = np.flatnonzero(raw == CARRIAGE_RETURN) + 1
        alone = returns[np.append(raw, 0)[returns] != LINE_FEED]
        ends = np.union1d(ends, alone) if alone.size else ends
    return ends if ends.size and ends[-1] == raw.size else np.append(ends, raw.size)


def _blank(content: bytes, begins: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Return which lines hold nothing but their end."""
    blank = np.zeros(begins.size, bool)
    short = np.flatnonzero(ends - begins <= 2)
    first = np.frombuffer(content, np.uint8)[begins[short]]
    blank[short] = (first == LINE_FEED) | (first == CARRIAGE_RETURN)
    return blank


def _need_care(content: bytes, begins: np.ndarray) -> np.ndarray:
    """Return which lines hold an odd number of quotation marks, or, where the block is not UTF-8, more than ASCII."""
    raw, careful = np.frombuffer(content, np.uint8), np.zeros(begins.size, bool)
    if b'"' in content:
        careful = np.bitwise_xor.reduceat(raw == QUOTE, begins)
    try:
        content.decode()
    except UnicodeDecodeError:  # Arrow hands out a line of the wrong width as text, and cannot where it is not UTF-8
        careful |= np.bitwise_or.reduceat(raw, begins) >= 128
    return careful


def _end_of_line(data: mmap, at: int) -> int:
    return data.find(b"\n", at) + 1 or len(data)


class _Lines:
    """The lines from a place on, as text. count: how many were taken. at: where the next one begins."""

    def __init__(self, data: mmap, at: int) -> None:
        self._data = data
        self._ready: deque[bytes] = deque()
        self.at, self.count = at, 0

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> str:
        if not self._ready:
            self._ready += self._data[self.at : _end_of_line(self._data, self.at)].splitlines(keepends=True)
        if not self._ready:
            raise StopIteration
        line = self._ready.popleft()
        self.at, self.count = self.at + len(line), self.count + 1
        return line.decode("utf-8", "surrogateescape")
