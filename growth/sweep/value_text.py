"""Values of a sweep in their units, as a reader sees them: 2.8%, €29, 12."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from babel.numbers import get_decimal_symbol

from growth.calculator.language import LOCALE
from growth.calculator.words import money, percent
from growth.scenario.entry import Assumption
from growth.sweep.design import Design, all_numbers
from growth.sweep.influence import Texts, word_of


def axis_texts(design: Design, locale: str = LOCALE) -> dict[str, Texts]:
    """For each axis a function that formats its values, several at once so that their digits agree."""
    loaded = design.loaded

    def of(entry: Assumption | None) -> Texts:
        return lambda values: texts_of(values, entry, loaded.base.currency, locale)

    return {axis.title: of(loaded.entry(axis)) for axis in loaded.sweep.axes}


def texts_of(values: Sequence[Any], entry: Assumption | None, currency: str, locale: str = LOCALE) -> list[str]:
    """Format values of a field.

    Parameters
    ----------
    values : numbers, or words, which stay as they are.
    entry : the field's assumption, which knows its unit; None for words.
    currency : of the scenario.
    locale : how numbers are written.

    >>> from growth.scenario.entry import amount, fraction
    >>> texts_of([0.028, 0.04], fraction("Leaving"), "EUR"), texts_of([29, 29.5], amount("Price"), "EUR")
    (['2.8%', '4%'], ['€29.00', '€29.50'])
    """
    unit = entry.unit if entry is not None else ""
    if not values or not all_numbers(values):
        return [word_of(value) for value in values]
    if unit == "share":
        return [percent(float(value), locale) for value in values]
    if unit.startswith("money"):
        whole = all(float(value).is_integer() for value in values) or max(map(abs, values)) >= 100
        return [money(float(value), currency, locale, decimals=0 if whole else 2) for value in values]
    point = get_decimal_symbol(locale.replace("-", "_"))
    return [word_of(value).replace(".", point) for value in values]
