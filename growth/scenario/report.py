"""From pydantic's errors to problems in the words of the scenario file."""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from growth.errors import Problem, ScenarioError
from growth.scenario.entries import TAGS, assumption_of, sections_in, tag_of
from growth.scenario.entry import shown
from growth.scenario.section import PATTERNS
from growth.scenario.yaml_text import clean

Model = TypeVar("Model", bound=BaseModel)


def validate(
    model: type[Model], values: Any, *, file: str | None = None, lines: Mapping[tuple, int] | None = None, root: str = ""
) -> Model:
    """`values` as a `model`, or a ScenarioError that lists every problem in them.

    lines: place -> line, as `Document.lines` has it; root: the part of the file the values come from.

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
    model: type[Model], values: Any, *, lines: Mapping[tuple, int] | None = None, root: str = ""
) -> Model | tuple[Problem, ...]:
    """`values` as a `model`, or every problem in them, in the order of the file."""
    try:
        return model.model_validate(values)
    except ValidationError as error:
        details = [detail for detail in error.errors(include_url=False) if not _follows(detail)]
        problems = [_problem(detail, model, values, lines or {}, root) for detail in details]
    except RecursionError:
        problems = [Problem(root, "settings that are not nested in themselves")]
    return tuple(sorted(dict.fromkeys(problems), key=lambda problem: problem.line or 0))


def _problem(detail: ErrorDetails, model: type[BaseModel], values: Any, lines: Mapping[tuple, int], root: str) -> Problem:
    place, models = _locate(detail, model, values)
    key, rule, value, fix = _words(detail, models, place)
    place = (*place, key) if key else place
    base = (root,) if root else ()
    line = next((lines[(*base, *place[:n])] for n in range(len(place), -1, -1) if (*base, *place[:n]) in lines), None)
    prefix = "" if root == "scenario" else root
    return Problem(_dotted(place, values, prefix), rule, value, fix, line)


def _follows(detail: ErrorDetails) -> bool:
    """Whether the error only follows from others: a list that is too short because some of its items are wrong."""
    return detail["type"] == "too_short" and len(detail["input"]) >= detail["ctx"]["min_length"]


def _locate(detail: ErrorDetails, model: type[BaseModel], values: Any) -> tuple[tuple, list[type[BaseModel]]]:
    """The place within the values, without pydantic's union tags, and the sections it lies in (one, if nothing is unclear)."""
    place, models, within = (), [model], [model]
    for number, step in enumerate(detail["loc"]):
        last = number == len(detail["loc"]) - 1
        if isinstance(step, int):
            place, values = (*place, step), values[step] if isinstance(values, (list, tuple)) and step < len(values) else None
            continue
        there = isinstance(values, Mapping) and step in values
        fields = [candidate for candidate in models if step in candidate.model_fields]
        if not there and step in [tag_of(candidate) for candidate in models] and not (last and detail["type"] == "missing"):
            models = within = [candidate for candidate in models if tag_of(candidate) == step]
            continue
        place, within = (*place, step), models
        values = values[step] if there else getattr(values, step, None) if isinstance(step, str) else None
        models = [section for candidate in fields for section in sections_in(candidate.model_fields[step])]
    return place, models or within


