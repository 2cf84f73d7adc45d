"""A scenario with other words on where its numbers come from."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from growth.scenario.address import Field, find
from growth.scenario.change import still_said
from growth.scenario.file import load_scenario
from growth.scenario.scenario import Scenario


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
