"""Turning pydantic's errors into problems that speak of the scenario file."""

from __future__ import annotations

import re
from collections.abc import Mapping
from difflib import SequenceMatcher, get_close_matches
from typing import Any, NamedTuple, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from growth.errors import Problem, ScenarioError
from growth.scenario.address import Place, in_words
from growth.scenario.entries import TAGS, assumption_of, sections_in, tag_of
from growth.scenario.entry import shown
from growth.scenario.section import PATTERNS

Model = TypeVar("Model", bound=BaseModel)


def validate(
    model: type[Model],
    values: Any,
    *,
    file: str | None = None,
    lines: Mapping[Place, int] | None = None,
    root: str = "",
) -> Model:
    """Plain values as a model. Raises ScenarioError with every problem that `problems_in` finds.

    >>> from growth.scenario import Scenario
    >>> validate(Scenario, {"business": "Fernhollow", "pay": {"plans": [{"name": "Studio", "monthly_price": -1}]}})
    Traceback (most recent call last):
    growth.errors.ScenarioError: pay.plans[Studio].monthly_price: a number from 0 to 1,000,000 (found -1)
    """
    found = problems_in(model, values, lines=lines, root=root)
    if isinstance(found, tuple):
        raise ScenarioError(found, file=file)
    return found


def problems_in(
    model: type[Model], values: Any, *, lines: Mapping[Place, int] | None = None, root: str = ""
) -> Model | tuple[Problem, ...]:
    """Plain values as a model; or what is wrong with them, in the order of the file.

    lines: the line of each place, as in `Document.lines`. root: the part of the file that the values come from, such as
    "giveaway".

    >>> from growth.scenario import Scenario
    >>> [problem.field for problem in problems_in(Scenario, {"business": "Kiln"})]
    ['pay']
    """
    try:
        return model.model_validate(values)
    except ValidationError as error:
        details = [detail for detail in error.errors(include_url=False) if not _follows(detail)]
        problems = [_problem(detail, model, values, lines or {}, root) for detail in details]
    except RecursionError:
        problems = [Problem(root, "settings that are not nested in themselves")]
    return tuple(sorted(dict.fromkeys(problems), key=lambda problem: problem.line or 0))


def _problem(
    detail: ErrorDetails, model: type[BaseModel], values: Any, lines: Mapping[Place, int], root: str
) -> Problem:
    place, models, siblings = _locate(detail, model, values)
    words = _words(detail, models, place, siblings)
    place = (*place, *(int(step) if step.isdigit() else step for step in words.key.split(".") if step))
    base = (root,) if root else ()
    line = next((lines[(*base, *place[:n])] for n in range(len(place), -1, -1) if (*base, *place[:n]) in lines), None)
    prefix = "" if root == "scenario" else root
    return Problem(in_words(place, values, root=prefix), words.rule, words.value, words.fix, line)


def _follows(detail: ErrorDetails) -> bool:
    """Whether an error is a mere consequence: a list too short only because some of its items are invalid."""
    return detail["type"] == "too_short" and len(detail["input"]) >= detail["ctx"]["min_length"]


def _locate(
    detail: ErrorDetails, model: type[BaseModel], values: Any
) -> tuple[Place, list[type[BaseModel]], list[type[BaseModel]]]:
    """The place of an error without the tags that pydantic adds, the section types there, and the alternatives to
    them."""
    place: Place = ()
    models, within, siblings = [model], [model], []
    for number, step in enumerate(detail["loc"]):
        if isinstance(step, int):
            place = (*place, step)
            values = values[step] if isinstance(values, (list, tuple)) and step < len(values) else None
            continue
        there = isinstance(values, Mapping) and step in values
        missing = detail["type"] == "missing" and number == len(detail["loc"]) - 1
        tagged = [candidate for candidate in models if tag_of(candidate) == step]
        if tagged and not there and not missing:
            siblings = [candidate for candidate in models if candidate not in tagged]
            models = within = tagged
            continue
        place, within = (*place, step), models
        values = values[step] if there else getattr(values, step, None)
        fields = [candidate.model_fields[step] for candidate in models if step in candidate.model_fields]
        models = [section for field in fields for section in sections_in(field)]
    return place, models or within, siblings


class _Words(NamedTuple):
    """One error in words; `key` is appended to the place if a section's error is about one of its keys, or about a part
    of one ("changes.0")."""

    rule: str
    value: str = ""
    fix: str = ""
    key: str = ""


