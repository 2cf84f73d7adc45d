"""Values of a sweep in their units, as a reader sees them: 2.8%, €29, 12."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from growth.calculator.words import money, percent
from growth.scenario.entry import Assumption
from growth.sweep.design import Design
from growth.sweep.influence import Texts, word_of


def axis_texts(design: Design) -> dict[str, Texts]:
    """For each axis a function that turns its values into words, several at once so that their digits agree."""
    plan = design.plan
    entries = {
        axis.title: plan.fields[axis.field].entry if axis.field is not None else None for axis in plan.sweep.axes
    }

    def of(entry: Assumption | None) -> Texts:
        return lambda values: texts_of(values, entry, plan.base.currency)

    return {title: of(entry) for title, entry in entries.items()}


def texts_of(values: Sequence[Any], entry: Assumption | None, currency: str) -> list[str]:
    """Values of a field in words.

    Parameters
    ----------
    values : numbers, or words, which stay as they are.
    entry : the field's assumption, which knows its unit; None for words.
    currency : of the scenario.

    >>> from growth.scenario.entry import amount, fraction
    >>> texts_of([0.028, 0.04], fraction("Leaving"), "EUR"), texts_of([29, 29.5], amount("Price"), "EUR")
    (['2.8%', '4%'], ['€29.00', '€29.50'])
    """
    unit = entry.unit if entry is not None else ""
    if not values or not all(isinstance(v, (int, float, np.number)) and not isinstance(v, bool) for v in values):
        return [word_of(value) for value in values]
    if unit == "share":
        return [percent(float(value)) for value in values]
    if unit.startswith("money"):
        whole = all(float(value).is_integer() for value in values) or max(map(abs, values)) >= 100
        return [money(float(value), currency, decimals=0 if whole else 2) for value in values]
    return [word_of(value) for value in values]
