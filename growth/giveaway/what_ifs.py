"""The what-ifs of a page: its scenario with some numbers changed."""

from __future__ import annotations

from math import isfinite
from typing import Any

from growth.calculator.controls import assumptions_in
from growth.engine import Forecast, forecast
from growth.errors import Problem, ScenarioError
from growth.giveaway.brief import Giveaway, WhatIf
from growth.scenario import Scenario
from growth.scenario.file import load_scenario
from growth.scenario.values import put, value_at


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
    entries = assumptions_in(scenario)
    what_ifs = []
    for one in giveaway.what_ifs:
        changed(scenario, one)
        changes = []
        for change in one.changes:
            entry = entries.get(change.field)
            low, high, whole = (entry.low, entry.high, entry.whole) if entry else (0, 1e9, False)
            changes.append({**change.model_dump(), "low": low, "high": high, "whole": whole})
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
    place = f"giveaway.what_ifs[{what_if.name}]"
    for change in what_if.changes:
        try:
            before = value_at(values, change.field)
            if isinstance(before, (bool, str, list, dict)):
                raise TypeError
            after: float = before * change.times if change.becomes is None else change.becomes
            put(values, change.field, int(after) if isfinite(after) and after == int(after) else after)
        except (KeyError, IndexError, TypeError, ValueError):
            rule = "the dotted place of a number of the scenario, positions in lists from 0"
            raise ScenarioError(
                [Problem(place, rule, change.field, "Such as stay.churn.monthly_churn_rate.")]
            ) from None
    try:
        return load_scenario({"scenario": values})
    except ScenarioError as error:
        rule = "a what-if that leaves a valid scenario"
        problems = [Problem(place, rule, fix=f"{problem}.") for problem in error.problems]
        raise ScenarioError(problems) from None
