"""A whole scenario file, numbers and words: its check, and the JSON Schema that editors complete from."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pydantic import BaseModel

from growth.errors import Problem, ScenarioError
from growth.giveaway.brief import Giveaway
from growth.giveaway.placeholders import load_giveaway
from growth.scenario import Scenario
from growth.scenario.file import load_document, scenario_of
from growth.scenario.validation import problems_in


def check_file(path: str | Path) -> Scenario:
    """Check both parts of a scenario file: the numbers, the words of the page, their placeholders and what-ifs.

    Returns the validated numbers. Raises ScenarioError with every problem of both parts, each with its line.
    """
    document = load_document(path)
    wrong: tuple[Problem, ...] = ()
    if document.giveaway is not None:
        found = problems_in(Giveaway, document.giveaway, lines=document.lines, root="giveaway")
        wrong = found if isinstance(found, tuple) else ()
    try:
        scenario = scenario_of(document)
    except ScenarioError as error:
        raise ScenarioError((*error.problems, *wrong), file=error.file) from None
    if wrong:
        raise ScenarioError(wrong, file=document.file)
    load_giveaway(path, scenario=scenario)  # and the what-ifs
    return scenario


def json_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a scenario file, for editors that check and complete as you type.

    It has one definition for each part of the file.

    >>> sorted(json_schema()["properties"])
    ['giveaway', 'scenario']
    """
    parts: dict[str, type[BaseModel]] = {"scenario": Scenario, "giveaway": Giveaway}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Scenario file of a growth forecast",
        "type": "object",
        "properties": {name: {"$ref": f"#/$defs/{name}"} for name in parts},
        "required": ["scenario"],
        "additionalProperties": False,
        "$defs": {
            name: model.model_json_schema(ref_template=f"#/$defs/{name}/$defs/{{model}}")
            for name, model in parts.items()
        },
    }
