"""Which numbers of a scenario are levers, their words, and how one is moved."""

from __future__ import annotations

from growth.scenario import Scenario
from growth.scenario.address import Field, fields
from growth.scenario.range import Range

NOT_LEVERS = ("months", "goal_mrr")


def lever_fields(scenario: Scenario, *, kind: str = "mrr") -> list[Field]:
    """The numbers that a business can work on and that move this kind of goal, in the order of the file.

    Not among them: where the business stands today, shares that have to add up to one, whole numbers of months, and
    costs where the goal is not of money left.
    """
    apart = {"opening", *([] if kind in ("cash", "profit") else ["bill"])}
    return [
        one
        for one in fields(scenario)
        if one.entry is not None
        and one.entry.slider
        and one.entry.ranged
        and not one.entry.whole
        and isinstance(one.value, (int, float))
        and not isinstance(one.place[-1], int)
        and one.place[0] not in apart
        and one.name not in (*NOT_LEVERS, "monthly_discount_rate")
        and (kind in ("cash", "profit") or one.name != "monthly_cost")
        and one.matters(scenario)
        and (one.entry.always or one.value != one.default)
    ]


def moved(field: Field, value: float) -> float | Range:
    """The value as the field takes it: a range moves along and stays as wide."""
    entry = field.assumption
    if entry.whole:
        return int(value)
    if isinstance(field.value, Range) and entry.low < value < entry.high:
        return field.value.around(value, entry.scale)
    return value


def label_of(field: Field) -> str:
    """The number's words, with its channel or plan where there are several."""
    whose = next((item.section for item in reversed(field.items) if item.count > 1), None)
    name = getattr(whose, "name", "")
    return f"{field.assumption.label} ({name})" if name else field.assumption.label
