"""Columns of texts of which many are alike: the different ones, and which of them each row has."""

from __future__ import annotations

from typing import Any

import numpy as np

from growth.records.arrow import bytes_of, ends_of, numbers_of
from growth.records.order import changes


def words_of(column: Any) -> tuple[Any, np.ndarray]:
    """The different texts of a column, as Arrow strings, and the place of each row's among them, shape (rows,).

    column: strings, binary of one length, or a dictionary of strings; no nulls, at least one row. Raises ArrowInvalid
    where a text is not UTF-8. Neighbours are often alike, so only the first of each run of them is looked up.

    >>> from growth.records.arrow import texts_from
    >>> words, places = words_of(texts_from(["a", "a", "b", "a"]))
    >>> words.to_pylist(), places.tolist()
    (['a', 'b'], [0, 0, 1, 0])
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    if pa.types.is_dictionary(column.type):
        return column.dictionary, numbers_of(column.indices, np.int32)
    if _all_alike(column):
        return column[:1].cast(pa.string()), np.zeros(len(column), np.int8)
    if pa.types.is_fixed_size_binary(column.type):
        signs = bytes_of(column)
        begins = np.flatnonzero(_begins(signs))
        first = pa.Array.from_buffers(column.type, begins.size, [None, pa.py_buffer(signs[begins])])
        lengths = np.diff(begins, append=len(column))
    else:
        runs = pc.run_end_encode(column)
        first, lengths = runs.values, np.diff(numbers_of(runs.run_ends, np.int32), prepend=0)
    words = first.dictionary_encode()
    return words.dictionary.cast(pa.string()), np.repeat(numbers_of(words.indices, np.int32), lengths)


def _all_alike(texts: Any) -> bool:
    """Whether all texts are the same: as long as the first, and together the same again if shifted by one text."""
    import pyarrow as pa

    if pa.types.is_fixed_size_binary(texts.type):
        length, signs = texts.type.byte_width, pa.py_buffer(bytes_of(texts))
    else:
        ends = ends_of(texts)
        length = int(ends[1] - ends[0])
        if (ends[1:] - ends[:-1] != length).any():
            return False
        signs = texts.buffers()[2].slice(int(ends[0]), int(ends[-1] - ends[0])) if length else b""
    return len(texts) == 1 or not length or signs.slice(length).equals(signs.slice(0, signs.size - length))


def _begins(signs: np.ndarray) -> np.ndarray:
    """Whether each text differs from the one before it; the first does. signs: uint8, shape (n, length)."""
    size, length = signs.shape
    width = min(1 << length.bit_length() - 1, 8)  # of words that are compared; the last ends where the text ends
    begins = np.zeros(size, bool)
    for place in (*range(0, length - width, width), length - width):
        begins |= changes(np.ndarray((size,), f"<u{width}", signs, offset=place, strides=(length,)))
    return begins
