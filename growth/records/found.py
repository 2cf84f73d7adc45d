"""What one block of the records gave: parts in the order of its rows, and the rows that cannot be read."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from growth.records.part import Part
from growth.records.unreadable import Unreadable

THREADS = 2  # that share the work
PIECES = 8  # that a stretch with something odd is read in


@dataclass(slots=True)
class Found:
    """parts: the rows that can be read. unreadable: counts of the others; lines count from the block's first as 1.
    lines: how many of them there are.
    """

    parts: list[Part] = field(default_factory=list)
    unreadable: Unreadable = field(default_factory=Unreadable)
    lines: int = 0


def in_pieces(
    start: int,
    stop: int,
    *,
    quick: Callable[[int, int], bool],
    careful: Callable[[int, int], int],
    ends: Callable[[int, int], Iterator[int]],
    smallest: int,
) -> int:
    """Read the places start..stop of a block: at once, or where that fails piece by piece, down to the smallest, which
    are read row by row. So only the rows beside an odd one take the slow way.

    quick: reads such a stretch if nothing in it is odd, and says whether. careful: reads it row by row, and returns the
    place where the next row begins: behind the stretch where the last row goes on there. ends: places about an eighth,
    two eighths, ... down where rows end, the last one `stop`. Returns where the next row begins.
    """
    if quick(start, stop):
        return stop
    cuts = sorted(set(ends(start, stop))) if stop - start > smallest else [stop]
    if len(cuts) == 1:
        return careful(start, stop)
    for cut in cuts:
        if start < cut:
            start = in_pieces(start, cut, quick=quick, careful=careful, ends=ends, smallest=smallest)
    return start
