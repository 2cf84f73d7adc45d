"""Fields of a scenario by their dotted path: finding one, checking a value for it, putting it in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pydantic_core import PydanticCustomError

from growth.errors import Problem
from growth.scenario import Scenario, address
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
    """
    found = address.find(scenario, path)
    return found if isinstance(found, Problem) else Field(path, found.place, found.entry)
