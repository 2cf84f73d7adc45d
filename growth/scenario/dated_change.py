"""Changes from a month on: "from month 7, visitors are doubled", "from month 10, fixed costs are 3,000".

A change names a number by its address (`growth.scenario.address`). What stands in a scenario holds from month 1 on;
a change alters it from its month to the end, or to the next change of the same number.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from pydantic import BaseModel, model_validator

from growth.errors import Problem
from growth.scenario.address import Field, find
from growth.scenario.entry import Assumption, Number, shown, whole_months
from growth.scenario.section import LONGEST, FieldAddress, Section, Text, broken

if TYPE_CHECKING:
    from growth.scenario.scenario import Scenario

LEVELS = ("monthly_visitors", "monthly_sign_ups", "monthly_customers", "monthly_budget")
"""Numbers that compound from the first month of their channel: a change acts on the level reached by then."""


class DatedChange(Section):
    """From `from_month` on, the number at the address `field` becomes another one (`becomes`), or `times` as much as
    it would have been."""

    from_month: Annotated[int, whole_months("From month", low=2, high=LONGEST)]
    field: FieldAddress
    becomes: Annotated[Number | None, Assumption("Its value from then on", "number", -1e9, 1e9)] = None
    times: Annotated[Number | None, Assumption("Times as much from then on", "times", 0, 100)] = None
    note: Text = ""

    @model_validator(mode="after")
    def _one_of_two(self) -> DatedChange:
        if (self.becomes is None) == (self.times is None):
            raise broken("one of two: becomes or times", fix="Say what the number becomes, or how many times as much.")
        return self


def later_scenarios(scenario: Scenario) -> tuple[tuple[int, Scenario], ...]:
    """The scenario as it stands from each month of a change on, in order; without its changes.

    Raises
    ------
    PydanticCustomError
        A change whose address, value or month is not valid.
    """
    found = [(change, _target(scenario, position)) for position, change in enumerate(scenario.changes)]
    taken: set[tuple[int, str]] = set()
    for position, (change, field) in enumerate(found):
        if (change.from_month, field.path) in taken:
            raise _wrong(position, "each number once from a month on", f"{change.field} twice from {change.from_month}")
        taken.add((change.from_month, field.path))
    now, states = scenario.model_copy(update={"changes": ()}), []
    for month in sorted({change.from_month for change, _ in found}):
        for position, (change, field) in enumerate(found):
            if change.from_month == month:
                now = _put(now, field.place, _value(change, _at(now, field.place), field.assumption, position))
        states.append((month, now))
    return tuple(states)


def fixed_because(field: Field) -> str:
    """Why a number cannot change over time, as the rule of an error says it; "" where it can.

    >>> from growth.scenario import Scenario
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> fixed_because(find(base, "opening.customers"))
    'a number that can change: the opening describes the day before month 1'
    """
    entry, name = field.entry, field.name
    if entry is None:
        reason = "this is no number"
    elif field.place[0] == "opening" or name in ("opening_cash", "opening_share", "opening_price"):
        reason = "the opening describes the day before month 1"
    elif field.place[0] == "changes" or any(item.of in _WITH_MONTHS for item in field.items):
        reason = "it has a month of its own"
    elif entry.whole:
        reason = "a month, or a number of months, holds for the whole forecast"
    elif not entry.ranged or isinstance(field.place[-1], int):
        reason = "it has to agree with others, which hold for the whole forecast"
    elif name in _ONCE:
        reason = f"{name} holds for the whole forecast"
    else:
        return ""
    return f"a number that can change: {reason}"


_WITH_MONTHS = ("launches", "churn_changes", "price_changes")
_ONCE = ("goal_mrr", "goal_left", "monthly_discount_rate", "earlier_pieces")


def _target(scenario: Scenario, position: int) -> Field:
    change = scenario.changes[position]
    field = find(scenario, change.field)
    if isinstance(field, Problem):
        raise _wrong(position, "the address of a number of this scenario", change.field, field.fix)
    if change.field in ("stay.churn", "stay.churn_changes"):
        fix = "For churn as a whole write stay.churn_changes."
        raise _wrong(position, "the address of a number", change.field, fix)
    if rule := fixed_because(field):
        raise _wrong(position, rule, change.field)
    if field.value is None:
        fix = "Write the number that holds before into the scenario first."
        raise _wrong(position, "a number that is there to change", change.field, fix)
    return field


def _value(change: DatedChange, before: Any, entry: Assumption, position: int) -> Any:
    """The number from the change's month on. Shares stay within their range, others have to."""
    if change.becomes is not None:
        value: Any = change.becomes
        if np.ndim(value) == 0 and not entry.low <= value <= entry.high:
            rule, fix = f"{entry.rule} ({change.field})", entry.fix(float(value))
            raise _wrong(position, rule, shown(value), fix, key="becomes")
    else:
        value = before * change.times
        if np.ndim(value) == 0 and entry.unit != "share" and not entry.low <= value <= entry.high:
            raise _wrong(position, f"what leads to {entry.rule} ({change.field})", shown(float(value)), key="times")
    clipped = np.clip(value, entry.low, entry.high)
    return clipped if np.ndim(clipped) else value if clipped == value else float(clipped)


def _wrong(position: int, rule: str, value: str, fix: str = "", *, key: str = "field") -> Exception:
    return broken(rule, value, fix, key=f"changes.{position}.{key}")


def _at(part: Any, place: tuple[str | int, ...]) -> Any:
    for step in place:
        part = part[step] if isinstance(step, int) else getattr(part, step)
    return part


def _put(part: Any, place: tuple[str | int, ...], value: Any) -> Any:
    """A copy of a section in which the number at `place` is another one; what lies beside it is shared."""
    if not place:
        return value
    step, *rest = place
    if isinstance(step, int):
        return (*part[:step], _put(part[step], tuple(rest), value), *part[step + 1 :])
    inner: BaseModel = part
    return inner.model_copy(update={str(step): _put(getattr(inner, str(step)), tuple(rest), value)})
