"""A CSV file in blocks of whole lines: each parsed at once by Arrow, or row by row where something in it is odd.

Where there are quotation marks, a stretch is read at once only if it has as many rows as lines and its last line closes
its marks, so that no stray mark can swallow rows unnoticed.
"""

from __future__ import annotations

import csv
from collections import deque
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from mmap import ACCESS_READ, mmap
from pathlib import Path
from typing import Any

import numpy as np

from growth.errors import Problem
from growth.records.cells import Bad
from growth.records.columns import Columns
from growth.records.found import PIECES, THREADS, Found, in_pieces
from growth.records.part import AMOUNTS, ReadRows, part_of_columns
from growth.records.unreadable import RecordsError

LONGEST_HEADER = 64 * 1024  # bytes
DELIMITERS = ",;\t|"
BLOCK = 1 << 22  # bytes that are read at once
SMALLEST = 1 << 12  # bytes that are read row by row where one of them is odd
BYTE_ORDER_MARK = b"\xef\xbb\xbf"
LINE_FEED, CARRIAGE_RETURN = b"\n\r"
OPEN_QUOTE = "a quotation mark that is not closed, or a value of endless length"


@dataclass(frozen=True, slots=True)
class Layout:
    """How the lines are to be read. places: where in a row each of our columns stands; width: of a row, in values."""

    places: dict[str, int]
    width: int
    sign: str


def _layout(path: Path, columns: Columns) -> Layout:
    """The layout told by the first lines. Raises RecordsError where the first names no columns of ours."""
    with path.open("rb") as stream:
        first = stream.readline(LONGEST_HEADER + 1)
    if len(first) > LONGEST_HEADER:
        rule = "a first line that names the columns, of at most 64 KB"
        raise RecordsError([Problem("", rule, f"{len(first)} bytes or more", line=1)], file=str(path))
    text = first.decode("utf-8-sig", "replace").split("\r")[0]
    headers = [next(csv.reader([text], delimiter=sign), []) for sign in DELIMITERS]
    sign, header = max(zip(DELIMITERS, headers, strict=True), key=lambda pair: len(pair[1]))
    _, places = columns.found([name.strip() for name in header], file=str(path))
    return Layout(places, len(header), sign)


def csv_blocks(path: Path, columns: Columns, *, key: np.ndarray) -> Iterator[Found]:
    """What each block of the file gives, in their order; blocks are read ahead, in threads.

    Where the last row of a block goes on in the next, within quotation marks, reading begins anew behind that row.
    Raises RecordsError where the first line names no columns of ours.
    """
    layout = _layout(path, columns)
    with path.open("rb") as stream:
        data = mmap(stream.fileno(), 0, access=ACCESS_READ)
    begin, header = _header(data, layout)
    yield header
    at, ahead = begin, deque()
    with ThreadPoolExecutor(THREADS) as pool:
        while begin < len(data):
            while at < len(data) and len(ahead) < 2 * THREADS:
                start, at = at, _line_end(data, at + BLOCK, len(data))
                ahead.append((at, pool.submit(_read, data, start, at, layout, columns, key)))
            stop, future = ahead.popleft()
            begin, found = future.result()
            yield found
            if begin > stop:
                at, ahead = begin, deque()


def _header(data: mmap, layout: Layout) -> tuple[int, Found]:
    """Where the rows begin: behind the first, which names the columns, though it may have a fault of its own."""
    found, lines = Found(), _Lines(data, 0)
    try:
        next(csv.reader(lines, delimiter=layout.sign), None)
    except csv.Error:
        found.unreadable.add(OPEN_QUOTE, 1)
    found.lines = lines.count
    return lines.at, found


