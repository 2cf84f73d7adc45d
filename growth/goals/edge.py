"""Where a number is sought, and the last of its values at which a goal is reached."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

_FAR = 64.0  # an amount is sought from this many times less than it is to as many times more
_PARTS, _NEAR = 16, 1e-12  # parts of an interval that holds an answer, and how narrow it gets
_TURNS = 120  # at most, of a search by single values


def search_points(now: float, low: float, high: float, slider: float, steps: int) -> np.ndarray:
    """Where the search looks: evenly over the range of a rate, by equal ratios for an amount, and at `now`.

    >>> search_points(0.05, 0, 1, 0.2, 4).tolist()
    [0.0, 0.05, 0.25, 0.5, 0.75, 1.0]
    """
    if high - low <= 2:
        spread = low + (high - low) * np.arange(steps + 1) / steps
    else:
        middle = now if now > 0 else slider
        spread = middle * _FAR ** (2 * np.arange(steps + 1) / steps - 1)
    return np.unique(np.clip([*spread, now, low], low, high))


def edge_by_parts(reached: Callable[[np.ndarray], np.ndarray], inside: float, outside: float) -> float:
    """The last value, from `inside` towards `outside`, at which a goal is reached: cut into parts again and again.

    reached: values, in an array -> whether it is reached at each.
    """
    while abs(outside - inside) > _NEAR * max(abs(inside), abs(outside)):
        points = np.linspace(inside, outside, _PARTS + 1)
        short = ~reached(points[1:-1])
        first = int(np.argmax(short)) + 1 if short.any() else points.size - 1
        inside, outside = float(points[first - 1]), float(points[first])
    return inside


def edge_one_by_one(above_by: Callable[[float], float], inside: float, outside: float) -> float:
    """The same for values that take a while each: false position, halved in every third turn and where it leads out.

    above_by: a value -> by how much the goal is passed, below 0 where it is not reached.

    >>> round(edge_one_by_one(lambda value: 2 - value**2, 1, 2), 9)
    1.414213562
    """
    above, below = above_by(inside), above_by(outside)
    for turn in range(_TURNS):
        if abs(outside - inside) <= _NEAR * max(abs(inside), abs(outside)):
            break
        straight = inside + (outside - inside) * above / (above - below)
        between = turn % 3 < 2 and min(inside, outside) < straight < max(inside, outside)
        value = straight if between else (inside + outside) / 2
        found, kept = above_by(value), 0.5 if between else 1.0  # of the end that stays: the next turn goes further
        if found >= 0:
            inside, above, below = value, found, below * kept
        else:
            outside, below, above = value, found, above * kept
        if found == 0:
            break
    return inside
