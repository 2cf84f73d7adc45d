"""Fields of a scenario by their dotted path: finding one, checking a value for it, putting it in."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel
from pydantic_core import PydanticCustomError

from growth.errors import Problem
from growth.scenario import Scenario
from growth.scenario.entries import assumption_of
from growth.scenario.entry import Assumption

FIXED = ("delay_shares",)  # numbers that may not be arrays over draws


@dataclass(frozen=True, slots=True)
class Field:
    """A field of the base scenario.

    path:  as written, "pay.plans.Studio.monthly_price"; place: its steps, list items by number.
    entry: its assumption, None where it is a word or a section.
    """

    path: str
    place: tuple[str | int, ...]
    entry: Assumption | None

    @property
    def varies(self) -> bool:
        """Whether many values fit into one scenario as an array over draws."""
        return self.entry is not None and not self.entry.whole and not set(self.place) & set(FIXED)

    def problem(self, value: Any) -> Problem | None:
        """What is wrong with a value for this field alone; None where nothing is."""
        if self.entry is None or value is None:
            return None
        try:
            self.entry.check(value)
        except PydanticCustomError as error:
            return Problem(self.path, error.context["rule"], error.context["value"], error.context["fix"])
        return None


def find(scenario: Scenario, path: str) -> Field | Problem:
    """The field at `path`, or the problem that there is none, with the nearest that there is.

    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> find(base, "pay.plans.Studio.monthly_price").place
    ('pay', 'plans', 0, 'monthly_price')
    >>> print(find(base, "pay.plans.Studio.monthly_prise"))
    pay.plans.Studio.monthly_prise: no such field in the base scenario. Did you mean pay.plans.Studio.monthly_price?
    """
    steps, place, part, entry, so_far = path.split("."), [], scenario, None, []
    while steps:
        if isinstance(part, tuple):
            names = {item.name: n for n, item in enumerate(part) if hasattr(item, "name")}
            keys = [*names, *map(str, range(len(part)))]
            taken = _longest(steps, names)
            step = names.get(taken, int(steps[0]) if steps[0].isdigit() and int(steps[0]) < len(part) else None)
            inner = None if step is None else part[step]
            width = taken.count(".") + 1 if taken else 1
        elif isinstance(part, BaseModel):
            keys = list(type(part).model_fields)
            step = steps[0] if steps[0] in keys else None
            inner = getattr(part, steps[0], None) if step else None
            entry = assumption_of(type(part).model_fields[step]) if step else None
            width = 1
        else:
            keys, step, width, inner = [], None, 1, None
        if step is None:
            return _unknown(path, steps, so_far, keys, part)
        place.append(step)
        so_far += steps[:width]
        steps, part = steps[width:], inner
    return Field(path, tuple(place), None if isinstance(part, (BaseModel, tuple)) else entry)


def plain(scenario: Scenario) -> dict[str, Any]:
    """The scenario as plain values that may be changed: dicts and lists."""
    return _unfrozen(scenario.model_dump())


def _unfrozen(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _unfrozen(part) for key, part in value.items()}
    return [_unfrozen(part) for part in value] if isinstance(value, tuple) else value


def _longest(steps: list[str], names: dict[str, int]) -> str:
    """The name, which may hold dots itself, that the steps begin with."""
    for width in range(len(steps), 0, -1):
        if ".".join(steps[:width]) in names:
            return ".".join(steps[:width])
    return ""


def _unknown(path: str, steps: list[str], so_far: list[str], keys: list[str], part: Any) -> Problem:
    if part is None:
        fix = f"Write {'.'.join(so_far)} into the base scenario first."
    else:
        near = get_close_matches(steps[0], keys, 1, 0.5)
        where = ".".join([*so_far, near[0], *steps[1:]]) if near else ""
        fix = f"Did you mean {where}?" if near else f"Known here: {', '.join(keys)}." if keys else ""
    return Problem(path, "no such field in the base scenario", "", fix)
