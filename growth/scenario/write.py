"""Values as YAML text: of a whole section, and edited within the text of a file.

In a file each changed value is replaced in place, a new key is added at the end of its section, and the lines of a
removed key are deleted. Everything else, comments, order and blank lines among it, stays as it is, to the character.
"""

from __future__ import annotations

import re
import textwrap
from typing import Any

from pydantic import BaseModel

from growth.scenario.entries import assumption_of
from growth.scenario.range import Range
from growth.scenario.said import FORMS, says, what_was_said
from growth.scenario.source import Source
from growth.scenario.yaml_text import Node, plain_text

WIDTH = 110
FIRST = ("business", "name", "kind", "curve")  # what a section is stands before its numbers
_NEEDS_NO_QUOTES = re.compile(r"[A-Za-z0-9À-ɏ][\w .,()/+&'€£%-]*")
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
    if isinstance(value, list) and any(isinstance(part, dict) for part in value):
        return f"{key}:\n{' ' * (indent + 2)}{block(value, indent + 2)}"
    if isinstance(value, str) and len(value) > WIDTH - indent - len(key) and _folds(value):
        pad = " " * (indent + 2)
        lines = textwrap.wrap(value, WIDTH - indent - 2, break_long_words=False, break_on_hyphens=False)
        return f"{key}: >-\n" + "\n".join(pad + line for line in lines)
    return f"{key}: {flow(value)}" if isinstance(value, (dict, list)) else f"{key}: {scalar(value)}"


def block(value: dict[str, Any] | list[Any], indent: int) -> str:
    """A dict or list of dicts as lines at `indent`, without the first line's indentation and the last line's end."""
    pad = "\n" + " " * indent
    if isinstance(value, dict):
        return pad.join(entry(key, part, indent) for key, part in value.items())
    return pad.join(f"- {block(part, indent + 2)}" for part in value)


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


Edit = tuple[int, int, str]  # start, end, new text


def edited(text: str, root: Node, key: str, section: BaseModel) -> str:
    """Return `text` with the values of `section` under `key` of `root`. Lines must end in a line feed alone."""
    edits = _value(text, root, key, section)
    # from the end, so that offsets stay valid; edits at one offset in reverse, so that their order is kept
    for start, end, new in sorted(reversed(edits), key=lambda edit: edit[:2], reverse=True):
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
    """Match items to sections: by name if some were removed, or added at the end; otherwise by position."""
    key = "of" if sections and isinstance(sections[0], Source) else "name"
    there = [child.value[key].value if key in child.value else None for child in node.value]
    wanted = [getattr(section, key, None) for section in sections]
    common = [name for name in there if name in wanted and name is not None]
    if len(there) != len(wanted) and common and wanted[: len(common)] == common and len(set(there)) == len(there):
        return [(there.index(name), section) for name, section in zip(common, sections, strict=False)]
    return list(enumerate(sections[: len(there)]))


def _section(text: str, node: Node, section: BaseModel) -> list[Edit]:
    fields, edits = type(section).model_fields, []
    for key in node.value:
        edits += _value(text, node, key, getattr(section, key)) if key in fields else [_without(text, node, key)]
    added = {key: value for key, value in values_of(section).items() if key not in node.value}
    if added and node.flow:
        comma = "" if text[: node.end - 1].rstrip().endswith((",", "{")) else ","
        words = ", ".join(f"{key}: {flow(value)}" for key, value in added.items())
        edits.append((node.end - 1, node.end - 1, f"{comma} {words}"))
    elif added:
        indent = _column(text, min(start for start, _ in node.keys.values()))
        place = _line_end(text, node.end)
        edits.append(
            (place, place, "".join(f"\n{' ' * indent}{entry(key, value, indent)}" for key, value in added.items()))
        )
    return edits


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
