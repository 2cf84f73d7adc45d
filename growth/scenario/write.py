"""Values as YAML text that every reader reads alike, new or in place of those in the text of a scenario file.

In a text that is there, each changed value is replaced in place, a new key is added at the end of its section, and the
lines of a removed key are deleted. Comments, order, blank lines and the rest of the file stay, to the character.
"""

from __future__ import annotations

import re
import textwrap
from typing import Any

from pydantic import BaseModel

from growth.scenario.about_numbers import Effort, Source
from growth.scenario.dated_change import DatedChange
from growth.scenario.entries import assumption_of
from growth.scenario.range import Range
from growth.scenario.said import FORMS, says, what_was_said
from growth.scenario.yaml_text import Node, plain_text

WIDTH = 110
FIRST = ("business", "name", "kind", "curve")  # what a section is stands before its numbers
_NEEDS_NO_QUOTES = re.compile(r"[A-Za-z0-9À-ɏ][\w .,()/+&'€£%-]*")
Edit = tuple[int, int, str]  # start, end, new text
_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t"}


def values_of(section: BaseModel, *, main: bool = False) -> dict[str, Any]:
    """What has to be written of a section: its values that differ from their defaults, and the words that choose it.

    main: also what a reader would look for: assumptions that always have a control, the currency, the first month.
    """
    written, fields = {}, type(section).model_fields
    for name, info in sorted(fields.items(), key=lambda item: item[0] not in FIRST):
        value = getattr(section, name)
        entry = assumption_of(info)
        sought = name == "currency" or (name == "first_month" and isinstance(value, str))
        sought = sought or (entry is not None and entry.always and value is not None)
        sought = sought or (isinstance(value, BaseModel) and bool(values_of(value, main=True)))
        stated = value != info.default and name in section.model_fields_set
        if info.is_required() or stated or name == "kind" or (main and sought):
            written[name] = plain(value, main=main)
    return written


def plain(value: Any, *, main: bool = False) -> Any:
    """A section as a dict, a tuple as a list, a whole float as an int; what stands at its default is left out."""
    if isinstance(value, BaseModel):
        return values_of(value, main=main)
    if isinstance(value, tuple):
        return [plain(part, main=main) for part in value]
    if said := what_was_said(value):
        return dict(said)
    if isinstance(value, Range):
        return {name: plain(point) for name, point in value.points().items()}
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    return value


def scalar(value: Any) -> str:
    """A number, text, truth value or None as YAML, on one line."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        text = repr(plain(value))
        return text.replace("e", ".0e") if "e" in text and "." not in text else text
    if isinstance(value, int):
        return str(value)
    text = str(value)
    if _NEEDS_NO_QUOTES.fullmatch(text) and not text.endswith(" ") and plain_text(text):
        return text
    return '"' + "".join(_escaped(character) for character in text) + '"'


def flow(value: Any) -> str:
    """A value in braces and brackets, on one line."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {flow(part)}" for key, part in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(flow(part) for part in value) + "]"
    text = scalar(value)
    return f'"{text}"' if isinstance(value, str) and "," in text and not text.startswith('"') else text


def entry(key: str, value: Any, indent: int) -> str:
    """`key: value` as whole lines, without the first line's indentation and the last line's end."""
    if isinstance(value, dict) and value and not _is_number(value):
        return f"{key}:\n{' ' * (indent + 2)}{block(value, indent + 2)}"
    long = isinstance(value, list) and any(isinstance(part, str) for part in value) and len(flow(value)) > WIDTH
    if isinstance(value, list) and (long or any(isinstance(part, dict) for part in value)):
        return f"{key}:\n{' ' * (indent + 2)}{block(value, indent + 2)}"
    if isinstance(value, str) and len(value) > WIDTH - indent - len(key) and _folds(value):
        pad = " " * (indent + 2)
        lines = textwrap.wrap(value, WIDTH - indent - 2, break_long_words=False, break_on_hyphens=False)
        return f"{key}: >-\n" + "\n".join(pad + line for line in lines)
    return f"{key}: {flow(value)}" if isinstance(value, (dict, list)) else f"{key}: {scalar(value)}"


def block(value: dict[str, Any] | list[Any], indent: int) -> str:
    """A dict or list as lines at `indent`, without the first line's indentation and the last line's end."""
    pad = "\n" + " " * indent
    if isinstance(value, dict):
        return pad.join(entry(key, part, indent) for key, part in value.items())
    return pad.join(f"- {item(part, indent)}" for part in value)


def item(value: Any, indent: int) -> str:
    """A value of a list, behind a dash that stands at `indent`."""
    return block(value, indent + 2) if isinstance(value, dict) and value else entry("", value, indent)[2:]