def _words(detail: ErrorDetails, models: list[type[BaseModel]], place: tuple) -> tuple[str, str, str, str]:
    """(key to add to the place, rule, value, fix) of one error of pydantic."""
    kind, context, given = detail["type"], detail.get("ctx", {}), detail["input"]
    value = shown(given) if not isinstance(given, (Mapping, list, tuple)) else _kind_of(given)
    if kind == "assumption":
        return "", context["rule"], context["value"], context["fix"]
    if kind == "extra_forbidden":
        known = [name for candidate in models for name in candidate.model_fields]
        near = get_close_matches(str(place[-1]), known, 1, 0.6)
        return "", "no such setting", "", f"Did you mean {near[0]}?" if near else f"Known here: {', '.join(dict.fromkeys(known))}."
    if kind == "missing":
        entry = next((assumption_of(m.model_fields[place[-1]]) for m in models if place[-1] in m.model_fields), None)
        return "", f"needed: {entry.rule}" if entry else "needed, and not there", "", ""
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        tags = [tag_of(candidate) for candidate in models]
        key = next((name for name in TAGS if any(name in candidate.model_fields for candidate in models)), "")
        if not isinstance(given, Mapping):
            return "", "settings, as key: value below it", value, ""
        near = get_close_matches(str(given.get(key)), tags, 1, 0.6)
        tag = shown(given[key]) if key in given else ""
        rule = f"one of {', '.join(tags)}" if tag else f"needed: one of {', '.join(tags)}"
        return key, rule, tag, f"Did you mean {near[0]}?" if near else ""
    if kind == "literal_error":
        choices = context["expected"].replace("'", "").replace(" or ", ", ").split(", ")
        near = get_close_matches(str(given), choices, 1, 0.5)
        return "", f"one of {', '.join(choices)}", value, f"Did you mean {near[0]}?" if near else ""
    if kind == "string_pattern_mismatch":
        return "", PATTERNS.get(context["pattern"], f"text of the form {context['pattern']}"), value, ""
    if kind == "string_type" and (pattern := _pattern(models, place)) in PATTERNS:
        return "", PATTERNS[pattern], value, ""
    if kind == "string_type":
        return "", "text", value, f'Put it in quotes: "{given}".' if isinstance(given, (int, float)) else ""
    if kind in ("string_too_short", "string_too_long", "too_short", "too_long"):
        return "", *_length(kind, context, given), ""
    tags = [tag for candidate in models if (tag := tag_of(candidate))]
    fix = f"Write {TAGS[0]}: {tags[0]} below it, and its numbers." if tags and isinstance(given, (int, float)) else ""
    fix = "Leave the key out, or write what belongs below it." if given is None else fix
    return "", *_plain_rule(detail), value, fix


def _pattern(models: list[type[BaseModel]], place: tuple) -> str:
    infos = [candidate.model_fields.get(place[-1]) for candidate in models]
    found = [getattr(part, "pattern", None) for info in infos if info for part in info.metadata]
    return next((str(pattern) for pattern in found if pattern), "")


def _length(kind: str, context: dict, given: Any) -> tuple[str, str]:
    bound = context.get("min_length", context.get("max_length"))
    unit = ("value" if kind.startswith("too") else "character") + ("s" if bound != 1 else "")
    what = "a list" if kind.startswith("too") else "text"
    return f"{what} of at {'least' if kind.endswith('short') else 'most'} {bound} {unit}", f"{len(given):,}"


def _plain_rule(detail: ErrorDetails) -> tuple[str]:
    kind = detail["type"]
    if kind.startswith(("model", "dict", "dataclass", "mapping")):
        return ("settings, as key: value below it",)
    if kind.startswith(("tuple", "list", "set")):
        return ("a list, each value after a dash",)
    if kind.startswith("bool"):
        return ("true or false",)
    if kind == "string_unicode":
        return ("text in Unicode",)
    message = detail["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
    return (message[:1].lower() + message[1:],)


def _kind_of(given: Any) -> str:
    return "settings" if isinstance(given, Mapping) else "a list" if given else "an empty list"


def _dotted(place: tuple, values: Any, prefix: str) -> str:
    """A place in words: items of a list by their name where they have one."""
    text = prefix
    for step in place:
        inner = None
        if isinstance(values, Mapping):
            inner = values.get(step)
        elif isinstance(values, (list, tuple)) and isinstance(step, int) and step < len(values):
            inner = values[step]
        if isinstance(step, int):
            name = inner.get("name") if isinstance(inner, Mapping) else None
            text += f"[{clean(name) if isinstance(name, str) and name.strip() else step}]"
        else:
            text += f".{clean(step)}"
        values = inner
    return text.lstrip(".")
