"""A Parquet file in blocks of rows: each turned at once, or row by row where something in it is odd."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from growth.errors import Problem
from growth.records.arrow import allow_pandas, array_from, chosen_of, numbers_of
from growth.records.cells import NONE, Bad
from growth.records.columns import Columns
from growth.records.found import PIECES, THREADS, Found, in_pieces
from growth.records.part import AMOUNTS, DATES, LISTED, OPTIONAL_DATES, ReadRows, part_of_columns
from growth.records.unreadable import RecordsError

BLOCK = 1 << 16  # rows that are read at once
SMALLEST = 1 << 6  # rows that are read one by one where one of them is odd


def table_blocks(path: Path, columns: Columns, *, key: np.ndarray) -> Iterator[Found]:
    """What each block of rows gives, in their order; threads take a row group each. Rows are numbered from 2, as in a
    text file with a header.

    Raises RecordsError where the file is no Parquet file or has no columns of ours.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        header = pq.read_schema(path).names
        _, places = columns.found(header, file=str(path))
        theirs = {ours: header[place] for ours, place in places.items()}
        listed = [name for ours, name in theirs.items() if ours in LISTED]

        def blocks(group: int) -> list[Found]:
            with pq.ParquetFile(path, memory_map=True, read_dictionary=listed) as file:
                batches = file.iter_batches(BLOCK, [group], [*theirs.values()], use_threads=False)
                return [
                    _read({ours: batch.column(name) for ours, name in theirs.items()}, columns, key)
                    for batch in batches
                ]

        yield Found(lines=1)
        with ThreadPoolExecutor(THREADS) as pool:
            for found in pool.map(blocks, range(pq.read_metadata(path).num_row_groups)):
                yield from found
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError, OSError):
        raise RecordsError([Problem("", "a Parquet file that can be read")], file=str(path)) from None


def _read(columns: dict[str, Any], said: Columns, key: np.ndarray) -> Found:
    """The rows of a block, by our names."""
    import pyarrow as pa

    columns["customer"] = _as_text(columns["customer"])  # the same text for both ways of reading
    found, size = Found(), len(columns["customer"])

    def quick(start: int, stop: int) -> bool:
        try:
            ready = {ours: _ready(column.slice(start, stop - start), ours) for ours, column in columns.items()}
            found.parts.append(part_of_columns(ready, said, key=key))
        except (Bad, pa.ArrowInvalid, pa.ArrowNotImplementedError):
            return False
        return True

    def careful(start: int, stop: int) -> int:
        rows = ReadRows()
        texts = [_as_text(column.slice(start, stop - start)).to_pylist() for column in columns.values()]
        for line, row in enumerate(zip(*texts, strict=True), start + 1):
            rows.add(dict(zip(columns, row, strict=True)), line, found.unreadable)
        found.parts += rows.part(said, key=key)
        return stop

    def ends(start: int, stop: int) -> Iterator[int]:
        yield from (start + piece * (stop - start) // PIECES for piece in range(1, PIECES + 1))

    in_pieces(0, size, quick=quick, careful=careful, ends=ends, smallest=SMALLEST)
    found.lines = size
    return found


def _ready(column: Any, ours: str) -> Any:
    """A column as `part_of_columns` takes it. Raises Bad or ArrowInvalid."""
    import pyarrow as pa

    kind = column.type
    if ours == "customer":
        return column
    if ours in AMOUNTS:
        if pa.types.is_boolean(kind):
            raise Bad("an amount that is not a number")
        return column.cast(pa.float64())
    if ours in DATES and pa.types.is_temporal(kind):
        days = column.cast(pa.date32(), safe=False).cast(pa.int32())
        return (_filled(days, NONE) if ours in OPTIONAL_DATES else days).cast(pa.date32())
    if ours == "months" and pa.types.is_integer(kind) and not column.null_count:
        return column.cast(pa.int8())
    if not pa.types.is_dictionary(kind) or column.null_count:
        return _as_text(column)
    words, places = column.dictionary, numbers_of(column.indices, np.int32)
    used = np.zeros(len(words), bool)
    used[places] = True
    if not used.all():
        words, places = chosen_of(words, used), (np.cumsum(used) - 1).astype(np.int32)[places]
    return pa.DictionaryArray.from_arrays(array_from(places), _as_text(words))


def _as_text(column: Any) -> Any:
    """Every value as text, "" where there is none."""
    import pyarrow as pa

    try:
        texts = column.cast(pa.string())
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        allow_pandas()
        texts = pa.array([None if value is None else str(value) for value in column.to_pylist()], pa.string())
    return _filled(texts, "")


def _filled(column: Any, value: Any) -> Any:
    """The column with a value where there is none."""
    if not column.null_count:
        return column
    allow_pandas()
    return column.fill_null(value)
