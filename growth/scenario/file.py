"""Scenario files: loading and saving."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from growth.errors import Problem, ScenarioError
from growth.files import replace_file
from growth.scenario.document import Document, load_document, parse
from growth.scenario.edit import edited
from growth.scenario.report import problems_in, validate
from growth.scenario.scenario import Scenario
from growth.scenario.write import block, plain
from growth.scenario.yaml_text import clean

__all__ = ["Document", "load_document", "load_scenario", "save_scenario", "scenario_of", "validate"]


def load_scenario(source: str | Path | Mapping[str, Any] | Scenario) -> Scenario:
    """The validated scenario of a file, or of a mapping that holds what a file would.

    source: a path; or a mapping, either with the root key `scenario` or with the sections themselves, as papermill
    hands them to a notebook; a Scenario is handed back as it is. Raises ScenarioError that lists every problem, each
    with its line, field, valid range, value and likely mend. The `giveaway` part is not looked at.

    >>> load_scenario({"business": "Fernhollow", "pay": {"plans": [{"name": "Studio", "monthly_price": 29}]}}).months
    36
    >>> load_scenario({"business": "Fernhollow", "pay": {"plans": [{"name": "Studio", "monthly_prise": 29}]}})
    Traceback (most recent call last):
    growth.errors.ScenarioError: pay.plans[Studio].monthly_price: needed: a number from 0 to 1,000,000
    pay.plans[Studio].monthly_prise: no such setting. Did you mean monthly_price?
    """
    if isinstance(source, Scenario):
        return source
    if isinstance(source, Mapping):
        return _from_mapping(source)
    if not isinstance(source, (str, Path)):
        raise ScenarioError([Problem("", "a path or a mapping", type(source).__name__)])
    return scenario_of(load_document(source))


def scenario_of(document: Document) -> Scenario:
    """The validated scenario of a document. Raises ScenarioError with the problems of its text and of its values."""
    found = problems_in(Scenario, document.scenario, lines=document.lines, root="scenario")
    said = {(problem.field, problem.line) for problem in document.problems}
    values = found if isinstance(found, tuple) else ()
    problems = [*document.problems, *(problem for problem in values if (problem.field, problem.line) not in said)]
    if problems:
        raise ScenarioError(sorted(problems, key=lambda problem: problem.line or 0), file=document.file)
    return found


def save_scenario(scenario: Scenario, path: str | Path) -> Path:
    """Write a scenario to a file, whole or not at all; returns its path.

    In an existing file only the values that changed are changed: comments, order, layout and the `giveaway` part stay.
    A new file leaves out what stands at its default. The text is read back as a check, written beside the file and then
    renamed, so that a failure leaves the old file as it was. Raises ScenarioError for a scenario with draws, for an
    existing file that is no readable scenario file, and where the file cannot be written.

    >>> import tempfile
    >>> scenario = load_scenario({"business": "Kiln", "pay": {"plans": [{"name": "Studio", "monthly_price": 29}]}})
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     load_scenario(save_scenario(scenario, Path(folder) / "kiln.yaml")) == scenario
    True
    """
    file = str(path)
    if scenario.draws is not None:
        raise ScenarioError(
            [Problem("", "single numbers", f"{scenario.draws} draws", "A file holds one scenario.")], file=file
        )
    try:
        exists = Path(path).exists() and (not Path(path).is_file() or Path(path).stat().st_size > 0)
        before = load_document(path) if exists else None
        text = _text_of(scenario) if before is None else _changed(scenario, before)
        return replace_file(path, text)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise ScenarioError([Problem("", "it cannot be written", reason, "Nothing was changed.")], file=file) from None


def _from_mapping(source: Mapping[str, Any]) -> Scenario:
    if not isinstance(source.get("scenario"), Mapping):
        return validate(Scenario, dict(source), root="scenario")
    rest = [key for key in source if key not in ("scenario", "giveaway")]
    if rest:
        rule = "not a part of the file; the parts are scenario and giveaway"
        raise ScenarioError([Problem(clean(key), rule) for key in rest])
    return validate(Scenario, dict(source["scenario"]), root="scenario")


def _text_of(scenario: Scenario) -> str:
    head = f"# Scenario of a growth forecast: {scenario.business}\n"
    if scenario.invented:
        head += "# The business is invented, and so is every number below.\n"
    text = f"{head}# Shares are fractions: 0.04 is 4%. What is not written here stands at its default.\n\n"
    text += f"scenario:\n  {block(plain(scenario, main=True), 2)}\n"
    _check(text, scenario, None)
    return text


def _changed(scenario: Scenario, before: Document) -> str:
    if before.problems:
        raise ScenarioError(before.problems, file=before.file)
    windows = "\r\n" in before.text
    text = before.text.replace("\r\n", "\n")
    text = edited(text, parse(text, file=before.file).root if windows else before.root, "scenario", scenario)
    _check(text, scenario, before)
    return text.replace("\n", "\r\n") if windows else text


def _check(text: str, scenario: Scenario, before: Document | None) -> None:
    """Read the text back: nothing is written that is not read as this scenario, or that changes the other part."""
    file = before.file if before else None
    try:
        after = parse(text, file=file or "")
        good = scenario_of(after) == scenario and (before is None or after.giveaway == before.giveaway)
    except ScenarioError:
        good = False
    if not good:
        fix = "Save under a new name, and carry your comments over."
        raise ScenarioError(
            [Problem("", "its layout is one in which single values cannot be changed", "", fix)], file=file
        )
