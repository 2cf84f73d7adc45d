"""Hostile text in every text field, found from the models of a scenario file, so that a new field is tested at once."""

from __future__ import annotations

import json
import re
import types
from html.parser import HTMLParser
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from growth.giveaway.brief import FieldName, Giveaway, Language, Slug
from growth.giveaway.logo import embedded_logo
from growth.giveaway.look import Colour, Logo
from growth.scenario import Scenario
from growth.scenario.about_numbers import Day
from growth.scenario.section import Currency, FieldAddress, Month, WebAddress
from growth.scenario.what_if import WhatIfName

MARK = "ran7"  # a script of ours would write it
TEXTS = (
    f"<script>document.title='{MARK}'</script> and <img src=x onerror=\"document.title='{MARK}'\">",
    f"</script><script>document.title='{MARK}'</script><!-- </style> ]]> {{{{7*7}}}} ${{7*7}}",
    f"'\"><svg onload=document.title='{MARK}'> [x](javascript:document.title='{MARK}') `x` **x**",
    f'=HYPERLINK("https://example.org","{MARK}") +1 @SUM(A1) \u202e reversed \u2066 isolated',
    "{% for x in range(9) %}{{ x }}{% endfor %} {{ config }} __import__('os') \\N{BULLET} %s %n",
)
WELL_FORMED: dict[Any, str] = {  # texts that only take one form
    WebAddress: "https://fernhollow.example/a?b=%3Cscript%3E",
    Colour: "#1f5f8b",
    Currency: "EUR",
    FieldName: "email",
    FieldAddress: "stay.churn.monthly_churn_rate",
    Language: "en",
    Logo: embedded_logo(b"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9'/>"),
    Month: "2027-01",
    Day: "2027-01-15",
    Slug: "how-big",
    WhatIfName: "halved",
}
PROSE = ("answer", "case", "cautions")
LEFT_OUT = {"link", "becomes", "accent_in_dark"}  # where another field of the same section may stand alone


def hostile_file(text: str) -> str:
    """A scenario file, as JSON, with a text in every field that takes one."""
    scenario, giveaway = filled(Scenario, text) | {"months": 12}, filled(Giveaway, text)
    scenario["pay"]["plans"][0]["monthly_price"] = 29  # or a price for the year: the model needs one of them
    scenario["what_ifs"][0]["changes"][0]["times"] = 0.5
    scenario["changes"][0] |= {"from_month": 7, "times": 0.5}
    prose = text.replace("{", "(").replace("}", ")")  # where braces hold places for computed numbers
    return json.dumps(
        {"scenario": scenario, "giveaway": giveaway | {name: filled(Giveaway, prose)[name] for name in PROSE}}
    )


def filled(model: type[BaseModel], text: str) -> dict[str, Any]:
    """Values of a model with a text in every field that takes one, and nothing else but what is needed."""
    values = {}
    for name, info in model.model_fields.items():
        if name in LEFT_OUT:
            continue
        kind = next((kind for kind in WELL_FORMED if _is(info, kind)), None)
        annotation = Annotated[(info.annotation, *info.metadata)] if info.metadata else info.annotation
        value = WELL_FORMED[kind] if kind is not None else _value(annotation, text, needed=info.is_required())
        if value is not None and (
            info.is_required() or kind is not None or json.dumps(text[:8])[1:-1] in json.dumps(value)
        ):
            values[name] = value
    return values


def _is(info: Any, kind: Any) -> bool:
    """Whether a field is of an annotated type, alone or as an option: its annotations are the same objects."""
    parts = get_args(kind)[1:]
    inner = [part for one in (info.annotation, *get_args(info.annotation)) for part in get_args(one)[1:]]
    return all(any(part is one for one in (*info.metadata, *inner)) for part in parts)


def _value(annotation: Any, text: str, *, needed: bool, longest: int = 60) -> Any:
    origin, parts = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        bounds = [one for part in parts[1:] for one in (part, *getattr(part, "metadata", ()))]
        longest = min([longest, *(one.max_length for one in bounds if getattr(one, "max_length", None))])
        is_text = parts[0] is str or get_origin(parts[0]) in (Union, types.UnionType, Annotated)
        return _value(parts[0], text, needed=needed, longest=longest if is_text else 60)
    if origin in (Union, types.UnionType):
        found = (_value(part, text, needed=needed, longest=longest) for part in parts if part is not type(None))
        return next((value for value in found if value is not None), None)
    if origin is tuple:
        value = _value(parts[0], text, needed=True)
        return None if value is None else [value]
    if origin is Literal:
        return parts[0] if needed else None
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return filled(annotation, text)
    if annotation is str:
        return text[:longest].strip()
    return 1 if needed else None


class _Scripts(HTMLParser):
    """What of a page could run, and was not put there by us."""

    def __init__(self) -> None:
        super().__init__()
        self.wrong: list[str] = []
        self.scripts = 0

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        """Look at one element."""
        self.scripts += tag == "script"
        for name, value in attributes:
            if name.startswith("on") or re.match(r"\s*(javascript|data:text/html)", value or "", re.IGNORECASE):
                self.wrong.append(f"<{tag} {name}={value!r}>")
        if tag in ("iframe", "object", "embed", "base"):
            self.wrong.append(f"<{tag}>")


def scripts_in(html: str) -> list[str]:
    """What could run in a page and is not its own: handlers, script addresses, frames, scripts beyond three."""
    parser = _Scripts()
    parser.feed(html)
    return parser.wrong + ([f"{parser.scripts} scripts"] if parser.scripts > 3 else [])