def _words(
    detail: ErrorDetails, models: list[type[BaseModel]], place: Place, siblings: list[type[BaseModel]]
) -> _Words:
    """A pydantic error in words. models: the section types that apply or may have been meant; siblings: those that
    another `kind` or `curve` selects."""
    kind, context, given = detail["type"], detail.get("ctx", {}), detail["input"]
    value = _in_short(given)
    if kind == "assumption":
        return _Words(context["rule"], context["value"], context["fix"], context.get("key", ""))
    if kind == "extra_forbidden":
        return _unknown_key(str(place[-1]), models, siblings)
    if kind == "missing":
        entries = [found for field in _fields(models, place) if (found := assumption_of(field))]
        return _Words(f"needed: {entries[0].rule}" if entries else "needed, and not there")
    if kind in ("union_tag_invalid", "union_tag_not_found") and isinstance(given, Mapping):
        return _wrong_section(given, models)
    if kind == "literal_error":
        choices = re.findall(r"'([^']*)'", context["expected"])
        return _Words(f"one of {', '.join(choices)}", value, _meant(given, choices))
    if kind in ("string_type", "string_pattern_mismatch") and (pattern := _pattern(models, place)):
        return _Words(PATTERNS[pattern], value)
    if kind == "string_type":
        return _Words("text", value, f'Put it in quotes: "{given}".' if isinstance(given, (int, float)) else "")
    if kind in ("string_too_short", "string_too_long", "too_short", "too_long"):
        return _length(kind, context, given)
    if kind.startswith(("model", "dict", "dataclass", "mapping", "union_tag")):
        return _Words("settings, as key: value below it", value, _instead_of_settings(given, models))
    return _Words(_rule(detail), value)


def _unknown_key(key: str, models: list[type[BaseModel]], siblings: list[type[BaseModel]]) -> _Words:
    known = list(dict.fromkeys(name for model in models for name in model.model_fields))
    owners = [model for model in siblings if key in model.model_fields]
    if owners:
        tag = next(name for name in TAGS if name in owners[0].model_fields)
        return _Words("no such setting here", fix=f"It goes with {tag}: {' or '.join(map(tag_of, owners))}.")
    return _Words("no such setting", fix=_meant(key, known) or f"Known here: {', '.join(known)}.")


def _wrong_section(given: Mapping[str, Any], models: list[type[BaseModel]]) -> _Words:
    """The key that selects one of several sections is missing or unknown."""
    tags = [tag_of(model) for model in models]
    key = next((name for name in TAGS if any(name in model.model_fields for model in models)), "")
    choice = f"one of {', '.join(tags)}"
    if key not in given:
        return _Words(f"needed: {choice}", key=key)
    return _Words(choice, shown(given[key]), _meant(given[key], tags), key)


def _instead_of_settings(given: Any, models: list[type[BaseModel]]) -> str:
    if given is None:
        return "Leave the key out, or write what belongs below it."
    tags = [tag for model in models if (tag := tag_of(model))]
    return f"Write {TAGS[0]}: {tags[0]} below it, and its numbers." if tags and isinstance(given, (int, float)) else ""


def _length(kind: str, context: dict[str, Any], given: Any) -> _Words:
    bound = context.get("min_length", context.get("max_length"))
    text = isinstance(given, str)
    unit = ("character" if text else "value") + ("s" if bound != 1 else "")
    side = "at least " if kind.endswith("short") else "at most "
    return _Words(f"{'text' if text else 'a list'} of {side}{bound} {unit}", f"{len(given):,}")


def _rule(detail: ErrorDetails) -> str:
    kind = detail["type"]
    if kind.startswith(("tuple", "list", "set")):
        return "a list, each value after a dash"
    if kind.startswith("bool"):
        return "true or false"
    if kind == "string_unicode":
        return "text in Unicode"
    message = detail["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
    return message[:1].lower() + message[1:]


def _fields(models: list[type[BaseModel]], place: Place) -> list[FieldInfo]:
    return [model.model_fields[place[-1]] for model in models if place[-1] in model.model_fields]


def _pattern(models: list[type[BaseModel]], place: Place) -> str:
    """The pattern that the text at `place` must match; "" if there is none."""
    parts = [
        part
        for field in _fields(models, place)
        for part in (*field.metadata, *(one for kind in get_args(field.annotation) for one in get_args(kind)[1:]))
    ]  # the second of a text that may be left out
    found = [getattr(part, "pattern", None) for part in parts]
    return next((str(pattern) for pattern in found if pattern), "")


def _meant(given: Any, choices: list[str]) -> str:
    """A suggestion if `given` is a misspelt choice. A different word is not a misspelling: renaming a yearly price to
    monthly_price would give a valid file with another meaning."""
    text = re.sub(r"[^a-z0-9]+", "_", str(given).lower()).strip("_")
    near = [choice for choice in get_close_matches(text, choices, 3, 0.6) if _misspells(text, choice)]
    return f"Did you mean {near[0]}?" if near else ""


def _misspells(text: str, choice: str) -> bool:
    """Whether two names agree word for word except for typing errors.

    >>> _misspells("monthly_prise", "monthly_price"), _misspells("monthlyprice", "monthly_price")
    (True, True)
    >>> _misspells("yearly_price", "monthly_price"), _misspells("price", "monthly_price")
    (False, False)
    """
    words, wanted = text.split("_"), choice.split("_")
    if len(words) != len(wanted):
        words, wanted = ["".join(words)], ["".join(wanted)]
    least = 0.7 if len(words) > 1 else 0.85 if "_" in choice + text else 0.75
    return all(SequenceMatcher(None, *pair).ratio() >= least for pair in zip(words, wanted, strict=True))


def _in_short(given: Any) -> str:
    if isinstance(given, Mapping):
        return "settings"
    if isinstance(given, (list, tuple)):
        return "a list" if given else "an empty list"
    return shown(given)
