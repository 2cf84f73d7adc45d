"""Values as YAML text that every reader reads alike."""

from __future__ import annotations

import re
import textwrap
from typing import Any

from pydantic import BaseModel

from growth.scenario.entries import assumption_of
from growth.scenario.range import Range
from growth.scenario.said import FORMS, what_was_said
from growth.scenario.yaml_text import plain_text

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
    return pad.join(f"- {block(part, indent + 2) if isinstance(part, dict) else item(part, indent)}" for part in value)


def item(value: Any, indent: int) -> str:
    """A value of a list, behind a dash that stands at `indent`."""
    return entry("", value, indent)[2:]


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