def _read(data: mmap, start: int, stop: int, layout: Layout, said: Columns, key: np.ndarray) -> tuple[int, Found]:
    """The rows that begin between start and stop, and where the next row begins: behind `stop` if the last goes on."""
    import pyarrow as pa

    found, signs = Found(), np.frombuffer(data, np.uint8)

    def quick(start: int, stop: int) -> bool:
        if not _plain(data, start, stop, layout):
            return False
        quoted = data.find(b'"', start, stop) >= 0
        try:
            columns = _parsed(pa.py_buffer(signs[start:stop]), layout, quoted=quoted)
            if quoted and len(columns["customer"]) != line_count(start, stop):
                return False
            found.parts.append(part_of_columns(columns, said, key=key))
        except (Bad, pa.ArrowInvalid):
            return False
        found.lines += found.parts[-1].records.size
        return True

    def line_count(start: int, stop: int) -> int:
        return int(np.count_nonzero(signs[start:stop] == LINE_FEED)) + (data[stop - 1] != LINE_FEED)

    def careful(start: int, stop: int) -> int:
        lines, rows, before = _Lines(data, start), ReadRows(), found.lines
        reader = csv.reader(lines, delimiter=layout.sign)
        while lines.at < stop:
            line = before + lines.count + 1
            try:
                row = next(reader)
                fault = _fault(row, layout)
            except csv.Error:
                row, fault = [], OPEN_QUOTE
            if fault:
                found.unreadable.add(fault, line)
            elif row:
                rows.add({ours: row[place] for ours, place in layout.places.items()}, line, found.unreadable)
        found.parts += rows.part(said, key=key)
        found.lines = before + lines.count
        return lines.at

    def ends(start: int, stop: int) -> Iterator[int]:
        yield from (_line_end(data, start + piece * (stop - start) // PIECES, stop) for piece in range(1, PIECES + 1))

    return in_pieces(start, stop, quick=quick, careful=careful, ends=ends, smallest=SMALLEST), found


def _parsed(buffer: Any, layout: Layout, *, quoted: bool) -> dict[str, Any]:
    """Our columns of some lines, as `part_of_columns` takes them. quoted: whether there are quotation marks; without
    them each line is a row. Raises ArrowInvalid.
    """
    import pyarrow as pa
    from pyarrow import csv as arrow

    names = [str(place) for place in range(layout.width)]
    ascii_alone = bool(np.frombuffer(buffer, np.uint8).max() < 128)  # told far faster than Arrow tells UTF-8
    table = arrow.read_csv(
        pa.BufferReader(buffer),
        read_options=arrow.ReadOptions(column_names=names, use_threads=False, block_size=len(buffer) + 1),
        parse_options=arrow.ParseOptions(
            delimiter=layout.sign, quote_char='"' if quoted else False, ignore_empty_lines=False
        ),
        convert_options=arrow.ConvertOptions(
            include_columns=[names[place] for place in layout.places.values()],
            column_types={
                names[place]: pa.float64() if ours in AMOUNTS else pa.string() for ours, place in layout.places.items()
            },
            null_values=[""],
            strings_can_be_null=False,
            check_utf8=not ascii_alone,
        ),
    )
    return {ours: column.chunk(0) for ours, column in zip(layout.places, table.columns, strict=True)}


def _plain(data: mmap, start: int, stop: int, layout: Layout) -> bool:
    """Whether the first line begins with no mark that Arrow would pass over, all lines end with a line feed, and the
    last one closes its quotation marks.
    """
    if data[start : start + len(BYTE_ORDER_MARK)] == BYTE_ORDER_MARK:
        return False
    if data.find(b"\r", start, stop) >= 0:
        signs = np.frombuffer(data, np.uint8)[start:stop]
        returns = signs == CARRIAGE_RETURN
        if returns[-1] or (returns[:-1] & (signs[1:] != LINE_FEED)).any():
            return False
    begin = data.rfind(b"\n", start, stop - 1) + 1 or start
    if data.find(b'"', begin, stop) < 0:
        return True
    try:
        return bool(list(csv.reader([data[begin:stop].decode()], delimiter=layout.sign, strict=True)))
    except (csv.Error, UnicodeDecodeError):
        return False


def _line_end(data: mmap, place: int, stop: int) -> int:
    """The end of the line that a place stands in, at most `stop`."""
    return data.find(b"\n", place, stop) + 1 or stop


def _fault(row: list[str], layout: Layout) -> str:
    if any("\n" in value or "\r" in value for value in row):
        return "a line break within a value, as after a quotation mark that is not closed"
    if row and len(row) != layout.width:
        return "not as many values as there are columns"
    try:
        "".join(row[place] for place in layout.places.values() if row).encode()
    except UnicodeEncodeError:
        return "text that is not UTF-8"
    return ""


class _Lines:
    """The lines from a place on as text, each with its end; `count` of them were read, and the next begins `at`."""

    def __init__(self, data: mmap, at: int):
        self._data, self._ready = data, deque()
        self.at, self.count = at, 0

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> str:
        if not self._ready:  # a lone carriage return ends a line too
            self._ready += self._data[self.at : _line_end(self._data, self.at, len(self._data))].splitlines(True)
        if not self._ready:
            raise StopIteration
        line = self._ready.popleft()
        self.at, self.count = self.at + len(line), self.count + 1
        return line.decode("utf-8", "surrogateescape")
