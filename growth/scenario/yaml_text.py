"""A portable subset of YAML, read with the position of each value.

Only what all YAML readers agree on is accepted: no anchors, aliases, tags, merge keys, duplicate keys or multiple
documents, and no plain value that YAML 1.1 and 1.2 read differently (`no`, `012`, `1e3`, `2027-01-31`). Papermill,
which reads the same file with another library, therefore always sees the same scenario.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    NodeEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)
from ruamel.yaml.resolver import implicit_resolvers

from growth.errors import Problem, ScenarioError, printable
from growth.files import read_input
from growth.scenario.address import Place, in_file
from growth.scenario.entry import shown

DEEPEST = 20  # levels of nesting

_WHOLE = re.compile(r"[-+]?(0|[1-9][0-9]*)")
_DECIMAL = re.compile(
    r"[-+]?[0-9]+\.[0-9]*([eE][-+][0-9]+)?|\.[0-9]+([eE][-+][0-9]+)?|[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)"
)
_WORDS: dict[str, bool | None] = {"": None, "~": None, "null": None, "Null": None, "NULL": None}
_WORDS |= {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
_READ_AS_MORE_THAN_TEXT = tuple(pattern for _, _, pattern, _ in implicit_resolvers)  # of YAML 1.1 and 1.2


@dataclass(frozen=True, slots=True, eq=False)
class Node:
    """A value in the file and its position.

    value: a number, str, bool or None; a dict of str to Node; or a list of Node.
    keys:  for a dict, the (start, line) of each key.
    start, end: character offsets in the text; a block ends with the last character of its last value.
    flow:  whether it is written in braces or brackets.
    """

    value: Any
    line: int
    start: int
    end: int
    flow: bool = False
    keys: dict[str, tuple[int, int]] = field(default_factory=dict)

    def plain(self) -> Any:
        """The value as plain dicts, lists and scalars."""
        if isinstance(self.value, dict):
            return {key: node.plain() for key, node in self.value.items()}
        if isinstance(self.value, list):
            return [node.plain() for node in self.value]
        return self.value

    def lines(self, place: Place = ()) -> Iterator[tuple[Place, int]]:
        """The place of each value, below that of this one, with its line from 1; of a key's value, the key's line."""
        yield place, self.line
        if isinstance(self.value, dict):
            for key, node in self.value.items():
                yield from node.lines((*place, key))
                yield (*place, key), self.keys[key][1]
        elif isinstance(self.value, list):
            for index, node in enumerate(self.value):
                yield from node.lines((*place, index))


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


def read_nodes(text: str, *, file: str = "") -> tuple[Node, list[Problem]]:
    """The root node of a YAML text, and what can be mended in it. Raises ScenarioError, with the file's name, if the
    text cannot be read on.

    >>> read_nodes("months: 12")[0].plain()
    {'months': 12}
    """
    try:
        return _Reader(text, file).read()
    except YAMLError as error:
        raise ScenarioError([_syntax_problem(error, text)], file=file) from None
    except (ValueError, RecursionError) as error:
        raise ScenarioError([Problem("", f"not valid YAML: {error}")], file=file) from None


def plain_text(text: str) -> bool:
    """Whether every YAML reader takes this unquoted scalar as a string."""
    return text not in _WORDS and text not in ("=", "<<") and not any(p.match(text) for p in _READ_AS_MORE_THAN_TEXT)


class _Reader:
    """One pass over the parser's events."""

    def __init__(self, text: str, file: str):
        yaml = YAML(typ="safe", pure=True)
        yaml.version = (1, 1)  # the grammar of papermill's reader; _scalar interprets the values
        self._events = yaml.parse(text)
        self._text, self._file = text, file
        self._problems: list[Problem] = []

    def read(self) -> tuple[Node, list[Problem]]:
        root = Node(None, 1, 0, 0)
        documents = 0
        for event in self._events:
            line = event.start_mark.line + 1
            if isinstance(event, DocumentStartEvent):
                documents += 1
                if documents > 1:
                    raise self._refused(
                        "one document a file", line, "a second one after ---", "Keep one, remove the others."
                    )
                if event.version or event.tags:
                    raise self._refused("no % directive", line, fix="Remove the line that begins with %.")
            elif isinstance(event, NodeEvent):
                root = self._node(event, (), 1)
        return root, self._problems

    def _note(self, place: Place, rule: str, line: int, value: str, fix: str = "") -> None:
        self._problems.append(Problem(in_file(place), rule, value, fix, line))

    def _refused(self, rule: str, line: int, value: str = "", fix: str = "") -> ScenarioError:
        """The error for what stops the reader."""
        return ScenarioError([Problem("", rule, value, fix, line)], file=self._file)

    def _refuse_surrogates(self, text: str, line: int) -> None:
        """A lone surrogate, such as "\\ud800", cannot be encoded."""
        if any("\ud800" <= character <= "\udfff" for character in text):
            raise self._refused("whole characters", line, printable(text[:40]), "Write the character itself.")

    def _node(self, event: Any, place: Place, depth: int) -> Node:
        line, start = event.start_mark.line + 1, event.start_mark.index
        if event.anchor:
            name = ("*" if isinstance(event, AliasEvent) else "&") + event.anchor
            raise self._refused(
                "no anchors (&) or aliases (*)", line, shown(name), "Write the value out in each place."
            )
        if event.ctag:
            tag = str(event.ctag).replace("tag:yaml.org,2002:", "!!")
            raise self._refused("no tags (!)", line, shown(tag), "Write the value alone.")
        if depth > DEEPEST:
            raise self._refused(f"at most {DEEPEST} levels of nesting", line)
        if isinstance(event, MappingStartEvent):
            return self._mapping(event, place, depth)
        if isinstance(event, SequenceStartEvent):
            return self._sequence(event, place, depth)
        self._refuse_surrogates(event.value, line)
        plain = event.style is None or event.style == ""
        value = self._scalar(event.value, place, line) if plain else event.value
        return Node(value, line, start, self._trim(start, event.end_mark.index))

    def _mapping(self, event: Any, place: Place, depth: int) -> Node:
        line, start = event.start_mark.line + 1, event.start_mark.index
        value: dict[str, Node] = {}
        keys: dict[str, tuple[int, int]] = {}
        end = start
        while not isinstance(event := next(self._events), MappingEndEvent):
            key_line = event.start_mark.line + 1
            if not isinstance(event, ScalarEvent) or event.ctag or event.anchor:
                raise self._refused("a word as key", key_line, fix="Write key: value, with a space after the colon.")
            self._refuse_surrogates(event.value, key_line)
            key = event.value
            if event.style in (None, "") and not plain_text(key):
                self._note((*place, key), "a word as key", key_line, shown(key))
            key_start, key_end = event.start_mark.index, event.end_mark.index
            node = self._node(next(self._events), (*place, key), depth + 1)
            if node.start == node.end and not node.flow:  # an empty value starts after the colon
                colon = self._text.find(":", key_end, node.end) + 1 or node.end
                node = Node(node.value, key_line, colon, colon)
            if key in keys:
                again = f"again after line {keys[key][1]}"
                self._note((*place, key), "each key once", key_line, again, "Keep one of them.")
            else:
                value[key], keys[key] = node, (key_start, key_line)
            end = max(end, node.end)
        last = event.end_mark.index if event.start_mark.index < event.end_mark.index else end
        return Node(value, line, start, last, last != end, keys)

    def _sequence(self, event: Any, place: Place, depth: int) -> Node:
        line, start = event.start_mark.line + 1, event.start_mark.index
        value: list[Node] = []
        end = start
        while not isinstance(event := next(self._events), SequenceEndEvent):
            value.append(self._node(event, (*place, len(value)), depth + 1))
            end = max(end, value[-1].end)
        last = event.end_mark.index if event.start_mark.index < event.end_mark.index else end
        return Node(value, line, start, last, last != end)

    def _scalar(self, text: str, place: Place, line: int) -> Any:
        if text in _WORDS:
            return _WORDS[text]
        if _WHOLE.fullmatch(text):
            return int(text) if len(text) < 4000 else float(text)
        if _DECIMAL.fullmatch(text):
            return float(text.replace(".inf", "inf").replace(".nan", "nan")) if "n" in text.lower() else float(text)
        if plain_text(text):
            return text
        number, quoted = _as_number(text), f'As text put it in quotes: "{text}"; for yes or no write true or false.'
        fix = f"Write {number}." if number else quoted
        self._note(place, "a value that all readers of YAML read alike", line, shown(text), fix)
        return text

    def _trim(self, start: int, end: int) -> int:
        return start + len(self._text[start:end].rstrip())


def _as_number(text: str) -> str:
    try:
        number = float(text.replace("_", ""))
    except ValueError:
        return ""
    return f"{number:.15g}" if abs(number) < 1e15 and not text.lstrip("+-").startswith(("00", "0_")) else ""


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
