"""Numbers as people say them: 2 of 63, three years, so much a year, a price with tax in it.

A field takes such a form in place of its number. The forecast goes by the number that follows. What was said stays with
it, so that it can be shown, and a file keeps it until the number itself changes.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite
from typing import Any, NamedTuple

MONEY = ("money", "money a month", "money a year")
BY_THE_MONTH = ("money a month", "customers a month", "sign-ups", "visitors a month")


class Form(NamedTuple):
    """One way to say a number: its keys, the units it goes with, and an example.

    >>> FORMS[0].example
    '{count: 2, of: 63}'
    """

    keys: frozenset[str]
    units: tuple[str, ...]
    example: str


FORMS = (
    Form(frozenset({"count", "of"}), ("share",), "{count: 2, of: 63}"),
    Form(frozenset({"years"}), ("months",), "{years: 3}"),
    Form(frozenset({"a_year"}), BY_THE_MONTH, "{a_year: 348}"),
    Form(frozenset({"amount", "tax_included"}), MONEY, "{amount: 34.51, tax_included: 0.19}"),
    Form(frozenset({"a_year", "tax_included"}), ("money a month",), "{a_year: 414.12, tax_included: 0.19}"),
)


class SaidNumber(float):
    """A number that was said in another way; it counts as the number that follows.

    Attributes
    ----------
    said : what was said, by key.

    Examples
    --------
    >>> leaving = said_number({"count": 2, "of": 63})
    >>> round(leaving, 4), leaving.said
    (0.0317, {'count': 2, 'of': 63})
    """

    said: dict[str, float]

    def __reduce__(self) -> tuple[Any, ...]:
        return said_number, (self.said,)


class SaidMonths(int):
    """A whole number of months that was said in years; see `SaidNumber`."""

    said: dict[str, float]

    def __reduce__(self) -> tuple[Any, ...]:
        return said_months, (self.said,)


def forms_for(unit: str) -> list[Form]:
    """The ways to say a number of this unit.

    >>> [form.example for form in forms_for("months")]
    ['{years: 3}']
    """
    return [form for form in FORMS if unit in form.units]


def said_number(said: Mapping[str, Any]) -> SaidNumber:
    """The number that follows from what was said: the keys of one of `FORMS`, each with a number.

    It is `count` of `of` as a share; `years` in months; `a_year` for a month, a twelfth; an amount without the tax in
    it, amount / (1 + tax_included). Raises ValueError, with what would be right, where a key is unknown or a value is
    no number that the form allows.

    >>> float(said_number({"a_year": 348})), round(said_number({"amount": 34.51, "tax_included": 0.19}), 6)
    (29.0, 29.0)
    >>> said_number({"count": 2, "of": 0})
    Traceback (most recent call last):
    ValueError: of: a number above 0
    """
    if not any(form.keys == set(said) for form in FORMS):
        raise ValueError("the keys of one of the forms")
    values = {key: _plain(key, value) for key, value in said.items()}
    if "of" in values:
        value = values["count"] / values["of"]
    elif "years" in values:
        value = round(values["years"] * 12, 9)
    else:
        value = values["a_year"] / 12 if "a_year" in values else values["amount"]
        value /= 1 + values.get("tax_included", 0.0)
    number = SaidNumber(value)
    number.said = dict(said)
    return number


def said_months(said: Mapping[str, Any]) -> SaidMonths:
    """A whole number of months from what was said. Raises ValueError where it is not whole.

    >>> int(said_months({"years": 2.5}))
    30
    """
    value = said_number(said)
    if not value.is_integer():
        raise ValueError("years that make whole months")
    months = SaidMonths(value)
    months.said = dict(said)
    return months


def what_was_said(value: object) -> dict[str, float] | None:
    """What was said of a number; None where it was given plainly.

    >>> what_was_said(said_number({"years": 3})), what_was_said(36.0)
    ({'years': 3}, None)
    """
    return getattr(value, "said", None)


def says(there: object, value: object) -> bool:
    """Whether what a file holds is another way to say this plain number.

    >>> says({"count": 1, "of": 4}, 0.25), says({"count": 1, "of": 4}, 0.3), says(0.25, 0.25)
    (True, False, False)
    """
    if not isinstance(there, Mapping) or isinstance(value, bool) or not isinstance(value, (int, float)):
        return False
    try:
        return float(said_number(there)) == float(value)
    except ValueError:
        return False


def _plain(key: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise ValueError(f"{key}: a number")
    if key == "tax_included" and 1 < value <= 100:
        raise ValueError(f"{key}: a share from 0 to 1; for {value:g}% write {value / 100:g}")
    rule = {"of": "a number above 0", "tax_included": "a share from 0 to 1"}.get(key, "a number from 0 up")
    try:
        number = float(value)
    except OverflowError:
        number = float("inf")
    if not isfinite(number) or number < 0 or (key == "of" and not number > 0) or (key == "tax_included" and number > 1):
        raise ValueError(f"{key}: {rule}")
    return number
