"""Scenario files: read as plain values with the line of each, validated, and saved."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from growth.errors import Problem, ScenarioError
from growth.files import replace_file
from growth.scenario.about_numbers import wrong_addresses
from growth.scenario.address import Place
from growth.scenario.entry import clean
from growth.scenario.scenario import Scenario
from growth.scenario.validation import problems_in, validate
from growth.scenario.write import block, edited, plain
from growth.scenario.yaml_text import Node, read_nodes, read_text

MOST_BYTES = 256 * 1024
ROOTS = ("scenario", "giveaway")
NO_PART = "not a part of the file; the parts are scenario and giveaway"


@dataclass(frozen=True, slots=True, eq=False)
class Document:
    """A scenario file as read: its two parts as plain values, not validated yet.

    scenario: the numbers. giveaway: the text of the published page; None if the file has none.
    lines:    the line, counted from 1, of each place, such as ("scenario", "pay", "plans", 0, "name").
    problems: faults of the YAML text itself, not of the values.
    """

    file: str
    text: str
    scenario: Any
    giveaway: Any
    lines: Mapping[Place, int]
    problems: tuple[Problem, ...]
    root: Node


def load_document(path: str | Path) -> Document:
    """Read a scenario file of at most 256 KiB without validating its values. Raises ScenarioError where it is missing,
    too large, not UTF-8, not YAML, or has no `scenario` key.

    >>> load_document("nowhere.yaml")
    Traceback (most recent call last):
    growth.errors.ScenarioError: nowhere.yaml: there is no such file. Check the name and the folder.
    """
    return parse(read_text(path, most_bytes=MOST_BYTES, fix="Is it a scenario file?"), file=str(path))


def parse(text: str, *, file: str) -> Document:
    """Read the text of a scenario file, whose name errors give, without validating its values. Raises ScenarioError
    where the text is not YAML or has no `scenario` key.

    >>> parse("scenario: {months: 12}", file="kiln.yaml").scenario
    {'months': 12}
    """
    root, problems = read_nodes(text, file=file)
    value = root.plain()
    problems += _root_problems(value, root)
    if not isinstance(value, dict) or "scenario" not in value:
        raise ScenarioError(problems, file=file)
    lines = dict(root.lines())
    return Document(file, text, value["scenario"], value.get("giveaway"), lines, tuple(problems), root)


def _root_problems(value: Any, root: Node) -> list[Problem]:
    if not isinstance(value, dict):
        kind = "a list" if isinstance(value, list) else "nothing" if value is None else "a single value"
        rule, fix = "the key scenario, with the numbers below it", "Begin with scenario: and indent."
        return [Problem("", rule, kind, fix, root.line)]
    problems = []
    if "scenario" not in value:
        sections = {"business", "opening", "arrive", "sign_up", "pay", "stay", "grow", "bill"} & value.keys()
        fix = "Write scenario: on a line of its own and indent the sections below it." if sections else ""
        problems.append(Problem("scenario", "this key has to be there, with the numbers below it", fix=fix))
        if sections:
            return problems
    for key in value.keys() - set(ROOTS):
        near = get_close_matches(key, ROOTS, 1)
        fix = f"Did you mean {near[0]}?" if near else "Indent it, if it belongs to the part above."
        problems.append(Problem(clean(key), NO_PART, "", fix, root.keys[key][1]))
    return sorted(problems, key=lambda problem: problem.line or 0)


def load_scenario(source: str | Path | Mapping[str, Any] | Scenario) -> Scenario:
    """Read and validate a scenario. The `giveaway` part is ignored.

    Parameters
    ----------
    source : str, Path, mapping or Scenario
        A path; a mapping with the root key `scenario`, or with the sections themselves, as papermill passes them to a
        notebook; or a Scenario, which is returned unchanged.

    Returns
    -------
    Scenario

    Raises
    ------
    ScenarioError
        Lists every problem with its line, field, valid range, value and likely fix.

    Examples
    --------
    >>> load_scenario({"business": "Fernhollow", "pay": {"plans": [{"name": "Studio", "monthly_price": 29}]}}).months
    36
    >>> load_scenario({"business": "Fernhollow", "pay": {"plans": [{"name": "Studio", "monthly_prise": 29}]}})
    Traceback (most recent call last):
    growth.errors.ScenarioError: pay.plans[Studio].monthly_prise: no such setting. Did you mean monthly_price?
    """
    if isinstance(source, Scenario):
        return source
    if isinstance(source, Mapping):
        return _from_mapping(source)
    if not isinstance(source, (str, Path)):
        raise ScenarioError([Problem("", "a path or a mapping", type(source).__name__)])
    return scenario_of(load_document(source))


def scenario_of(document: Document) -> Scenario:
    """The validated numbers of a document. Raises ScenarioError with the problems of the text and of the values, in the
    order of the file.

    >>> text = "scenario: {business: Kiln, pay: {plans: [{name: Studio, monthly_price: 29}]}}"
    >>> scenario_of(parse(text, file="kiln.yaml")).business
    'Kiln'
    """
    found = problems_in(Scenario, document.scenario, lines=document.lines, root="scenario")
    said = {(problem.field, problem.line) for problem in document.problems}
    values = found if isinstance(found, tuple) else ()
    problems = [*document.problems, *(problem for problem in values if (problem.field, problem.line) not in said)]
    if problems or isinstance(found, tuple):
        raise ScenarioError(sorted(problems, key=lambda problem: problem.line or 0), file=document.file)
    placed = [
        replace(problem, line=document.lines.get(("scenario", part, position, "of")))
        for part, position, problem in wrong_addresses(found)
    ]
    if placed:
        raise ScenarioError(placed, file=document.file)
    return found


def save_scenario(scenario: Scenario, path: str | Path, *, like: str | Path | Mapping[str, Any] | None = None) -> Path:
    """Write a scenario to a file atomically.

    In an existing file only changed values are rewritten; comments, order, layout and the `giveaway` part are kept. A
    new file is based on `like` if given; otherwise it omits values that are at their default. The text is read back as
    a check, written beside the target and then renamed, so a failure leaves the old file untouched.

    Parameters
    ----------
    scenario : Scenario
        Without draws.
    path : str or Path
        The target. An existing file must be a scenario file or empty.
    like : str, Path or mapping, optional
        The origin of the numbers: a scenario file, whose comments, order and `giveaway` part are carried over; or the
        mapping that papermill passed in, of which the `giveaway` part is.

    Returns
    -------
    Path
        The path written to.

    Raises
    ------
    ScenarioError
        The scenario has draws, the existing file or `like` is not a readable scenario file, or writing fails.

    Examples
    --------
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
    scenario = scenario.with_opening_stated()
    with _told_if_unwritable(path):
        exists = Path(path).exists() and (not Path(path).is_file() or Path(path).stat().st_size > 0)
        if exists:
            text = _changed(scenario, load_document(path))
        elif isinstance(like, (str, Path)):
            text = _text_like(scenario, load_document(like))
        else:
            text = _text_of(scenario, None if like is None else like.get("giveaway"))
        return replace_file(path, text)


