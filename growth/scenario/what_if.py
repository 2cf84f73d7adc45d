"""What-ifs: named changes to a scenario, drawn and compared beside it, and the changes between two scenarios."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field, StringConstraints, model_validator

from growth.errors import Problem, ScenarioError
from growth.scenario.about_numbers import with_values
from growth.scenario.address import Field as Addressed
from growth.scenario.address import fields, find, put, value_at
from growth.scenario.range import Range, likely_values
from growth.scenario.section import LONGEST, WORD, FieldAddress, Name, Section, Text, broken
from growth.scenario.validation import validate

if TYPE_CHECKING:
    from growth.scenario.dated_change import DatedChange
    from growth.scenario.scenario import Scenario

WhatIfName = Annotated[str, StringConstraints(pattern=WORD)]
BASE = "base"  # what placeholders call the scenario itself


class Change(Section):
    """One changed number. `field` is its address, with list items by name or position; `times` multiplies it, `becomes`
    replaces it. With `from_month` it changes from that month on; a change that the scenario itself makes to the number
    in that month gives way to it."""

    field: FieldAddress
    from_month: Annotated[int, Field(ge=2, le=LONGEST)] | None = None
    times: Annotated[float, Field(ge=0, le=1000)] | None = None
    becomes: float | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Change:
        if (self.times is None) == (self.becomes is None):
            raise broken("one of times and becomes", "both" if self.times is not None else "none")
        return self


class WhatIf(Section):
    """The scenario with some numbers changed.

    name:  what placeholders in a page's text use: {halved_churn.closing_mrr}.
    label: its name in charts and tables; without one, `name` with spaces.
    note:  why it is worth a look, or what it would take; shown beside the comparison.
    """

    name: WhatIfName
    label: Annotated[Name, Field(max_length=30)] | None = None
    note: Annotated[Text, Field(max_length=300)] = ""
    changes: Annotated[tuple[Change, ...], Field(min_length=1, max_length=40)]

    @property
    def title(self) -> str:
        """Its label, or its name with spaces.

        >>> WhatIf(name="halved_churn", changes=[{"field": "stay.churn.monthly_churn_rate", "times": 0.5}]).title
        'halved churn'
        """
        return self.label or self.name.replace("_", " ")


def check_names(what_ifs: tuple[WhatIf, ...]) -> tuple[WhatIf, ...]:
    """Raise an error if a name or a title is used twice, or a what-if has the name of the scenario itself."""
    for names in ([one.name for one in what_ifs], [one.title for one in what_ifs]):
        for name in names:
            if name == BASE:
                raise broken("a name of its own; base is the scenario itself", name)
            if names.count(name) > 1:
                raise broken("each name once", name)
    return what_ifs


def changed(scenario: Scenario, what_if: WhatIf) -> Scenario:
    """The scenario, which has no draws, with the changes of a what-if, its own or any other; it keeps its `what_ifs`.
    Raises ScenarioError where a change names no number of the scenario, or the changes leave no valid scenario.

    >>> from growth.scenario import Scenario
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> raised = {"name": "raised", "changes": [{"field": "pay.plans.Studio.monthly_price", "times": 1.5}]}
    >>> changed(base, WhatIf.model_validate(raised)).pay.plans[0].monthly_price
    30.0
    """
    values = scenario.model_dump(mode="json")
    for change in what_if.changes:
        field = number_at(scenario, change.field, what_if)
        if change.from_month is not None:
            _put_dated(scenario, values["changes"], field, change)
            continue
        before: Any = None if field.value is None else likely_values(value_at(values, field.place))
        if change.becomes is None and before is None:
            raise _no_number(what_if, change.field, f"Say what it becomes: the scenario has no {field.path}.")
        after = before * change.times if change.becomes is None else change.becomes
        after = field.assumption.moved(field.value, after)
        put(values, field.place, after if isinstance(after, Range) or after % 1 else int(after))
    try:
        return validate(type(scenario), values, root="scenario")
    except ScenarioError as error:
        rule = "a what-if that leaves a valid scenario"
        problems = [
            Problem(_place(what_if), rule, fix=f"{problem}".removesuffix(".") + ".") for problem in error.problems
        ]
        raise ScenarioError(problems) from None


def _put_dated(scenario: Scenario, changes: list[Any], field: Addressed, change: Change) -> None:
    """Put a change from a month on among a scenario's own, or in place of that of the same number and month."""
    there, key = list(_dated(scenario)), (change.from_month, field.path)
    position = there.index(key) if key in there else len(changes)
    changes[position : position + 1] = [change.model_dump()]


