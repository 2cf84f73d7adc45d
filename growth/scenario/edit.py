"""Editing values within the text of a scenario file. Everything else stays as it is, to the character.

Each changed value is replaced in place, a new key is added at the end of its section, and the lines of a removed key
are deleted. Comments, order, blank lines and the page's text are kept.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel

from growth.scenario.about_numbers import Effort, Source
from growth.scenario.address import Place
from growth.scenario.dated_change import DatedChange
from growth.scenario.said import says
from growth.scenario.write import block, entry, flow, item, plain, scalar, values_of
from growth.scenario.yaml_text import Node, read_nodes

Edit = tuple[int, int, str]  # start, end, new text


def edited(text: str, root: Node, key: str, section: BaseModel) -> str:
    """Return `text` with the values of `section` under `key` of `root`. Lines must end in a line feed alone."""
    edits = _value(text, root, key, section)
    # from the end, so that offsets stay valid; edits at one offset in reverse, so that their order is kept
    for start, end, new in sorted(reversed(edits), key=lambda edit: edit[:2], reverse=True):
        text = text[:start] + new + text[end:]
    return text


def with_plain(text: str, key: str, before: dict[str, Any], after: dict[str, Any]) -> str:
    """`text` with the plain values under `key` of its root changed from `before` to `after`.

    >>> with_plain("a:\\n  b: 1  # one\\n  c: x\\n", "a", {"b": 1, "c": "x"}, {"b": 2, "d": {"e": "two"}})
    'a:\\n  b: 2  # one\\n  d:\\n    e: two\\n'
    """
    for place, value in _differences((key,), before, after):
        text = _with_one(text, place, value)
    return text


def _differences(place: Place, before: Any, after: Any) -> Iterator[tuple[Place, Any]]:
    """(place, new value) of all that differs; None for a key that is gone. A list of another length is one value."""
    if isinstance(before, dict) and isinstance(after, dict) and before and after:
        for key in [*before, *(key for key in after if key not in before)]:
            yield from _differences((*place, key), before.get(key), after.get(key))
    elif isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        for at, (old, new) in enumerate(zip(before, after, strict=True)):
            yield from _differences((*place, at), old, new)
    elif not _same(before, after):
        yield place, after


def _with_one(text: str, place: Place, value: Any) -> str:
    """`text` with one plain value put in, replaced or, where it is None, taken out."""
    parent, _ = read_nodes(text)
    for depth, step in enumerate(place[:-1]):
        there = parent.value[step] if isinstance(step, int) else parent.value.get(step)
        if there is None or not there.value:  # not there, or empty: all of it is new
            for name in reversed(place[depth + 1 :]):
                value = {name: value}
            place = place[: depth + 1]
            break
        parent = there
    key = place[-1]
    if isinstance(key, int):
        child = parent.value[key]
        new = flow(value) if parent.flow else item(value, _column(text, text.rindex("-", 0, child.start)))
        edits = [(child.start, child.end, new)]
    elif key not in parent.value:
        edits = [_added(text, parent, {key: value})]
    elif value is not None:
        edits = _value(text, parent, key, value)
    elif len(parent.value) == 1:
        return _with_one(text, place[:-1], None)
    elif parent.flow:
        edits = [(parent.start, parent.end, flow({name: one for name, one in parent.plain().items() if name != key}))]
    else:
        edits = [_without(text, parent, key)]
    for start, end, new in edits:
        text = text[:start] + new + text[end:]
    return text


def _value(text: str, parent: Node, key: str, value: Any) -> list[Edit]:
    node = parent.value[key]
    if isinstance(value, BaseModel) and isinstance(node.value, dict) and _editable(node, value):
        return _section(text, node, value)
    if isinstance(value, tuple) and isinstance(node.value, list) and _editable_items(node, value):
        return _items(text, node, value)
    wanted = plain(value)
    if not isinstance(value, BaseModel) and (_same(node.plain(), wanted) or says(node.plain(), value)):
        return []
    start = parent.keys[key][0]
    new = flow(wanted) if parent.flow else entry(key, wanted, _column(text, start))
    if parent.flow or not (
        "\n" in new or "\n" in text[start : node.end]
    ):  # replace the value alone and keep what surrounds it
        space = "" if text[node.start - 1].isspace() or (parent.flow and text[node.start - 1] != ":") else " "
        return [
            (
                node.start,
                node.end,
                space + (flow(wanted) if isinstance(wanted, list | dict) or parent.flow else scalar(wanted)),
            )
        ]
    return [(start, node.end, new)]


def _editable(node: Node, section: BaseModel) -> bool:
    """Keys can be added to a section, and removed from a block; one in braces must keep its keys."""
    stays = set(node.value) <= set(type(section).model_fields)
    return bool(node.value) and (not node.flow or stays)


def _editable_items(node: Node, values: tuple[Any, ...]) -> bool:
    sections = bool(values) and bool(node.value) and all(isinstance(value, BaseModel) for value in values)
    if not sections or not all(isinstance(child.value, dict) for child in node.value):
        return False
    same_length = len(values) == len(node.value)
    return all(_editable(node.value[n], value) for n, value in _pairs(node, values)) and (same_length or not node.flow)


def _pairs(node: Node, sections: tuple[BaseModel, ...]) -> list[tuple[int, BaseModel]]:
    """Match items to sections: by what names them if some were removed, or added at the end; otherwise by position."""
    first = sections[0] if sections else None
    keys: tuple[str, ...] = ("name",)
    if isinstance(first, DatedChange):
        keys = ("from_month", "field")
    elif isinstance(first, (Source, Effort)):
        keys = ("of",)
    there = [tuple(child.value[key].value if key in child.value else None for key in keys) for child in node.value]
    wanted = [tuple(getattr(section, key, None) for key in keys) for section in sections]
    common = [name for name in there if name in wanted and None not in name]
    if len(there) != len(wanted) and common and wanted[: len(common)] == common and len(set(there)) == len(there):
        return [(there.index(name), section) for name, section in zip(common, sections, strict=False)]
    return list(enumerate(sections[: len(there)]))


def _section(text: str, node: Node, section: BaseModel) -> list[Edit]:
    fields, edits = type(section).model_fields, []
    for key in node.value:
        edits += _value(text, node, key, getattr(section, key)) if key in fields else [_without(text, node, key)]
    added = {key: value for key, value in values_of(section).items() if key not in node.value}
    return [*edits, _added(text, node, added)] if added else edits


def _added(text: str, node: Node, added: dict[str, Any]) -> Edit:
    """The edit that adds keys at the end of a section."""
    if node.flow:
        comma = "" if text[: node.end - 1].rstrip().endswith((",", "{")) else ","
        words = ", ".join(f"{key}: {flow(value)}" for key, value in added.items())
        return node.end - 1, node.end - 1, f"{comma} {words}"
    indent = _column(text, min(start for start, _ in node.keys.values()))
    place = _line_end(text, node.end)
    return place, place, "".join(f"\n{' ' * indent}{entry(key, value, indent)}" for key, value in added.items())


def _items(text: str, node: Node, sections: tuple[BaseModel, ...]) -> list[Edit]:
    """Edits to a list of sections: surplus items go, with the comments above them; new ones are appended."""
    pairs = _pairs(node, sections)
    kept = [n for n, _ in pairs]
    edits = [edit for n, section in pairs for edit in _section(text, node.value[n], section)]
    ends = [_above(text, node.start), *(_line_end(text, child.end) for child in node.value)]
    edits += [(ends[n], ends[n + 1], "") for n in range(len(node.value)) if n not in kept]
    indent, place = _column(text, node.start), _line_end(text, node.end)
    for section in sections[len(pairs) :]:
        edits.append((place, place, f"\n{' ' * indent}- {block(plain(section), indent + 2)}"))
    return edits


def _without(text: str, node: Node, key: str) -> Edit:
    """The edit that removes a key of a block with its lines. The first key may follow a dash, which stays."""
    start = node.keys[key][0]
    later = [begin for begin, _ in node.keys.values() if begin > start]
    if start == min(begin for begin, _ in node.keys.values()) and later:
        return start, min(later), ""
    return text.rindex("\n", 0, start), _line_end(text, max(node.value[key].end, start)), ""


def _same(there: Any, wanted: Any) -> bool:
    if isinstance(there, str) and isinstance(wanted, str):
        return there.strip() == wanted
    if isinstance(there, list) and isinstance(wanted, list):
        return len(there) == len(wanted) and all(map(_same, there, wanted))
    return isinstance(there, bool) == isinstance(wanted, bool) and there == wanted


def _line_end(text: str, place: int) -> int:
    end = text.find("\n", place)
    return len(text) if end < 0 else end


def _above(text: str, place: int) -> int:
    """The end of the last line above `place` that is neither blank nor a comment."""
    lines = text[:place].split("\n")[:-1]
    while lines and (not lines[-1].strip() or lines[-1].lstrip().startswith("#")):
        lines.pop()
    return len("\n".join(lines))


def _column(text: str, place: int) -> int:
    return place - (text.rfind("\n", 0, place) + 1)
