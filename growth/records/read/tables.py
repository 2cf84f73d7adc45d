"""A table in a Parquet file, the first sheet of a workbook (.xlsx) or a CSV file, as blocks of texts."""

from __future__ import annotations

import datetime
import zipfile
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from growth.errors import Problem
from growth.files import not_a_table, open_input, regular_file
from growth.records.read.column_names import ColumnNames
from growth.records.read.csv_file import csv_blocks, csv_header
from growth.records.read.rows import Block, RecordsError, encoded

PARQUET_ROWS, SHEET_ROWS = 1 << 18, 1 << 16  # in a block
MOST_BYTES = 2 << 30  # of a workbook's parts when unpacked
Cell = str | int | float | bool | datetime.date | datetime.time | datetime.timedelta | None


def table_path(path: str | Path) -> Path:
    """Return the path of a regular file that may hold a table; RecordsError for anything else."""
    path, file = regular_file(path, error=RecordsError), str(path)
    if path.suffix.lower() not in (".parquet", ".xlsx"):
        with open_input(path, error=RecordsError) as stream:
            if wrong := not_a_table(stream.read(16)):
                raise RecordsError([wrong], file=file)
    return path


def table_header(path: Path) -> list[str]:
    """Return the names of all columns. Raises RecordsError where the file is damaged."""
    headers = {".parquet": _parquet_header, ".xlsx": _workbook_header}
    return headers.get(path.suffix.lower(), csv_header)(path)


def table_blocks(path: Path, names: ColumnNames, rows: int | None = None) -> Iterator[Block]:
    """Yield the rows in order, in blocks of `rows`, or as suits the kind of file.

    Lines are numbered as if the names of the columns were line 1. Blank rows of a workbook are passed over. Raises
    RecordsError where the file is damaged, has no columns of ours, or is a workbook that unpacks to more than 2 GB.
    """
    blocks = {".parquet": _parquet_blocks, ".xlsx": _workbook_blocks}
    return blocks.get(path.suffix.lower(), csv_blocks)(path, names, rows)


def _parquet_header(path: Path) -> list[str]:
    try:
        return pq.read_schema(path).names
    except (pa.ArrowException, OSError):
        raise _damaged("a Parquet file", path) from None


def _parquet_blocks(path: Path, names: ColumnNames, rows: int | None) -> Iterator[Block]:
    line = 2
    try:
        with pq.ParquetFile(path) as file:
            header = file.schema_arrow.names
            _, places = names.find(header, file=str(path))
            theirs = {ours: header[place] for ours, place in places.items()}
            for batch in file.iter_batches(rows or PARQUET_ROWS, columns=list(theirs.values())):
                columns = {ours: encoded(batch.column(name)) for ours, name in theirs.items()}
                yield Block(columns, np.arange(line, line + batch.num_rows), [])
                line += batch.num_rows
    except (pa.ArrowException, OSError, ValueError, MemoryError):  # what damage leads to is manifold
        raise _damaged("a Parquet file", path) from None


def _workbook_header(path: Path) -> list[str]:
    return _texts(next(_sheet_rows(path), ()), ".")


def _workbook_blocks(path: Path, names: ColumnNames, rows: int | None) -> Iterator[Block]:
    sheet = _sheet_rows(path)
    _, places = names.find(_texts(next(sheet, ()), "."), file=str(path))
    texts = ((line, _texts(row, names.decimal)) for line, row in enumerate(sheet, start=2))
    filled = ((line, row) for line, row in texts if any(row))
    while part := list(islice(filled, rows or SHEET_ROWS)):
        lines, filled_rows = zip(*part, strict=True)
        columns = {
            ours: encoded(pa.array([row[place] if place < len(row) else "" for row in filled_rows], pa.string()))
            for ours, place in places.items()
        }
        yield Block(columns, np.array(lines), [])


def _sheet_rows(path: Path) -> Iterator[tuple[Cell, ...]]:
    from openpyxl import load_workbook

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
    except Exception:  # what damage leads to is manifold
        raise _damaged("a workbook (.xlsx)", path) from None


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


def _damaged(kind: str, path: Path) -> RecordsError:
    return RecordsError([Problem("", f"{kind} that can be read")], file=str(path))
