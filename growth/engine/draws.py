"""Reading a scenario's numbers as arrays over draws: a single scenario, all draws, or a block of them.

A `growth.scenario.Number` is a float or an array of shape (draws,). A `Read` function turns it into an array of shape
(1,) if it is the same in every draw, and otherwise (draws,) for the draws at hand. A function that takes a `read`
argument therefore works for a single scenario, a block of draws or all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from growth.scenario import Number, Scenario

YEAR = 12  # months
Array: TypeAlias = npt.NDArray[np.float64]
Whole: TypeAlias = npt.NDArray[np.int_]  # ages in months
Read: TypeAlias = Callable[["Number"], Array]


def single(value: Number) -> Array:
    """Read a number of a scenario without draws, as an array of shape (1,).

    >>> single(0.04)
    array([0.04])
    """
    return np.array([value], dtype=np.float64)


def reader(block: slice) -> Read:
    """Make the reader of a block of draws: it slices arrays and turns single numbers into shape (1,).

    >>> read = reader(slice(1, 3))
    >>> read(np.array([0.1, 0.2, 0.3])), read(0.04)
    (array([0.2, 0.3]), array([0.04]))
    """

    def read(value: Number) -> Array:
        return value[block] if isinstance(value, np.ndarray) else single(value)

    return read


def blocks(draws: int, *, size: int) -> Iterator[slice]:
    """Split draws 0..draws - 1 into slices of `size` >= 1; the last may be shorter.

    >>> list(blocks(5, size=2))
    [slice(0, 2, None), slice(2, 4, None), slice(4, 5, None)]
    """
    return (slice(start, min(start + size, draws)) for start in range(0, draws, size))


def by_block(scenario: Scenario, function: Callable[[Read, int], Array], *, size: int = 1024) -> Array:
    """Apply function(read, draws) to each block of draws and concatenate the results along the last axis.

    The last axis of each result is 1 or the block's number of draws; `size` >= 1 is the number of draws per block.
    A scenario without draws is a single block.

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


def by_month(scenario: Scenario, number: Callable[[Scenario], Number], *, read: Read) -> Array:
    """A number of a scenario in months 1..T, shape (T, 1 or draws); (1, 1 or draws) where it never changes.

    number: gives it from the scenario in force in a month.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", months=3, pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     changes=[{"from_month": 3, "field": "bill.monthly_fixed_costs", "becomes": 500}])
    >>> by_month(small, lambda now: now.bill.monthly_fixed_costs, read=np.atleast_1d).ravel().tolist()
    [0.0, 0.0, 500.0]
    """
    first = number(scenario)
    if all(number(now) is first for _, now in scenario.later):
        return read(first)[None]
    return stack([read(number(scenario.in_force(month))) for month in range(1, scenario.months + 1)])


def at(values: Array, month: int) -> Array:
    """The row of a month, 1..T, of what `by_month` returns.

    >>> at(np.array([[0.1], [0.2]]), 2), at(np.array([[0.1]]), 2)
    (array([0.2]), array([0.1]))
    """
    row: Array = values[min(month, len(values)) - 1]
    return row


def stack(values: list[Array]) -> Array:
    """Stack arrays of shape (1,) or (draws,) as rows, giving shape (len, 1 or draws).

    >>> stack([np.array([1.0]), np.array([2.0, 3.0])]).tolist()
    [[1.0, 1.0], [2.0, 3.0]]
    """
    return np.stack(np.broadcast_arrays(*values))


def read_only(values: Array) -> Array:
    """A view of an array that cannot be written to."""
    values = values.view()
    values.flags.writeable = False
    return values
