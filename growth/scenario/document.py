"""Reading a scenario file, within limits, as plain values with the line of each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from ruamel.yaml.error import YAMLError

from growth.errors import Problem, ScenarioError
from growth.files import read_input
from growth.scenario.address import Place
from growth.scenario.entry import clean
from growth.scenario.yaml_text import Node, Refused, read_nodes

MOST_BYTES = 256 * 1024
ROOTS = ("scenario", "giveaway")


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
    """Read a scenario file without validating its values.

    Parameters
    ----------
    path : str or Path
        A UTF-8 file of at most 256 KiB.

    Raises
    ------
    ScenarioError
        The file is missing, too large, not UTF-8, not YAML, or has no `scenario` key.

    Examples
    --------
    >>> load_document("nowhere.yaml")
    Traceback (most recent call last):
    growth.errors.ScenarioError: nowhere.yaml: there is no such file. Check the name and the folder.
    """
    return parse(read_text(path, most_bytes=MOST_BYTES, fix="Is it a scenario file?"), file=str(path))


def parse(text: str, *, file: str) -> Document:
    """Read the text of a scenario file without validating its values.

    Parameters
    ----------
    text : str
        YAML.
    file : str
        The name used in error messages.

    Raises
    ------
    ScenarioError
        The text is not YAML or has no `scenario` key.

    Examples
    --------
    >>> parse("scenario: {months: 12}", file="kiln.yaml").scenario
    {'months': 12}
    """
    root, problems = nodes_of(text, file=file)
    value = root.plain()
    problems += _root_problems(value, root)
    if not isinstance(value, dict) or "scenario" not in value:
        raise ScenarioError(problems, file=file)
    lines = lines_of(root)
    return Document(file, text, value["scenario"], value.get("giveaway"), lines, tuple(problems), root)


def nodes_of(text: str, *, file: str) -> tuple[Node, list[Problem]]:
    """Read a YAML text into its root node and a list of recoverable problems.

    Parameters
    ----------
    text : str
        YAML.
    file : str
        The name used in error messages.

    Returns
    -------
    root : Node
    problems : list of Problem

    Raises
    ------
    ScenarioError
        The text cannot be read as YAML.

    Examples
    --------
    >>> nodes_of("months: 12", file="kiln.yaml")[0].plain()
    {'months': 12}
    """
    try:
        return read_nodes(text)
    except YAMLError as error:
        raise ScenarioError([_syntax_problem(error, text)], file=file) from None
    except (ValueError, RecursionError) as error:
        raise ScenarioError([Problem("", f"not valid YAML: {error}")], file=file) from None
    except Refused as refused:
        raise ScenarioError([refused.problem], file=file) from None


def read_text(path: str | Path, *, most_bytes: int, fix: str) -> str:
    """The text of a YAML file of at most `most_bytes`. Raises ScenarioError, with `fix` where the file is too large."""
    name = str(path)
    content = read_input(path, most_bytes=most_bytes, error=ScenarioError, fix=fix)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        problem = Problem("", "not text in UTF-8", f"byte 0x{content[error.start]:02x}", "Save it as UTF-8 text.", line)
        raise ScenarioError([problem], file=name) from None
    if not text.strip():
        problem = Problem("", "the file is empty", "", "Start from one of the examples in scenarios/.")
        raise ScenarioError([problem], file=name)
    return text


def _root_problems(value: Any, root: Node) -> list[Problem]:
    if not isinstance(value, dict):
        kind = "a list" if isinstance(value, list) else "nothing" if value is None else "a single value"
        return [
            Problem(
                "", "the key scenario, with the numbers below it", kind, "Begin with scenario: and indent.", root.line
            )
        ]
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
        problems.append(
            Problem(
                clean(key), "not a part of the file; the parts are scenario and giveaway", "", fix, root.keys[key][1]
            )
        )
    return sorted(problems, key=lambda problem: problem.line or 0)


def _syntax_problem(error: YAMLError, text: str) -> Problem:
    said = str(getattr(error, "problem", None) or getattr(error, "reason", None) or "")
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    line = mark.line + 1 if mark else text.count("\n", 0, getattr(error, "position", 0)) + 1
    rule, fix = next((words for part, words in SYNTAX.items() if part in said.lower()), SYNTAX[""])
    return Problem("", f"not valid YAML: {rule}", "", fix, line)


SYNTAX = {  # part of the parser's message -> what is wrong and the likely fix
    "\\t": ("a tab where a value or a key begins", "Indent with spaces, not tabs."),
    "special characters": ("a character that no text file may hold", "Remove the invisible character on this line."),
    "mapping values are not allowed": (
        "a colon where none may stand",
        "Check the indentation; text that holds a colon needs quotes.",
    ),
    "could not find expected ':'": ("a key without a colon", "Write key: value, with a space after the colon."),
    "document start": ("text behind the end of the file's one document", "Check the indentation of this line."),
    "expected <block end>": ("a line that is indented otherwise than those above", "Indent lines of one part alike."),
    "while scanning a quoted scalar": ("a quote that is not closed", "Close the quote."),
    "unexpected end of stream": ("a quote or a bracket that is not closed", "Close it."),
    "but got": ("a bracket or brace that is not closed", "Close it, or put the text in quotes."),
    "unknown escape": (
        "a backslash in double quotes that begins no known escape",
        "Write it twice, or use 'single' quotes.",
    ),
    "cannot start any token": ("a character that begins no value", "Put text that begins so in quotes."),
    "": ("a line that cannot be read", "Check the indentation and the quotes here and on the line above."),
}


def lines_of(root: Node) -> dict[Place, int]:
    """The place of each value, from the root -> its line, from 1."""
    return dict(_lines(root, ()))


def _lines(node: Node, place: Place) -> Iterator[tuple[Place, int]]:
    yield place, node.line
    if isinstance(node.value, dict):
        for key, child in node.value.items():
            yield from _lines(child, (*place, key))
            yield (*place, key), node.keys[key][1]
    elif isinstance(node.value, list):
        for index, child in enumerate(node.value):
            yield from _lines(child, (*place, index))
