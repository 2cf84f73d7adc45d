"""Arrow's arrays as NumPy's and back, by their memory alone.

Arrow's own ways import pandas, which takes longer than reading a small file, and two threads that bring Arrow to it at
the same moment wait for each other for ever. What goes over these functions needs no pandas.
"""

from __future__ import annotations

from collections.abc import Sequence
from threading import Lock
from typing import Any

import numpy as np

_ONE_AT_A_TIME = Lock()


def numbers_of(column: Any, kind: Any) -> np.ndarray:
    """The values of an array of fixed width without nulls; no copy. kind: their NumPy type."""
    return np.frombuffer(column.buffers()[1], kind)[column.offset : column.offset + len(column)]


def bytes_of(texts: Any) -> np.ndarray:
    """The bytes of texts that are all of one length, by their type: uint8, shape (n, length)."""
    width = texts.type.byte_width
    return np.frombuffer(texts.buffers()[1], np.uint8).reshape(-1, width)[texts.offset : texts.offset + len(texts)]


def ends_of(texts: Any) -> np.ndarray:
    """Where each text begins in the bytes of all, and where the last one ends: int32, shape (n + 1,)."""
    return np.frombuffer(texts.buffers()[1], np.int32)[texts.offset : texts.offset + len(texts) + 1]


def chosen_of(column: Any, chosen: np.ndarray) -> Any:
    """The values for which `chosen`, shape (n,), is true."""
    import pyarrow as pa

    bits = pa.py_buffer(np.packbits(chosen, bitorder="little"))
    return column.filter(pa.Array.from_buffers(pa.bool_(), chosen.size, [None, bits]))


def texts_from(texts: Sequence[str]) -> Any:
    """The texts as an Arrow array of strings.

    >>> texts_from(["ann", "", "bob"]).to_pylist()
    ['ann', '', 'bob']
    """
    import pyarrow as pa

    coded = [text.encode() for text in texts]
    ends = np.cumsum([0, *map(len, coded)], dtype=np.int32)
    return pa.StringArray.from_buffers(len(coded), pa.py_buffer(ends), pa.py_buffer(b"".join(coded)))


def array_from(values: np.ndarray) -> Any:
    """Numbers as an Arrow array; no copy."""
    import pyarrow as pa

    return pa.Array.from_buffers(pa.from_numpy_dtype(values.dtype), values.size, [None, pa.py_buffer(values)])


def allow_pandas() -> None:
    """Have Arrow import pandas now, one thread at a time: to be called before anything that would make it do so."""
    import pyarrow as pa

    with _ONE_AT_A_TIME:
        pa.scalar(0)
