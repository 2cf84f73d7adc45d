"""Rows of the first sheet of a workbook (.xlsx), as texts like those of a CSV file."""

from __future__ import annotations

import datetime
import zipfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pyarrow as pa

from growth.errors import Problem
from growth.records.read.column_names import ColumnNames
from growth.records.read.rows import Block, RecordsError, encoded

ROWS = 1 << 16  # in a block
MOST_BYTES = 2 << 30  # of the workbook's parts when unpacked
Cell = str | int | float | bool | datetime.date | datetime.time | datetime.timedelta | None


def workbook_blocks(path: Path, names: ColumnNames, rows: int = ROWS) -> Iterator[Block]:
    """Yield the rows of the first sheet in order, so many in a block; blank rows are passed over.

    The first row names the columns.

    Raises
    ------
    RecordsError
        The file is no workbook, is damaged or unpacks to more than 2 GB, or its first row does not name the columns.
    """
    cells = _sheet_rows(path)
    header = _texts(next(cells, ()), ".")
    _, places = names.find(header, file=str(path))
    parts: list[list[str]] = []
    lines: list[int] = []
    for line, row in enumerate(cells, start=2):
        texts = _texts(row, names.decimal)
        if not any(texts):
            continue
        parts.append([texts[place] if place < len(texts) else "" for place in places.values()])
        lines.append(line)
        if len(parts) == rows:
            yield _block(places, parts, lines)
            parts, lines = [], []
    if parts:
        yield _block(places, parts, lines)


def workbook_header(path: Path) -> list[str]:
    """Return the names of the columns."""
    return _texts(next(_sheet_rows(path), ()), ".")


def _block(places: dict[str, int], parts: list[list[str]], lines: list[int]) -> Block:
    columns = dict(zip(places, zip(*parts, strict=True), strict=True))
    return Block({ours: encoded(pa.array(texts, pa.string())) for ours, texts in columns.items()}, np.array(lines), [])


def _sheet_rows(path: Path) -> Iterator[tuple[Cell, ...]]:
    from openpyxl import load_workbook

    wrong = RecordsError([Problem("", "a workbook (.xlsx) that can be read")], file=str(path))
    try:
        with zipfile.ZipFile(path) as parts:
            if sum(part.file_size for part in parts.infolist()) > MOST_BYTES:
                raise RecordsError([Problem("", "a workbook that unpacks to 2 GB at most", "more")], file=str(path))
        book = load_workbook(path, read_only=True, data_only=True)
        try:
            yield from book.worksheets[0].iter_rows(values_only=True)
        finally:
            book.close()
    except RecordsError:
        raise
    except GeneratorExit:
        return
    except Exception:  # what damage leads to is manifold
        raise wrong from None


def _texts(row: tuple[Cell, ...], decimal: str) -> list[str]:
    """Return the cells as texts; numbers with the decimal sign that the file for --columns gives.

    >>> _texts((" a ", 29.0, 12.5, datetime.datetime(2024, 1, 5, 12), None), ".")
    ['a', '29', '12.5', '2024-01-05', '']
    """
    return [_text(cell, decimal) for cell in row]


def _text(cell: Cell, decimal: str) -> str:
    if cell is None:
        return ""
    if isinstance(cell, datetime.datetime):
        return cell.date().isoformat()
    if isinstance(cell, float):
        whole = cell.is_integer() and abs(cell) < 1e15
        return str(int(cell)) if whole else repr(cell).replace(".", decimal)
    return str(cell).strip()
