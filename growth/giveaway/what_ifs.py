"""The what-ifs of a page: its scenario with some numbers changed."""

from __future__ import annotations

from typing import Any

from growth.engine import Forecast, forecast
from growth.errors import Problem, ScenarioError
from growth.giveaway.brief import Giveaway, WhatIf
from growth.scenario import Scenario
from growth.scenario.address import Field, find, put, value_at
from growth.scenario.file import load_scenario
from growth.scenario.range import Range, likely_values


def variants(giveaway: Giveaway, *, scenario: Scenario) -> dict[str, Forecast]:
    """The forecast of each what-if, by its label, or its name in words."""
    return {label_of(one): forecast(changed(scenario, one)) for one in giveaway.what_ifs}


def brief_data(giveaway: Giveaway, *, scenario: Scenario) -> dict[str, Any]:
    """What the calculator shows of a page's words: its answer, its what-ifs with their valid ranges, its address.

    Raises
    ------
    ScenarioError
        For a what-if that is not a valid scenario.
    """
    what_ifs = []
    for one in giveaway.what_ifs:
        changed(scenario, one)
        changes = []
        for change in one.changes:
            field = _number_at(scenario, change.field, one)
            entry = field.assumption
            low, high, whole = entry.low, entry.high, entry.whole
            changes.append({**change.model_dump(), "field": field.path, "low": low, "high": high, "whole": whole})
        what_ifs.append({"name": one.name, "label": label_of(one), "changes": changes})
    return {
        "answer": giveaway.answer,
        "what_ifs": what_ifs,
        "address": giveaway.address,
        "byline": giveaway.byline,
        "name": giveaway.name,
    }


def label_of(what_if: WhatIf) -> str:
    """A what-if's words: its label, or its name."""
    return what_if.label or what_if.name.replace("_", " ")


def changed(scenario: Scenario, what_if: WhatIf) -> Scenario:
    """The scenario with the changes of a what-if.

    Raises ScenarioError for a field that is none of its numbers, and for a change that leaves no valid scenario.
    """
    values = scenario.model_dump(mode="json")
    for change in what_if.changes:
        field = _number_at(scenario, change.field, what_if)
        before: Any = None if field.value is None else likely_values(value_at(values, field.place))
        if change.becomes is None and before is None:
            raise _no_number(what_if, change.field, f"Say what it becomes: the scenario has no {field.path}.")
        after: float = before * change.times if change.becomes is None else change.becomes
        if isinstance(field.value, Range) and field.assumption.low <= after <= field.assumption.high:
            after = field.value.around(after, field.assumption.scale)
        put(values, field.place, after if isinstance(after, Range) or after % 1 else int(after))
    try:
        return load_scenario({"scenario": values})
    except ScenarioError as error:
        rule = "a what-if that leaves a valid scenario"
        problems = [Problem(_place(what_if), rule, fix=f"{problem}.") for problem in error.problems]
        raise ScenarioError(problems) from None


def _number_at(scenario: Scenario, address: str, what_if: WhatIf) -> Field:
    found = find(scenario, address)
    if isinstance(found, Problem):
        raise _no_number(what_if, address, found.fix)
    if found.entry is None:
        raise _no_number(what_if, address, "Such as stay.churn.monthly_churn_rate.")
    return found


def _no_number(what_if: WhatIf, address: str, fix: str) -> ScenarioError:
    return ScenarioError([Problem(_place(what_if), "the address of a number of the scenario", address, fix)])


def _place(what_if: WhatIf) -> str:
    return f"giveaway.what_ifs[{what_if.name}]"
