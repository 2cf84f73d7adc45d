"""Numbers of a scenario as arrays over draws: all of them, one block, or the single value of a scenario without draws.

A number of a scenario is a float, or an array of shape (draws,). `Read` is how the engine looks at one: it returns
shape (1,) where the number is the same in every draw, else (draws,) of the draws at hand. Functions that take a `read`
thus serve one scenario, all draws or a block of them alike.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from growth.scenario import Number, Scenario

Array: TypeAlias = npt.NDArray[np.float64]
Whole: TypeAlias = npt.NDArray[np.int_]  # ages in months
Read: TypeAlias = Callable[["Number"], Array]


def single(value: Number) -> Array:
    """The reader of a scenario without draws: a number as shape (1,).

    >>> single(0.04)
    array([0.04])
    """
    return np.array([value], dtype=np.float64)


def reader(block: slice) -> Read:
    """The reader of the draws in `block`: arrays are cut, single numbers become shape (1,).

    >>> read = reader(slice(1, 3))
    >>> read(np.array([0.1, 0.2, 0.3])), read(0.04)
    (array([0.2, 0.3]), array([0.04]))
    """

    def read(value: Number) -> Array:
        return value[block] if isinstance(value, np.ndarray) else single(value)

    return read


def blocks(draws: int, *, size: int) -> Iterator[slice]:
    """Draws 0..draws - 1 in slices of `size` (>= 1), the last one shorter where it has to be.

    >>> list(blocks(5, size=2))
    [slice(0, 2, None), slice(2, 4, None), slice(4, 5, None)]
    """
    return (slice(start, min(start + size, draws)) for start in range(0, draws, size))


def by_block(scenario: Scenario, function: Callable[[Read, int], Array], *, size: int = 1024) -> Array:
    """function(read, draws) of each block of draws, joined on the last axis; of the one scenario where it has no draws.

    function: gives an array whose last axis is 1 or the block's number of draws. size: draws a block, >= 1.

    >>> from types import SimpleNamespace
    >>> some = SimpleNamespace(draws=3, rate=np.array([0.1, 0.2, 0.3]))
    >>> by_block(some, lambda read, draws: 2 * read(some.rate), size=2)
    array([0.2, 0.4, 0.6])
    """
    if scenario.draws is None:
        return function(single, 1)
    parts = []
    for block in blocks(scenario.draws, size=size):
        width = block.stop - block.start
        part = function(reader(block), width)
        parts.append(np.broadcast_to(part, (*part.shape[:-1], width)))
    return np.concatenate(parts, axis=-1)


def stack(values: list[Array]) -> Array:
    """Arrays of shape (1,) or (draws,) as rows of one array, shape (len, 1 or draws).

    >>> stack([np.array([1.0]), np.array([2.0, 3.0])]).tolist()
    [[1.0, 1.0], [2.0, 3.0]]
    """
    return np.stack(np.broadcast_arrays(*values))
