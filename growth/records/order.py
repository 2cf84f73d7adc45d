"""The order of whole numbers, for sorting rows by customer and month."""

from __future__ import annotations

import numpy as np


def stable_order(numbers: np.ndarray) -> np.ndarray:
    """The places that sort whole numbers of 64 bits, equal ones in the order in which they stand.

    Each number's highest bits and its place are put into one number, and those are sorted: several times as fast as
    sorting places. Where numbers differ in lower bits alone, which is rare, the places are sorted after all.

    numbers: from 0 to below 2^64, shape (n,), n below 2^32. Returns places, int64, shape (n,).

    >>> stable_order(np.array([7, 5, 7, 5])).tolist()
    [1, 3, 0, 2]
    """
    numbers = numbers.astype(np.uint64, copy=False)
    bits = numbers.size.bit_length()
    surplus = max(int(numbers.max(initial=0)).bit_length() + bits - 64, 0)
    keys = numbers >> np.uint64(surplus)
    keys <<= np.uint64(bits)
    keys |= np.arange(numbers.size, dtype=np.uint64)
    keys.sort()
    keys &= np.uint64((1 << bits) - 1)
    places = keys.view(np.int64)
    if surplus:
        found = numbers[places]
        if (found[1:] < found[:-1]).any():
            return np.argsort(numbers, kind="stable")
    return places


def changes(values: np.ndarray) -> np.ndarray:
    """Whether each value differs from the one before it; the first does.

    >>> changes(np.array([4, 4, 7])).tolist()
    [True, False, True]
    """
    different = np.ones(values.size, bool)
    np.not_equal(values[1:], values[:-1], out=different[1:])
    return different
