"""The rows of all parts in the order of their customers, who become numbers.

The digests of customers say which slot their rows go to; so many slots as hold some hundred thousand rows make a shelf,
which is small enough to be sorted in the processor's cache. Threads take a shelf each.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise

import numpy as np

from growth.records.found import THREADS
from growth.records.identity import SLOTS, slot_of
from growth.records.order import changes, stable_order
from growth.records.part import Part
from growth.records.rows import NOT_SAID, Shelf

ON_A_SHELF = 1 << 19  # rows, about
LATE = np.iinfo(np.int16).max


def shelved(parts: list[Part]) -> tuple[tuple[Shelf, ...], np.ndarray | None]:
    """shelves and joined as in `Rows`, of the rows of all parts, which are in the order of the file."""
    starts = np.cumsum([0, *(part.place.size for part in parts)], dtype=np.int32)
    says_joined = parts[0].joined is not None

    def in_order(pieces: tuple[slice, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray | None]:
        """order and opens as in `Shelf`; the place in the file of each customer's first row; and joined."""
        of_parts = list(zip(parts, starts, pieces, strict=False))
        digest = np.concatenate([part.digest[piece] for part, _, piece in of_parts])
        order = stable_order(digest)
        opens = np.flatnonzero(changes(digest.take(order)))
        place = np.concatenate([part.place[piece] + start for part, start, piece in of_parts])
        joined = _earliest(parts, pieces, order, opens) if says_joined else None
        return order.astype(np.int32), opens, place.take(order[opens]), joined

    pieces = _pieces(parts)
    with ThreadPoolExecutor(THREADS) as pool:
        orders, opens, first, joined = zip(*pool.map(in_order, pieces), strict=True)
    turn = stable_order(np.concatenate(first))
    number = np.empty(turn.size, np.int32)
    number[turn] = np.arange(turn.size)
    numbers = np.split(number, np.cumsum([each.size for each in first])[:-1])
    return tuple(map(Shelf, pieces, orders, opens, numbers)), np.concatenate(joined)[turn] if says_joined else None


def _pieces(parts: list[Part]) -> list[tuple[slice, ...]]:
    """For each shelf, where in every part its rows are."""
    rows = sum(part.place.size for part in parts)
    slots = min(max(SLOTS * ON_A_SHELF // rows, 1), SLOTS)  # on a shelf
    edges = np.arange(slots, SLOTS, slots)
    cuts = [[0, *np.searchsorted(slot_of(part.digest), edges).tolist(), part.place.size] for part in parts]
    return list(zip(*([slice(*ends) for ends in pairwise(of_part)] for of_part in cuts), strict=True))


def _earliest(parts: list[Part], pieces: tuple[slice, ...], order: np.ndarray, opens: np.ndarray) -> np.ndarray:
    """The earliest month that the rows of each customer say it came in; NOT_SAID where none says."""
    said = np.concatenate([part.joined[piece] for part, piece in zip(parts, pieces, strict=True)])[order]
    joined = np.minimum.reduceat(np.where(said == NOT_SAID, LATE, said), opens) if opens.size else said
    return np.where(joined == LATE, NOT_SAID, joined)
