"""A scenario with the changes of a what-if, or with new sources; and the changes between two scenarios."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from copy import deepcopy
from datetime import date
from typing import Any

from growth.errors import Problem, ScenarioError
from growth.scenario.address import Field, fields, find, put, value_at
from growth.scenario.file import load_scenario
from growth.scenario.range import Range, likely_values
from growth.scenario.said import what_was_said
from growth.scenario.scenario import Scenario
from growth.scenario.what_if import BASE, Change, WhatIf


def changed(scenario: Scenario, what_if: WhatIf) -> Scenario:
    """The scenario with the changes of a what-if.

    Parameters
    ----------
    scenario : Scenario
        Without draws.
    what_if : WhatIf
        One of the scenario's own, or any other.

    Returns
    -------
    Scenario
        It keeps its own `what_ifs`.

    Raises
    ------
    ScenarioError
        A change names no number of the scenario, or leaves no valid scenario.

    Examples
    --------
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
        return load_scenario({"scenario": values})
    except ScenarioError as error:
        rule = "a what-if that leaves a valid scenario"
        problems = [
            Problem(_place(what_if), rule, fix=f"{problem}".removesuffix(".") + ".") for problem in error.problems
        ]
        raise ScenarioError(problems) from None


def _put_dated(scenario: Scenario, changes: list[Any], field: Field, change: Change) -> None:
    """Put a change from a month on among a scenario's own, or in place of that of the same number and month."""
    for position, one in enumerate(scenario.changes):
        if (one.from_month, _place_of(scenario, one.field)) == (change.from_month, field.path):
            changes[position] = change.model_dump()
            return
    changes.append(change.model_dump())


def _place_of(scenario: Scenario, address: str) -> str:
    field = find(scenario, address)
    return field.path if isinstance(field, Field) else address


def number_at(scenario: Scenario, address: str, what_if: WhatIf) -> Field:
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


def still_said(values: dict[str, Any], before: Scenario) -> dict[str, Any]:
    """Plain values of a scenario in which every number is as it was said, where it has not changed since `before`.

    >>> plan = {"name": "One", "monthly_price": {"a_year": 240}}
    >>> base = load_scenario({"business": "Kiln", "pay": {"plans": [plan]}})
    >>> still_said(base.model_dump(mode="json"), base)["pay"]["plans"][0]["monthly_price"]
    {'a_year': 240}
    """
    values = deepcopy(values)
    for field in fields(before):
        said = what_was_said(field.value)
        try:
            same = said is not None and value_at(values, field.place) == field.value
        except (KeyError, IndexError, TypeError, ValueError):  # no such number any more
            continue
        if same:
            put(values, field.place, said)
    return values


def with_kept(base: Scenario, kept: Iterable[tuple[str, str, Scenario]]) -> Scenario:
    """`base` with further what-ifs. One with a title that is there already replaces it.

    Parameters
    ----------
    base : Scenario
        Without draws.
    kept : iterable of (title, note, scenario)
        The scenarios to keep, as changes to `base`. Their months are not compared.

    Raises
    ------
    ScenarioError
        A scenario does not differ from `base`, or there are too many what-ifs.

    Examples
    --------
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
    values = {**base.model_dump(mode="json"), "what_ifs": what_ifs}
    return load_scenario({"scenario": still_said(values, base)})


def _dated_between(base: Scenario, other: Scenario) -> Iterator[dict[str, Any]]:
    """The changes from a month on in which `other` differs from `base`; one that it does not have multiplies by 1."""
    there, wanted = (
        {(one.from_month, _place_of(scenario, one.field)): one for one in scenario.changes}
        for scenario in (base, other)
    )
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


def with_sources(scenario: Scenario, told: Mapping[str, Mapping[str, Any]], *, today: date) -> Scenario:
    """The scenario with the sources that were told anew.

    Parameters
    ----------
    scenario : Scenario
        Without draws.
    told : mapping
        By the path of the number: `source` (a kind, or empty: the number has none any more) and `note`. What is no path
        of a number is passed over.
    today : date
        When it was told. What the number is now is written as what it `was`.

    Returns
    -------
    Scenario
        The other sources stay, in their order.

    Raises
    ------
    ScenarioError
        A kind or a note is not valid.

    Examples
    --------
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> told = {"pay.plans.0.monthly_price": {"source": "told", "note": "since spring"}}
    >>> with_sources(base, told, today=date(2027, 1, 15)).sources[0]
    Source(of='pay.plans.Studio.monthly_price', source='told', when='2027-01-15', was=29.0, note='since spring')
    """
    sources = [one.model_dump(mode="json", exclude_unset=True) for one in scenario.sources]
    paths = [field.path if isinstance(field := find(scenario, one.of), Field) else "" for one in scenario.sources]
    for path, one in told.items():
        field = find(scenario, path)
        if isinstance(field, Field) and field.entry is not None:
            note = {"note": one["note"]} if one.get("note") else {}
            was = round(float(field.value), 12) if isinstance(field.value, (int, float)) else None
            new = {"source": one.get("source"), "when": today.isoformat(), "was": was, **note}
            if field.path in paths:
                place = paths.index(field.path)
                sources[place] = {"of": sources[place]["of"], **new}
            else:
                paths.append(field.path)
                sources.append({"of": _address(scenario, field), **new})
    sources = [one for one in sources if one["source"]]
    values = {**scenario.model_dump(mode="json"), "sources": sources}
    return load_scenario({"scenario": still_said(values, scenario)}) if told else scenario


def _address(scenario: Scenario, field: Field) -> str:
    """The address of a number, with list items by name where that leads to it."""
    steps: list[str] = []
    part: Any = scenario.model_dump()
    for step in field.place:
        part = part[step]
        steps.append(str(part.get("name") or step) if isinstance(step, int) and isinstance(part, dict) else str(step))
    named = find(scenario, ".".join(steps))
    return ".".join(steps) if isinstance(named, Field) and named.path == field.path else field.path
