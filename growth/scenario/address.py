"""Addresses: where a value of a scenario stands, such as `pay.plans.Studio.monthly_price`.

Sweeps, what-ifs, sliders, input cells of the workbook and error messages all use these. The steps of an address are
separated by dots; an item of a list goes by its name, which may hold dots itself, or by its position from 0.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, TypeAlias

from pydantic import BaseModel

from growth.errors import Problem
from growth.scenario.entries import assumption_of, tag_of
from growth.scenario.entry import Assumption, clean

if TYPE_CHECKING:
    from growth.scenario.scenario import Scenario

Place: TypeAlias = tuple[str | int, ...]
"""The steps of an address, items of lists by position: ("pay", "plans", 0, "monthly_price")."""


@dataclass(frozen=True, slots=True, eq=False)
class Item:
    """An item of a list of sections, on the way to a field: its list, its position, how many there are, the section."""

    of: str
    position: int
    count: int
    section: BaseModel


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """A field of a scenario and what stands in it.

    place: its steps, items of lists by position.
    value: what stands there; None where it is left out.
    entry: its entry in the table of assumptions; None for a word or a section.
    default: what the field holds where the file says nothing; None where it has to be given.
    section: the section that it is a field of.
    items: the items of lists that it lies in, from the outside in.
    """

    place: Place
    value: Any
    entry: Assumption | None
    default: Any
    section: BaseModel
    items: tuple[Item, ...]

    @property
    def path(self) -> str:
        """The address, items of lists by position: "pay.plans.0.monthly_price"."""
        return ".".join(map(str, self.place))

    @property
    def name(self) -> str:
        """The name of the field; that of the list for a number in a list."""
        return str(next(step for step in reversed(self.place) if isinstance(step, str)))

    @property
    def kind(self) -> str:
        """The word that chooses the field's section among several, its `curve` or `kind`; "" where it needs none."""
        return tag_of(type(self.section))

    @property
    def assumption(self) -> Assumption:
        """The entry of a number in the table of assumptions. Raises LookupError for a word or a section."""
        if self.entry is None:
            raise LookupError(self.path)
        return self.entry

    def matters(self, scenario: Scenario) -> bool:
        """Whether another number here could change the forecast, everything else being as it is."""
        matters = self.entry.matters if self.entry else None
        return matters is None or matters(scenario, self.place)


def fields(scenario: Scenario, *, always_first: bool = False) -> Iterator[Field]:
    """Every number of a scenario, those in lists among them.

    Parameters
    ----------
    scenario : Scenario
    always_first : bool
        In each section the numbers that always have a slider come before the others; else the order is the file's.

    Yields
    ------
    Field
        With an entry. Numbers that are left out have the value None.

    Examples
    --------
    >>> from growth.scenario import Scenario
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> [field.path for field in fields(base) if field.value == 29]
    ['pay.plans.0.monthly_price']
    """
    yield from _fields(scenario, (), (), always_first)


def find(scenario: Scenario, address: str) -> Field | Problem:
    """The field at an address, or what is wrong with the address and the nearest that there is.

    Examples
    --------
    >>> from growth.scenario import Scenario
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> find(base, "pay.plans.Studio.monthly_price").place
    ('pay', 'plans', 0, 'monthly_price')
    >>> print(find(base, "pay.plans.Studio.monthly_prise"))
    pay.plans.Studio.monthly_prise: no such field in the base scenario. Did you mean pay.plans.Studio.monthly_price?
    """
    steps, done = address.split("."), 0
    part: Any = scenario
    field = Field((), scenario, None, None, scenario, ())
    while done < len(steps):
        if isinstance(part, tuple):
            names = {item.name: position for position, item in enumerate(part) if hasattr(item, "name")}
            keys = [*names, *map(str, range(len(part)))]
            name = _longest(steps[done:], names)
            if not name and steps[done] not in keys:
                return _unknown(address, steps, done, keys, part)
            position = names[name] if name else int(steps[done])
            done += name.count(".") + 1 if name else 1
            value = part[position]
            item = Item(field.name, position, len(part), value)
            items = (*field.items, item) if isinstance(value, BaseModel) else field.items
            field = Field((*field.place, position), value, field.entry, field.default, field.section, items)
        elif isinstance(part, BaseModel) and steps[done] in type(part).model_fields:
            field = _field(part, steps[done], field.place, field.items)
            done += 1
        else:
            keys = list(type(part).model_fields) if isinstance(part, BaseModel) else []
            return _unknown(address, steps, done, keys, part)
        part = field.value
    if isinstance(part, (BaseModel, tuple)):
        return Field(field.place, part, None, field.default, field.section, field.items)
    return field


