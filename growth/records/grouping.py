"""The rows of all parts in the order of their customers, who become numbers.

The digests of customers say which slot their rows go to; so many slots as hold some hundred thousand rows make a shelf,
which is small enough to be sorted in the processor's cache. Threads take a shelf each.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import pairwise

import numpy as np

from growth.records.found import THREADS
from growth.records.identity import SLOTS, slot_of
from growth.records.order import changes, stable_order
from growth.records.part import Part
from growth.records.rows import NOT_SAID, Shelf

ON_A_SHELF = 1 << 19  # rows, about
LATE = np.iinfo(np.int16).max


def by_customer(parts: list[Part]) -> tuple[tuple[Shelf, ...], np.ndarray | None]:
    """shelves and joined as in `Rows`, of the rows of all parts, which are in the order of the file."""
    starts = np.cumsum([0, *(part.digest.size for part in parts)]).tolist()
    slots = min(max(SLOTS * ON_A_SHELF // starts[-1], 1), SLOTS)  # on a shelf
    edges = np.arange(slots, SLOTS, slots)
    cuts = [[0, *np.searchsorted(slot_of(part.digest), edges).tolist(), part.digest.size] for part in parts]
    says_joined = parts[0].joined is not None

    def shelf(ends: tuple[tuple[int, int], ...]) -> tuple[Shelf, np.ndarray, np.ndarray | None]:
        """A shelf, its customers not numbered yet; the place in the file of each one's first row; and joined."""
        pieces = tuple(slice(*of_part) for of_part in ends)
        digest = np.concatenate([part.digest[piece] for part, piece in zip(parts, pieces, strict=True)])
        order = stable_order(digest)
        opens = np.flatnonzero(changes(digest.take(order)))
        places = zip(starts[:-1], parts, pieces, strict=True)
        first = np.concatenate([np.int32(start) + part.place[piece] for start, part, piece in places]).take(
            order[opens]
        )
        joined = _earliest(parts, pieces, order, opens) if says_joined else None
        return Shelf(pieces, order.astype(np.int32), opens, first), first, joined

    with ThreadPoolExecutor(THREADS) as pool:
        shelves, first, joined = zip(*pool.map(shelf, zip(*map(pairwise, cuts), strict=True)), strict=True)
    turn = stable_order(np.concatenate(first))
    number = np.empty(turn.size, np.int32)
    number[turn] = np.arange(turn.size)
    numbers = np.split(number, np.cumsum([one.size for one in first])[:-1])
    numbered = tuple(replace(shelf, customer=some) for shelf, some in zip(shelves, numbers, strict=True))
    return numbered, np.concatenate(joined)[turn] if says_joined else None


def _earliest(parts: list[Part], pieces: tuple[slice, ...], order: np.ndarray, opens: np.ndarray) -> np.ndarray:
    """The earliest month that the rows of each customer say it came in; NOT_SAID where none says."""
    said = np.concatenate([part.joined[piece] for part, piece in zip(parts, pieces, strict=True)])[order]
    joined = np.minimum.reduceat(np.where(said == NOT_SAID, LATE, said), opens) if opens.size else said
    return np.where(joined == LATE, NOT_SAID, joined)
