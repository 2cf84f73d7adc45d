"""Columns of texts of which many are alike: the different ones, and which of them each row has."""

from __future__ import annotations

from typing import Any

import numpy as np

from growth.records.arrow import bytes_of, numbers_of, texts_of
from growth.records.order import changes


def words_of(column: Any) -> tuple[Any, np.ndarray]:
    """The different texts of a column, as Arrow strings, and the place of each row's among them, shape (rows,).

    column: strings, or a dictionary of strings; no nulls, at least one row. Neighbours are often alike, so only the
    first of each run of them is looked up.

    >>> from growth.records.arrow import texts_from
    >>> words, places = words_of(texts_from(["a", "a", "b", "a"]))
    >>> words.to_pylist(), places.tolist()
    (['a', 'b'], [0, 0, 1, 0])
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    if pa.types.is_dictionary(column.type):
        return column.dictionary, numbers_of(column.indices, np.int32)
    signs = bytes_of(column)
    if signs is None:
        runs = pc.run_end_encode(column)
        first, lengths = runs.values, np.diff(numbers_of(runs.run_ends, np.int32), prepend=0)
    elif (signs.ravel()[signs.shape[1] :] == signs.ravel()[: -signs.shape[1] or None]).all():
        return column[:1], np.zeros(len(column), np.int8)
    else:
        begins = np.flatnonzero(_begins(signs))
        first, lengths = texts_of(signs[begins]), np.diff(begins, append=len(column))
    words = first.dictionary_encode()
    return words.dictionary, np.repeat(numbers_of(words.indices, np.int32), lengths)


def _begins(signs: np.ndarray) -> np.ndarray:
    """Whether each text differs from the one before it; the first does. signs: uint8, shape (n, length)."""
    size, length = signs.shape
    width = min(1 << length.bit_length() - 1, 8)  # of words that are compared; the last ends where the text ends
    begins = np.zeros(size, bool)
    for place in (*range(0, length - width, width), length - width):
        begins |= changes(np.ndarray((size,), f"<u{width}", signs, offset=place, strides=(length,)))
    return begins