def value_at(values: Any, address: str | Sequence[str | int]) -> Any:
    """The value at an address, or at its steps, within the plain values of a scenario (dicts and lists).

    Raises
    ------
    KeyError, IndexError, TypeError or ValueError
        Where there is no such address.

    Examples
    --------
    >>> value_at({"pay": {"plans": [{"name": "Studio", "monthly_price": 29}]}}, "pay.plans.0.monthly_price")
    29
    """
    for step in _steps(address):
        values = values[int(step) if isinstance(values, list) else step]
    return values


def put(values: Any, address: str | Sequence[str | int], value: Any) -> None:
    """Puts a value at an address, or at its steps, within the plain values of a scenario, in place.

    Raises
    ------
    KeyError, IndexError, TypeError or ValueError
        Where there is no such address.

    Examples
    --------
    >>> numbers = {"stay": {"churn": {"monthly_churn_rate": 0.04}}}
    >>> put(numbers, "stay.churn.monthly_churn_rate", 0.02)
    >>> numbers
    {'stay': {'churn': {'monthly_churn_rate': 0.02}}}
    """
    *above, last = _steps(address)
    section = value_at(values, above)
    section[int(last) if isinstance(section, list) else last] = value


def plain_values(scenario: Scenario) -> dict[str, Any]:
    """A scenario as plain values that can be changed: dicts and lists, arrays over draws as they are."""
    values: dict[str, Any] = _unfrozen(scenario.model_dump())
    return values


def in_words(place: Place, values: Any, *, root: str = "") -> str:
    """A place as an error names it, items of lists by their name where they have one.

    Parameters
    ----------
    place : Place
        Within `values`, as far as it goes.
    values : plain values, not yet valid
    root : str
        What stands in front, such as "giveaway".

    Examples
    --------
    >>> in_words(("plans", 0, "monthly_price"), {"plans": [{"name": "Studio"}]}, root="pay")
    'pay.plans[Studio].monthly_price'
    """
    text = root
    for step in place:
        inner = None
        if isinstance(values, dict):
            inner = values.get(step)
        elif isinstance(values, (list, tuple)) and isinstance(step, int) and step < len(values):
            inner = values[step]
        name = inner.get("name") if isinstance(step, int) and isinstance(inner, dict) else None
        if isinstance(step, int):
            text += f"[{clean(name) if isinstance(name, str) and name.strip() else step}]"
        else:
            text += f".{clean(step)}"
        values = inner
    return text.lstrip(".")


def in_file(place: Place) -> str:
    """A place within a file as an error names it; what lies in the scenario goes without that key.

    Examples
    --------
    >>> in_file(("scenario", "stay", "churn")), in_file(("giveaway", "question"))
    ('stay.churn', 'giveaway.question')
    """
    return in_words(place[1:] if place[:1] == ("scenario",) else place, None)


def _fields(section: BaseModel, place: Place, items: tuple[Item, ...], always_first: bool) -> Iterator[Field]:
    names = list(type(section).model_fields)
    if always_first:
        names.sort(key=lambda name: _later(section, name))
    for name in names:
        field = _field(section, name, place, items)
        if isinstance(field.value, BaseModel):
            yield from _fields(field.value, field.place, items, always_first)
        elif isinstance(field.value, tuple):
            for position, part in enumerate(field.value):
                if isinstance(part, BaseModel):
                    item = Item(name, position, len(field.value), part)
                    yield from _fields(part, (*field.place, position), (*items, item), always_first)
                elif field.entry:
                    yield Field((*field.place, position), part, field.entry, None, section, items)
        elif field.entry:
            yield field


def _field(section: BaseModel, name: str, place: Place, items: tuple[Item, ...]) -> Field:
    info = type(section).model_fields[name]
    default = None if info.is_required() else info.default
    return Field((*place, name), getattr(section, name), assumption_of(info), default, section, items)


def _later(section: BaseModel, name: str) -> bool:
    entry = assumption_of(type(section).model_fields[name])
    return entry is not None and not entry.always


def _steps(address: str | Sequence[str | int]) -> Sequence[str | int]:
    return address.split(".") if isinstance(address, str) else address


def _unfrozen(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _unfrozen(part) for key, part in value.items()}
    return [_unfrozen(part) for part in value] if isinstance(value, tuple) else value


def _longest(steps: list[str], names: dict[str, int]) -> str:
    """The name, which may hold dots itself, that the steps begin with; "" where there is none."""
    return next((name for width in range(len(steps), 0, -1) if (name := ".".join(steps[:width])) in names), "")


def _unknown(address: str, steps: list[str], done: int, keys: list[str], part: Any) -> Problem:
    if part is None:
        fix = f"Write {'.'.join(steps[:done])} into the base scenario first."
    else:
        near = get_close_matches(steps[done], keys, 1, 0.5)
        meant = ".".join([*steps[:done], *near, *steps[done + 1 :]])
        fix = f"Did you mean {meant}?" if near else f"Known here: {', '.join(keys)}." if keys else ""
    return Problem(address, "no such field in the base scenario", "", fix)
