"""The table of assumptions as a list: each entry with its place in the scenario file, read from the models."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from growth.scenario.entry import Assumption

TAGS = ("curve", "kind")  # keys that select one of several alternative sections


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the table: where the value goes in the file, what it is, and its default.

    place:   such as "stay.churn[constant].monthly_churn_rate"; "[]" marks a list.
    default: the value used when the file gives none; None if there is no default.
    needed:  whether the file must give it.
    """

    place: str
    assumption: Assumption
    default: Any
    needed: bool


def entries(model: type[BaseModel], place: str = "") -> Iterator[Entry]:
    """Every assumption of a model and its sections, in the order of the file. place: a prefix, such as "pay".

    >>> from growth.scenario import Scenario
    >>> next(entries(Scenario)).place
    'months'
    """
    for name, info in model.model_fields.items():
        where = f"{place}.{name}".lstrip(".")
        many = "[]" if _is_list(info.annotation) else ""
        if found := assumption_of(info):
            yield Entry(where + many, found, None if info.is_required() else info.default, info.is_required())
        sections = sections_in(info)
        for section in sections:
            tag = f"[{tag_of(section)}]" if len(sections) > 1 else many
            yield from entries(section, where + tag)


def _is_list(annotation: Any) -> bool:
    """Whether a field's type is a tuple, optional or not."""
    if get_origin(annotation) in (Annotated, Union, UnionType):
        return any(map(_is_list, get_args(annotation)))
    return get_origin(annotation) is tuple


def sections_in(annotation: Any) -> list[type[BaseModel]]:
    """The section types in a field's type, looking through Annotated, unions and tuples."""
    if isinstance(annotation, FieldInfo):
        annotation = annotation.annotation
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [section for part in get_args(annotation) for section in sections_in(part)]


def assumption_of(annotation: Any) -> Assumption | None:
    """The entry of a field, or of the numbers in its list; None if the field is not numeric."""
    if isinstance(annotation, Assumption):
        return annotation
    parts = (*annotation.metadata, annotation.annotation) if isinstance(annotation, FieldInfo) else _parts(annotation)
    return next((found for part in parts if (found := assumption_of(part))), None)


@cache  # a goal is sought by some hundred forecasts, each of which looks at every field
def entry_and_default(section: type[BaseModel], name: str) -> tuple[Assumption | None, Any]:
    """The entry of a section's field and its default, each None if there is none."""
    info = section.model_fields[name]
    return assumption_of(info), None if info.is_required() else info.default


def tag_of(section: type[BaseModel]) -> str:
    """The section's `curve` or `kind`, which selects it among alternatives; "" if there are none."""
    for name in TAGS:
        if name in section.model_fields:
            return str(get_args(section.model_fields[name].annotation)[0])
    return ""


def _parts(annotation: Any) -> tuple[Any, ...]:
    return (*get_args(annotation), *getattr(annotation, "__metadata__", ()))
