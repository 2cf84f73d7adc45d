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


def bytes_of(texts: Any) -> np.ndarray | None:
    """The bytes of strings that are all of one length, uint8, shape (n, length); None where they are not. No copy.

    >>> bytes_of(texts_from(["ann", "bob"])).shape, bytes_of(texts_from(["ann", "li"]))
    ((2, 3), None)
    """
    ends = ends_of(texts)
    length = int(ends[1] - ends[0]) if len(texts) else 0
    if (ends[1:] - ends[:-1] != length).any():
        return None
    signs = np.frombuffer(texts.buffers()[2], np.uint8) if length else np.zeros(0, np.uint8)
    return signs[ends[0] : ends[-1]].reshape(len(texts), length)


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


def texts_of(signs: np.ndarray) -> Any:
    """Texts of one length as an Arrow array of strings. signs: their bytes, of UTF-8, uint8, shape (n, length).

    >>> texts_of(bytes_of(texts_from(["ann", "bob"]))).to_pylist()
    ['ann', 'bob']
    """
    import pyarrow as pa

    size, length = signs.shape
    ends = np.arange(0, (size + 1) * length, length, dtype=np.int32)
    return pa.StringArray.from_buffers(size, pa.py_buffer(ends), pa.py_buffer(np.ascontiguousarray(signs)))


def array_from(values: np.ndarray) -> Any:
    """Numbers as an Arrow array; no copy."""
    import pyarrow as pa

    return pa.Array.from_buffers(pa.from_numpy_dtype(values.dtype), values.size, [None, pa.py_buffer(values)])


def allow_pandas() -> None:
    """Have Arrow import pandas now, one thread at a time: to be called before anything that would make it do so."""
    import pyarrow as pa

    with _ONE_AT_A_TIME:
        pa.scalar(0)