def _dated(scenario: Scenario) -> dict[tuple[int | None, str], DatedChange]:
    """A scenario's changes from a month on, by the month and the path of their number, in order."""
    found = ((one, find(scenario, one.field)) for one in scenario.changes)
    return {(one.from_month, field.path): one for one, field in found if not isinstance(field, Problem)}


def number_at(scenario: Scenario, address: str, what_if: WhatIf) -> Addressed:
    """The number that a change of a what-if names. Raises ScenarioError if there is none."""
    found = find(scenario, address)
    if isinstance(found, Problem):
        raise _no_number(what_if, address, found.fix)
    if found.entry is None:
        raise _no_number(what_if, address, "Such as stay.churn.monthly_churn_rate.")
    return found


def changes_between(base: Scenario, other: Scenario) -> Iterator[tuple[str, float]]:
    """The address and the new value of every number in which `other` differs from `base`; ranges by their likely value.
    Changes from a month on are left out.

    >>> from growth.scenario import Scenario
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> other = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 25}]}, months=24)
    >>> list(changes_between(base, other))
    [('months', 24.0), ('pay.plans.0.monthly_price', 25.0)]
    """
    before = {field.path: field.value for field in fields(base)}
    for field in fields(other):
        if field.place[0] == "changes":
            continue
        old, new = (likely_values(value) for value in (before.get(field.path), field.value))
        if field.path in before and new is not None and new != old:
            yield field.path, float(new)


def with_kept(base: Scenario, kept: Iterable[tuple[str, str, Scenario]]) -> Scenario:
    """`base`, which has no draws, with further what-ifs. One with a title that is there already replaces it.

    kept: title, note and scenario of each, kept as its changes to `base`; their months are not compared. Raises
    ScenarioError where a scenario does not differ from `base`, or there are too many what-ifs.

    >>> from growth.scenario import Scenario
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 20}]})
    >>> dearer = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 25}]})
    >>> [one.name for one in with_kept(base, [("Raise the price", "", dearer)]).what_ifs]
    ['raise_the_price']
    """
    what_ifs = [one.model_dump(mode="json") for one in base.what_ifs]
    titles = [one.title for one in base.what_ifs]
    for title, note, scenario in kept:
        changes: list[dict[str, Any]] = [
            {"field": field, "becomes": value} for field, value in changes_between(base, scenario) if field != "months"
        ]
        changes += _dated_between(base, scenario)
        if not changes:
            rule = "numbers that differ from today's, to keep them beside these"
            raise ScenarioError([Problem(f"what_ifs[{title}]", rule)])
        entry = {"label": title, "note": note, "changes": changes}
        if title in titles:
            what_ifs[titles.index(title)] |= entry
        else:
            what_ifs.append({"name": _word(title, {BASE, *(one["name"] for one in what_ifs)}), **entry})
            titles.append(title)
    return with_values(base, {**base.model_dump(mode="json"), "what_ifs": what_ifs})


def _dated_between(base: Scenario, other: Scenario) -> Iterator[dict[str, Any]]:
    """The changes from a month on in which `other` differs from `base`; one that it does not have multiplies by 1."""
    there, wanted = _dated(base), _dated(other)
    for key, change in wanted.items():
        old = there.get(key)
        if old is None or (old.times, likely_values(old.becomes)) != (change.times, likely_values(change.becomes)):
            value = {"becomes": likely_values(change.becomes)} if change.times is None else {"times": change.times}
            yield {"field": change.field, "from_month": change.from_month, **value}
    for key, change in there.items():
        if key not in wanted:
            yield {"field": change.field, "from_month": change.from_month, "times": 1}


def _word(title: str, taken: set[str]) -> str:
    """A name for placeholders, made from a title."""
    word = re.sub(r"[^a-z0-9]+", "_", title.lower()).strip("_")[:26]
    word = word if word[:1].isalpha() else f"if_{word}".rstrip("_")
    numbered = [word, *(f"{word}_{n}" for n in range(2, len(taken) + 3))]
    return next(name for name in numbered if name not in taken)


def _no_number(what_if: WhatIf, address: str, fix: str) -> ScenarioError:
    return ScenarioError([Problem(_place(what_if), "the address of a number of the scenario", address, fix)])


def _place(what_if: WhatIf) -> str:
    return f"what_ifs[{what_if.name}]"
