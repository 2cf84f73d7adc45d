"""A CSV file as blocks of texts: Arrow parses the lines; the few that need more care are parsed one record at a time.

A line needs care where it holds an odd number of quotation marks: its record may go on in the next line, or a mark may
stand in the middle of a value. Python's csv module decides what such a record is.
"""

from __future__ import annotations

import csv
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


def csv_blocks(path: Path, names: ColumnNames, rows: int | None = None) -> Iterator[Block]:
    """Yield the file's records in order, some hundred thousand at a time, or about as many as `rows`.

    Raises RecordsError where the first line does not name the columns.
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
    delimiter, header = _first_line(path)
    _, places = names.find(header, file=str(path))
    layout = _Layout(places, len(header), delimiter)
    with path.open("rb") as stream, mmap(stream.fileno(), 0, access=ACCESS_READ) as data:
        at, line = 0, 1
        while at < len(data):
            block, at, line = _read_block(data, at, line, layout, size)
            yield block


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


def _read_block(
    data: mmap, start: int, first_line: int, layout: _Layout, size: int, *, at_once: bool = True
) -> tuple[ParsedBlock, int, int]:
    """Read about `size` bytes of records; return also the place and the line of the next record.

    at_once: whether Arrow may parse the lines that hold a record each.
    """
    content = data[start : data.find(b"\n", start + size) + 1 or len(data)]
    at_end = start + len(content) == len(data)
    begins, ends = _lines(content)
    careful = _need_care(content, begins) if at_once else np.ones(begins.size, bool)
    careful[0] |= start == 0  # the header
    records, free = _careful_records(content, begins, ends, careful, layout)
    if free == ends.size and not at_end:  # the last record may go on behind the block, so it begins the next one
        last = max(records)
        if last == 0:
            return _read_block(data, start, first_line, layout, 2 * size, at_once=at_once)
        del records[last]
        content, begins, ends, careful = content[: begins[last]], begins[:last], ends[:last], careful[:last]
    blank = np.isin(np.frombuffer(content, np.uint8)[begins], (LINE_FEED, CARRIAGE_RETURN))
    try:
        texts, lines, wrong = _parse(content, begins, ends, ~careful & ~blank, layout)
    except pa.ArrowInvalid:  # a quotation mark swallowed a line end: take no line for a record
        return _read_block(data, start, first_line, layout, size, at_once=False)
    if start == 0:
        del records[0]
    bad = [(first_line + line, WRONG_WIDTH) for line in wrong]
    bad += [(first_line + line, record) for line, record in records.items() if isinstance(record, str)]
    if good := {line: record for line, record in records.items() if record and not isinstance(record, str)}:
        lines = np.concatenate([lines, list(good)])
        order = np.argsort(lines)
        lines = lines[order]
        for ours, place in layout.places.items():
            values = [record[place].encode("utf-8", "surrogateescape") for record in good.values()]
            texts[ours] = pa.concat_arrays([texts[ours], pa.array(values, pa.binary())]).take(pa.array(order))
    return (texts, first_line + lines, bad), start + len(content), first_line + ends.size


def _careful_records(
    content: bytes, begins: np.ndarray, ends: np.ndarray, careful: np.ndarray, layout: _Layout
) -> tuple[dict[int, list[str] | str], int]:
    """Parse the records that begin in `careful` lines, each by itself, and mark all lines they take as careful.

    Returns by their lines, counted from 0, the values of each, or what is wrong with it; and the line behind the last.
    """
    records: dict[int, list[str] | str] = {}
    free = 0
    for line in np.flatnonzero(careful).tolist():
        if line >= free:
            places = zip(begins[line:], ends[line:], strict=True)
            reader = csv.reader(
                (content[begin:end].decode("utf-8", "surrogateescape") for begin, end in places),
                delimiter=layout.delimiter,
            )
            records[line] = _record(reader, layout.width)
            free = line + reader.line_num
            careful[line:free] = True
    return records, free


def _record(lines: Iterator[list[str]], width: int) -> list[str] | str:
    """Return the values of the next record, none for a blank line, or what is wrong with it."""
    try:
        values = next(lines)
    except csv.Error:
        return OPEN_QUOTE
    if any("\n" in value or "\r" in value for value in values):
        return LINE_BREAK
    return WRONG_WIDTH if values and len(values) != width else values


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
    table = table.slice(0, table.num_rows - 1).combine_chunks()
    texts = {ours: column.combine_chunks() for ours, column in zip(layout.places, table.columns, strict=True)}
    return texts, np.delete(which, wrong), which[wrong]


def _lines(content: bytes) -> tuple[np.ndarray, np.ndarray]:
    """Return where each line begins and ends: behind a line feed or a lone carriage return, or at the end."""
    raw = np.frombuffer(content, np.uint8)
    ends = np.flatnonzero(raw == LINE_FEED) + 1
    if b"\r" in content:
        returns = np.flatnonzero(raw == CARRIAGE_RETURN) + 1
        alone = returns[raw[np.minimum(returns, raw.size - 1)] != LINE_FEED]
        ends = np.sort(np.concatenate([ends, alone])) if alone.size else ends
    if not ends.size or ends[-1] < raw.size:
        ends = np.append(ends, raw.size)
    return np.concatenate([[0], ends[:-1]]), ends


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
