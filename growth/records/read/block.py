"""Consecutive rows of a file before they are interpreted: each column as its distinct texts and an index a row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa


@dataclass(frozen=True, slots=True, eq=False)
class Texts:
    """A column in which many values are alike.

    distinct: Arrow array of binary, each text once, in the order of appearance. which: int32, shape (rows,), indices
    into `distinct`.
    """

    distinct: pa.Array
    which: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Rows in the order of the file.

    columns: by our names. lines: int, shape (rows,), the line of each row in the file, counted from 1. faults: line and
    kind of fault of rows that could not be split into columns; they are not in `columns`.
    """

    columns: dict[str, Texts]
    lines: np.ndarray
    faults: list[tuple[int, str]]


def encoded(column: pa.Array) -> Texts:
    """Return a column of any type as `Texts`; a missing value becomes "".

    >>> texts = encoded(pa.array(["a", "b", None, "a"]))
    >>> texts.distinct.to_pylist(), texts.which.tolist()
    ([b'a', b'b', b''], [0, 1, 2, 0])
    """
    if not pa.types.is_dictionary(column.type):
        try:
            column = column.dictionary_encode(null_encoding="encode")
        except (pa.ArrowNotImplementedError, pa.ArrowInvalid):  # a nested type
            column = pa.array([str(value) for value in column.to_pylist()], pa.string()).dictionary_encode()
    elif column.null_count:
        return encoded(column.dictionary_decode())
    return Texts(_as_binary(column.dictionary), column.indices.to_numpy().astype(np.int32, copy=False))


def _as_binary(values: pa.Array) -> pa.Array:
    kind = values.type
    if not (pa.types.is_string(kind) or pa.types.is_binary(kind)):
        try:
            values = values.cast(pa.string())
        except (pa.ArrowNotImplementedError, pa.ArrowInvalid):
            values = pa.array([None if value is None else str(value) for value in values.to_pylist()], pa.string())
    return values.cast(pa.binary()).fill_null(b"")
