"""One value among the plain values of a scenario, by its place: the dotted path that controls and what-ifs use."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

Place = str | Sequence[str | int]


def value_at(values: Any, place: Place) -> Any:
    """The value at a place such as "pay.plans.0.monthly_price", or its steps; positions in lists count from 0.

    Raises KeyError, IndexError, TypeError or ValueError where there is no such place.

    >>> value_at({"pay": {"plans": [{"monthly_price": 29}]}}, "pay.plans.0.monthly_price")
    29
    """
    for step in _steps(place):
        values = values[int(step) if isinstance(values, list) else step]
    return values


def put(values: Any, place: Place, value: Any) -> None:
    """Puts a value into the plain values of a scenario, in place; raises like `value_at`.

    >>> numbers = {"stay": {"churn": {"monthly_churn_rate": 0.04}}}
    >>> put(numbers, "stay.churn.monthly_churn_rate", 0.02)
    >>> numbers
    {'stay': {'churn': {'monthly_churn_rate': 0.02}}}
    """
    *above, last = _steps(place)
    section = value_at(values, above)
    section[int(last) if isinstance(section, list) else last] = value


def _steps(place: Place) -> Sequence[str | int]:
    return place.split(".") if isinstance(place, str) else place