def save_words(words: dict[str, Any], path: str | Path) -> Path:
    """Write the `giveaway` part of a scenario file, given as valid plain values, atomically; returns the path.

    Comments, order, layout and the numbers are kept. Raises ScenarioError where the file is not valid, or writing
    fails.
    """
    before = load_document(path)
    text = _edited(before, "giveaway", words, scenario_of(before), words)
    with _told_if_unwritable(path):
        return replace_file(path, text)


@contextmanager
def _told_if_unwritable(path: str | Path) -> Iterator[None]:
    try:
        yield
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        problem = Problem("", "it cannot be written", reason, "Nothing was changed.")
        raise ScenarioError([problem], file=str(path)) from None


def _from_mapping(source: Mapping[str, Any]) -> Scenario:
    if not isinstance(source.get("scenario"), Mapping):
        return validate(Scenario, dict(source), root="scenario")
    if rest := [key for key in source if key not in ROOTS]:
        raise ScenarioError([Problem(clean(key), NO_PART) for key in rest])
    return validate(Scenario, dict(source["scenario"]), root="scenario")


def _text_like(scenario: Scenario, model: Document) -> str:
    """Another file's text with this scenario's numbers; if its layout does not allow edits, a new text with its
    `giveaway` part."""
    try:
        return _changed(scenario, model)
    except ScenarioError:
        if model.problems:
            raise
        return _text_of(scenario, model.giveaway)


def _text_of(scenario: Scenario, giveaway: Any = None) -> str:
    head = f"# Scenario of a growth forecast: {scenario.business}\n"
    if scenario.invented:
        head += "# The business is invented, and so is every number below.\n"
    text = f"{head}# Shares are fractions: 0.04 is 4%. What is not written here stands at its default.\n\n"
    text += f"scenario:\n  {block(plain(scenario, main=True), 2)}\n"
    if giveaway is not None:
        text += f"\ngiveaway:\n  {block(giveaway, 2)}\n"
    _check(text, scenario, giveaway)
    return text


def _changed(scenario: Scenario, before: Document) -> str:
    if before.problems:
        raise ScenarioError(before.problems, file=before.file)
    return _edited(before, "scenario", scenario, scenario, before.giveaway)


def _edited(before: Document, key: str, new: Any, scenario: Scenario, giveaway: Any) -> str:
    """A file's text with new values under a key, checked. Windows line ends stay."""
    text = before.text.replace("\r\n", "\n")
    root = before.root if text == before.text else read_nodes(text)[0]
    text = edited(text, root, key, new) if key in root.value else f"{text.rstrip()}\n\n{key}:\n  {block(new, 2)}\n"
    _check(text, scenario, giveaway, file=before.file)
    return text.replace("\n", "\r\n") if "\r\n" in before.text else text


def _check(text: str, scenario: Scenario, giveaway: Any, *, file: str | None = None) -> None:
    """Read the text back and refuse it unless it gives this scenario and leaves the `giveaway` part unchanged."""
    try:
        after = parse(text, file=file or "")
        good = scenario_of(after) == scenario and after.giveaway == giveaway
    except ScenarioError:
        good = False
    if not good:
        fix = "Save under a new name, and carry your comments over."
        raise ScenarioError(
            [Problem("", "its layout is one in which single values cannot be changed", "", fix)], file=file
        )