def _is_number(value: dict[str, Any]) -> bool:
    """Whether it is a range, or a number as it was said."""
    return set(value) == {"low", "likely", "high"} or any(form.keys == set(value) for form in FORMS)


def _folds(text: str) -> bool:
    return text.isprintable() and text == " ".join(text.split())


def _escaped(character: str) -> str:
    if character in _ESCAPES:
        return _ESCAPES[character]
    if character.isprintable() and character not in "\u2028\u2029\x85\ufeff":
        return character
    code = ord(character)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def edited(text: str, root: Node, key: str, section: BaseModel | dict[str, Any]) -> str:
    """`text` with the values under `key` of its root changed to those of a section, or of plain values. Lines must end
    in a line feed alone.

    >>> from growth.scenario.yaml_text import read_nodes
    >>> text = "a:\\n  b: 1  # one\\n  c: x\\n"
    >>> edited(text, read_nodes(text)[0], "a", {"b": 2, "d": {"e": "two"}})
    'a:\\n  b: 2  # one\\n  d:\\n    e: two\\n'
    """
    edits = _value(text, root, key, section)
    # from the end, so that offsets stay valid; edits at one offset in reverse, so that their order is kept
    for start, end, new in sorted(reversed(edits), key=lambda edit: edit[:2], reverse=True):
        text = text[:start] + new + text[end:]
    return text


def _value(text: str, parent: Node, key: str, value: Any) -> list[Edit]:
    node = parent.value[key]
    if (edits := _within(text, node, value)) is not None:
        return edits
    wanted = plain(value)
    start = parent.keys[key][0]
    new = flow(wanted) if parent.flow else entry(key, wanted, _column(text, start))
    if parent.flow or not ("\n" in new or "\n" in text[start : node.end]):  # the value alone: what surrounds it stays
        space = "" if text[node.start - 1].isspace() or (parent.flow and text[node.start - 1] != ":") else " "
        inline = parent.flow or isinstance(wanted, list | dict)
        return [(node.start, node.end, space + (flow(wanted) if inline else scalar(wanted)))]
    return [(start, node.end, new)]


def _within(text: str, node: Node, value: Any) -> list[Edit] | None:
    """The edits within a value that lead to another one; None where all of it has to be written anew."""
    if isinstance(value, BaseModel | dict) and isinstance(node.value, dict) and _editable(node, value):
        return _section(text, node, value)
    if isinstance(value, dict) and isinstance(node.value, dict) and node.flow and value and node.value:
        return [(node.start, node.end, flow(value))]
    if isinstance(value, tuple) and isinstance(node.value, list) and _editable_items(node, value):
        return _items(text, node, value)
    if isinstance(value, list) and isinstance(node.value, list) and len(value) == len(node.value):
        return [edit for n, part in enumerate(value) for edit in _item(text, node, n, part)]
    if not isinstance(value, BaseModel) and (_same(node.plain(), plain(value)) or says(node.plain(), value)):
        return []
    return None


def _item(text: str, parent: Node, position: int, value: Any) -> list[Edit]:
    """Edits to one item of a list of plain values."""
    node = parent.value[position]
    if (edits := _within(text, node, value)) is not None:
        return edits
    new = flow(value) if parent.flow else item(value, _column(text, text.rindex("-", 0, node.start)))
    return [(node.start, node.end, new)]


def _editable(node: Node, section: BaseModel | dict[str, Any]) -> bool:
    """Keys can be added to a section, and removed from a block; one in braces must keep its keys."""
    known = set(section) if isinstance(section, dict) else set(type(section).model_fields)
    return bool(known & set(node.value)) and (not node.flow or set(node.value) <= known)


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


def _section(text: str, node: Node, section: BaseModel | dict[str, Any]) -> list[Edit]:
    if isinstance(section, dict):
        known = wanted = section
    else:
        known, wanted = dict(section), values_of(section)
    edits = [edit for key in node.value if key in known for edit in _value(text, node, key, known[key])]
    edits += _without(text, node, [key for key in node.value if key not in known])
    added = {key: value for key, value in wanted.items() if key not in node.value}
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


def _without(text: str, node: Node, gone: list[str]) -> list[Edit]:
    """The edits that remove keys of a block with their lines. The first key may follow a dash, which stays."""
    first = min(start for key, (start, _) in node.keys.items() if key not in gone)  # that stays
    starts = {key: node.keys[key][0] for key in gone}
    edits = [(min(starts.values()), first, "")] if gone and min(starts.values()) < first else []
    for key, start in starts.items():
        if start > first:
            edits.append((text.rindex("\n", 0, start), _line_end(text, max(node.value[key].end, start)), ""))
    return edits


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
