"""The text of a scenario file: read within strict limits, every value with its line.

Only the part of YAML that all its readers agree on is taken: no anchors, aliases, tags, merges or several documents, no key
twice, and no plain value that YAML 1.1 and YAML 1.2 read differently (`no`, `012`, `1e3`, `2027-01-31`). So papermill,
which reads the same file with another library, always sees the same scenario.
"""

from __future__ import annotations

import re
import stat
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.events import (
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)
from ruamel.yaml.resolver import implicit_resolvers

from growth.errors import Problem, ScenarioError
from growth.scenario.entry import shown

MOST_BYTES = 256 * 1024
DEEPEST = 20  # levels of nesting
ROOTS = ("scenario", "giveaway")

_WHOLE = re.compile(r"[-+]?(0|[1-9][0-9]*)")
_DECIMAL = re.compile(r"[-+]?[0-9]+\.[0-9]*([eE][-+][0-9]+)?|\.[0-9]+([eE][-+][0-9]+)?|[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)")
_WORDS = {"": None, "~": None, "null": None, "Null": None, "NULL": None}
_WORDS |= {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
_READ_AS_MORE_THAN_TEXT = tuple(pattern for _, _, pattern, _ in implicit_resolvers)  # of YAML 1.1 and 1.2


@dataclass(frozen=True, slots=True, eq=False)
class Node:
    """A value of the file and where it stands.

    value: a number, text, truth value or None; a dict of key -> Node; or a list of Node.
    keys:  for a dict, key -> (start, line) of the key.
    start, end: character offsets of the value in the text; a block ends with the last character of its last value.
    flow:  written within braces or brackets.
    """

    value: Any
    line: int
    start: int
    end: int
    flow: bool = False
    keys: dict[str, tuple[int, int]] = field(default_factory=dict)

    def plain(self) -> Any:
        """The value as plain dicts, lists, numbers and texts."""
        if isinstance(self.value, dict):
            return {key: node.plain() for key, node in self.value.items()}
        if isinstance(self.value, list):
            return [node.plain() for node in self.value]
        return self.value


@dataclass(frozen=True, slots=True, eq=False)
class Document:
    """A scenario file as read: its two parts as plain values, not validated yet.

    scenario: the numbers; giveaway: the words of the published page, None where the file has none.
    lines:    place of each value, such as ("scenario", "pay", "plans", 0, "name"), -> its line, from 1.
    problems: what is wrong with the text, apart from its values.
    """

    file: str
    text: str
    scenario: Any
    giveaway: Any
    lines: Mapping[tuple, int]
    problems: tuple[Problem, ...]
    root: Node


def load_document(path: str | Path) -> Document:
    """Read a scenario file without validating its values. Raises ScenarioError where the file cannot be read as YAML.

    >>> load_document("nowhere.yaml")
    Traceback (most recent call last):
    growth.errors.ScenarioError: nowhere.yaml: an existing file. There is no such file; check the name and the folder.
    """
    return parse(_read(path), file=str(path))


def parse(text: str, *, file: str) -> Document:
    """A Document from the text of a file; `file` is its name in errors."""
    try:
        root, problems = _Reader(text).read()
    except YAMLError as error:
        mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
        said = getattr(error, "problem", None) or getattr(error, "reason", None) or "it cannot be read"
        problem = Problem("", "valid YAML", str(said), _hint(str(said)), mark.line + 1 if mark else None)
        raise ScenarioError([problem], file=file) from None
    except (ValueError, RecursionError) as error:
        raise ScenarioError([Problem("", "valid YAML", str(error) or "nested too deeply")], file=file) from None
    except _Refused as refused:
        raise ScenarioError([refused.problem], file=file) from None
    value = root.plain()
    problems += _root_problems(value, root)
    if not isinstance(value, dict) or "scenario" not in value:
        raise ScenarioError(problems, file=file)
    lines = dict(_lines(root, ()))
    return Document(file, text, value["scenario"], value.get("giveaway"), lines, tuple(problems), root)


def plain_text(text: str) -> bool:
    """Whether a plain value, without quotes, is read as text by every reader of YAML."""
    return text not in _WORDS and text not in ("=", "<<") and not any(p.match(text) for p in _READ_AS_MORE_THAN_TEXT)


class _Refused(Exception):
    def __init__(self, rule: str, line: int, value: str = "", fix: str = ""):
        self.problem = Problem("", rule, value, fix, line)
        super().__init__(rule)


class _Reader:
    """One pass over the parser's events."""

    def __init__(self, text: str):
        yaml = YAML(typ="safe", pure=True)
        yaml.version = (1, 1)  # the grammar papermill's reader follows; values are read by _scalar
        self._events = yaml.parse(text)
        self._text = text
        self._problems: list[Problem] = []

    def read(self) -> tuple[Node, list[Problem]]:
        root = Node(None, 1, 0, 0)
        documents = 0
        for event in self._events:
            line = event.start_mark.line + 1
            if isinstance(event, DocumentStartEvent):
                documents += 1
                if documents > 1:
                    raise _Refused("one document a file", line, "a second one after ---", "Keep one, remove the others.")
                if event.version or event.tags:
                    raise _Refused("no % directive", line, fix="Remove the line that begins with %.")
            elif isinstance(event, (ScalarEvent, MappingStartEvent, SequenceStartEvent)):
                root = self._node(event, (), 1)
            elif getattr(event, "anchor", None):
                raise _Refused("no alias (*)", line, f"*{event.anchor}", "Write the value out in each place.")
        return root, self._problems

    def _node(self, event: Any, place: tuple, depth: int) -> Node:
        line, start = event.start_mark.line + 1, event.start_mark.index
        if getattr(event, "anchor", None):
            sign = "&" if hasattr(event, "implicit") else "*"
            raise _Refused("no anchors (&) or aliases (*)", line, sign + event.anchor, "Write the value out in each place.")
        if getattr(event, "ctag", None):
            raise _Refused("no tags (!)", line, shown(str(event.ctag)), "Write the value alone.")
        if depth > DEEPEST:
            raise _Refused(f"at most {DEEPEST} levels of nesting", line)
        if isinstance(event, MappingStartEvent):
            return self._mapping(event, place, depth)
        if isinstance(event, SequenceStartEvent):
            return self._sequence(event, place, depth)
        plain = event.style is None or event.style == ""
        value = self._scalar(event.value, place, line) if plain else event.value
        return Node(value, line, start, self._trim(start, event.end_mark.index))

    def _mapping(self, event: Any, place: tuple, depth: int) -> Node:
        line, start = event.start_mark.line + 1, event.start_mark.index
        value, keys, end = {}, {}, start
        while not isinstance(event := next(self._events), MappingEndEvent):
            key_line = event.start_mark.line + 1
            if not isinstance(event, ScalarEvent) or event.ctag or event.anchor:
                raise _Refused("a word as key", key_line, fix="Write key: value, with a space after the colon.")
            key = event.value
            if event.style in (None, "") and not plain_text(key):
                self._problems.append(Problem(_dotted(place), "a word as key", shown(key), line=key_line))
            key_start, node = event.start_mark.index, self._node(next(self._events), (*place, key), depth + 1)
            if key in keys:
                first = keys[key][1]
                self._problems.append(
                    Problem(_dotted((*place, key)), "each key once", f"again after line {first}", "Keep one of them.", key_line)
                )
            else:
                value[key], keys[key] = node, (key_start, key_line)
            end = max(end, node.end)
        last = event.end_mark.index if event.start_mark.index < event.end_mark.index else end
        return Node(value, line, start, last, last != end, keys)

    def _sequence(self, event: Any, place: tuple, depth: int) -> Node:
        line, start = event.start_mark.line + 1, event.start_mark.index
        value, end = [], start
        while not isinstance(event := next(self._events), SequenceEndEvent):
            value.append(self._node(event, (*place, len(value)), depth + 1))
            end = max(end, value[-1].end)
        last = event.end_mark.index if event.start_mark.index < event.end_mark.index else end
        return Node(value, line, start, last, last != end)

    def _scalar(self, text: str, place: tuple, line: int) -> Any:
        if text in _WORDS:
            return _WORDS[text]
        if _WHOLE.fullmatch(text):
            return int(text) if len(text) < 400 else float(text)
        if _DECIMAL.fullmatch(text):
            return float(text.replace(".inf", "inf").replace(".nan", "nan")) if "n" in text.lower() else float(text)
        if plain_text(text):
            return text
        number = _as_number(text)
        fix = f"Write {number}." if number else f'As text put it in quotes: "{text}"; for yes or no write true or false.'
        self._problems.append(Problem(_dotted(place), "a value that all readers of YAML read alike", shown(text), fix, line))
        return text

    def _trim(self, start: int, end: int) -> int:
        return start + len(self._text[start:end].rstrip())


def _as_number(text: str) -> str:
    try:
        number = float(text.replace("_", ""))
    except ValueError:
        return ""
    return f"{number:.15g}" if abs(number) < 1e15 and not text.lstrip("+-").startswith(("00", "0_")) else ""


def _read(path: str | Path) -> str:
    name = str(path)
    try:
        file = Path(path)
        about = file.stat()
        if stat.S_ISDIR(about.st_mode):
            raise ScenarioError([Problem("", "a file", "a directory", "Name the scenario file in it.")], file=name)
        if not stat.S_ISREG(about.st_mode):
            raise ScenarioError([Problem("", "a plain file", "a device or pipe")], file=name)
        too_large = Problem("", f"at most {MOST_BYTES // 1024} KB", f"{about.st_size / 1024:,.0f} KB", "Is it a scenario file?")
        if about.st_size > MOST_BYTES:
            raise ScenarioError([too_large], file=name)
        with file.open("rb") as stream:
            content = stream.read(MOST_BYTES + 1)
    except FileNotFoundError:
        problem = Problem("", "an existing file", fix="There is no such file; check the name and the folder.")
        raise ScenarioError([problem], file=name) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise ScenarioError([Problem("", "a file that can be read", reason)], file=name) from None
    if len(content) > MOST_BYTES:
        raise ScenarioError([too_large], file=name)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        problem = Problem("", "text in UTF-8", f"byte 0x{content[error.start]:02x}", "Save it as UTF-8 text.", line)
        raise ScenarioError([problem], file=name) from None
    if not text.strip():
        problem = Problem("", "a scenario", "an empty file", "Start from one of the examples in scenarios/.")
        raise ScenarioError([problem], file=name)
    return text


def _root_problems(value: Any, root: Node) -> list[Problem]:
    if not isinstance(value, dict):
        kind = "a list" if isinstance(value, list) else "nothing" if value is None else "a single value"
        return [Problem("", "the key scenario, with the numbers below it", kind, "Begin with scenario: and indent.", root.line)]
    problems = []
    if "scenario" not in value:
        sections = {"business", "opening", "arrive", "sign_up", "pay", "stay", "grow", "bill"} & value.keys()
        fix = "Write scenario: on a line of its own and indent the sections below it." if sections else ""
        problems.append(Problem("scenario", "this key has to be there, with the numbers below it", fix=fix))
        if sections:
            return problems
    for key in value.keys() - set(ROOTS):
        fix = "Indent it to belong to the part above." if "scenario" in value else ""
        problems.append(Problem(clean(key), "not a part of the file; the parts are scenario and giveaway", "", fix, root.keys[key][1]))
    return sorted(problems, key=lambda problem: problem.line or 0)


def _hint(said: str) -> str:
    if "\\t" in said or "tab" in said.lower():
        return "Indent with spaces, not tabs."
    if "mapping values are not allowed" in said:
        return "Check the indentation; text that holds a colon needs quotes."
    return "Check the indentation and the quotes here and on the line above."


def clean(key: Any) -> str:
    """A key as an error shows it: on one line, of a sensible length."""
    text = str(key)
    return text if text.isprintable() and len(text) <= 60 else shown(text)


def _dotted(place: tuple) -> str:
    parts = place[1:] if place[:1] == ("scenario",) else place
    return "".join(f"[{part}]" if isinstance(part, int) else f".{clean(part)}" for part in parts).lstrip(".")


def _lines(node: Node, place: tuple) -> Iterator[tuple[tuple, int]]:
    yield place, node.line
    if isinstance(node.value, dict):
        for key, child in node.value.items():
            yield from _lines(child, (*place, key))
            yield (*place, key), node.keys[key][1]
    elif isinstance(node.value, list):
        for index, child in enumerate(node.value):
            yield from _lines(child, (*place, index))
