"""Addresses of values in a scenario, such as `pay.plans.Studio.monthly_price`.

Sweeps, what-ifs, sliders, the workbook's input cells and error messages all use them. Dots separate the steps of an
address. A list item is named by its `name`, which may contain dots, or by its position, counted from 0.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, TypeAlias

from pydantic import BaseModel

from growth.errors import Problem
from growth.scenario.entries import entry_and_default, tag_of
from growth.scenario.entry import Assumption, clean

if TYPE_CHECKING:
    from growth.scenario.scenario import Scenario

Place: TypeAlias = tuple[str | int, ...]
"""The steps of an address, with list items by position: ("pay", "plans", 0, "monthly_price")."""


@dataclass(frozen=True, slots=True, eq=False)
class Item:
    """A list item on the way to a field: the list's name, the item's position, the list's length, the item itself."""

    of: str
    position: int
    count: int
    section: BaseModel


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """A field of a scenario and its value.

    place: the steps to it, with list items by position.
    value: None if the field is left out.
    entry: its entry in the table of assumptions; None for text or a section.
    default: the value used when the file gives none; None if the field is required.
    section: the section that holds the field.
    items: the list items that contain it, outermost first.
    changed: the number that a change alters. `changes.0.becomes` has its entry, `changes.0.times` one of its own.
    """

    place: Place
    value: Any
    entry: Assumption | None
    default: Any
    section: BaseModel
    items: tuple[Item, ...]
    changed: Field | None = None

    @property
    def path(self) -> str:
        """The address, with list items by position: "pay.plans.0.monthly_price"."""
        return ".".join(map(str, self.place))

    @property
    def name(self) -> str:
        """The field's name; for a number in a list, the list's name."""
        return str(next(step for step in reversed(self.place) if isinstance(step, str)))

    @property
    def kind(self) -> str:
        """The section's `curve` or `kind`, which selects it among alternatives; "" if there are none."""
        return tag_of(type(self.section))

    @property
    def assumption(self) -> Assumption:
        """The number's entry in the table of assumptions. Raises LookupError for text or a section."""
        if self.entry is None:
            raise LookupError(self.path)
        return self.entry

    def matters(self, scenario: Scenario) -> bool:
        """Whether changing this number alone could change the forecast."""
        matters = self.entry.matters if self.entry else None
        return matters is None or matters(scenario, self.changed.place if self.changed else self.place)


def fields(scenario: Scenario, *, always_first: bool = False) -> Iterator[Field]:
    """Every number of a scenario, including those in lists, in the order of the file; a number that is left out has the
    value None. always_first: within each section, those that always have a slider come first.

    >>> from growth.scenario import Scenario
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> [field.path for field in fields(base) if field.value == 29]
    ['pay.plans.0.monthly_price']
    """
    for field in _fields(scenario, (), (), always_first):
        yield _of_change(scenario, field)


def find(scenario: Scenario, address: str) -> Field | Problem:
    """The field at an address, with list items by name or position; or, if there is none, a problem that suggests the
    closest address.

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
    return _of_change(scenario, field)


def _of_change(scenario: Scenario, field: Field) -> Field:
    """What a change makes of a number is checked, labelled and moved as that number is."""
    if field.place[:1] != ("changes",) or field.name not in ("becomes", "times"):
        return field
    if not isinstance(changed := find(scenario, str(getattr(field.section, "field", ""))), Field):
        return field
    return replace(field, entry=changed.entry if field.name == "becomes" else field.entry, changed=changed)


def value_at(values: Any, address: str | Sequence[str | int]) -> Any:
    """Look up a value in a scenario's plain values, as `scenario.model_dump(mode="json")` returns them.

    `address` has list items by position, or is its steps. Raises KeyError, IndexError, TypeError or ValueError if there
    is no such address.

    >>> value_at({"pay": {"plans": [{"name": "Studio", "monthly_price": 29}]}}, "pay.plans.0.monthly_price")
    29
    """
    for step in _steps(address):
        values = values[int(step) if isinstance(values, list) else step]
    return values


def put(values: Any, address: str | Sequence[str | int], value: Any) -> None:
    """Set a value in a scenario's plain values, in place and without validation.

    `values`, `address` and the errors raised are those of `value_at`.

    >>> numbers = {"stay": {"churn": {"monthly_churn_rate": 0.04}}}
    >>> put(numbers, "stay.churn.monthly_churn_rate", 0.02)
    >>> numbers
    {'stay': {'churn': {'monthly_churn_rate': 0.02}}}
    """
    *above, last = _steps(address)
    section = value_at(values, above)
    section[int(last) if isinstance(section, list) else last] = value


def in_words(place: Place, values: Any, *, root: str = "") -> str:
    """A place as an error message says it, with list items by name where they have one, behind a prefix such as
    "giveaway". `values` are plain, may not be valid, and may end before the place does.

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
    """Format a place in a file for an error message; the leading key `scenario` is dropped.

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
    entry, default = entry_and_default(type(section), name)
    return Field((*place, name), getattr(section, name), entry, default, section, items)


def _later(section: BaseModel, name: str) -> bool:
    entry, _ = entry_and_default(type(section), name)
    return entry is not None and not entry.always


def _steps(address: str | Sequence[str | int]) -> Sequence[str | int]:
    return address.split(".") if isinstance(address, str) else address


def _longest(steps: list[str], names: dict[str, int]) -> str:
    """The longest name, dots included, that the steps begin with; "" if there is none."""
    return next((name for width in range(len(steps), 0, -1) if (name := ".".join(steps[:width])) in names), "")


def _unknown(address: str, steps: list[str], done: int, keys: list[str], part: Any) -> Problem:
    if part is None:
        fix = f"Write {'.'.join(steps[:done])} into the base scenario first."
    else:
        near = get_close_matches(steps[done], keys, 1, 0.5)
        meant = ".".join([*steps[:done], *near, *steps[done + 1 :]])
        fix = f"Did you mean {meant}?" if near else f"Known here: {', '.join(keys)}." if keys else ""
    return Problem(address, "no such field in the base scenario", "", fix)
