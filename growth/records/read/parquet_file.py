"""A Parquet file as blocks of texts, whatever the types of its columns."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from growth.errors import Problem
from growth.records.read.block import Block, encoded
from growth.records.read.column_names import ColumnNames
from growth.records.read.unreadable import RecordsError

ROWS = 1 << 18  # in a block


def parquet_blocks(path: Path, names: ColumnNames) -> Iterator[Block]:
    """Yield the file's rows in order. They are numbered from 2, as if the names of the columns stood in line 1.

    Raises
    ------
    RecordsError
        The file is no Parquet file, is damaged, or has no columns of ours.
    """
    line = 2
    try:
        with pq.ParquetFile(path) as file:
            header = file.schema_arrow.names
            _, places = names.find(header, file=str(path))
            theirs = {ours: header[place] for ours, place in places.items()}
            for batch in file.iter_batches(ROWS, columns=list(theirs.values())):
                columns = {ours: encoded(batch.column(name)) for ours, name in theirs.items()}
                yield Block(columns, np.arange(line, line + batch.num_rows), [])
                line += batch.num_rows
    except (pa.ArrowException, OSError, ValueError, MemoryError):  # what damage leads to is manifold
        raise RecordsError([Problem("", "a Parquet file that can be read")], file=str(path)) from None
