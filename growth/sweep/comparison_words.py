"""The words of a comparison, in the language of its base scenario's page."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from pathlib import Path

import pandas as pd

from growth.calculator.language import LOCALE, label_and_help, said, words_in
from growth.calculator.words import money, number, percent
from growth.scenario.address import Field, find
from growth.sweep.design import Design
from growth.sweep.html_parts import strong
from growth.sweep.influence import Texts, axis_texts

_FILES = Path(__file__).parent / "languages"


class ComparisonWords:
    """How one comparison says things.

    Attributes
    ----------
    locale
        Of the base scenario's page.
    words
        Its language's texts; English where it has none.
    """

    def __init__(self, locale: str = LOCALE, currency: str = "") -> None:
        self.locale, self.words, self._currency = locale, words_in(_FILES, locale), currency

    def html(self, key: str, /, **values: str) -> str:
        """A text as HTML; the values are HTML."""
        return said(escape(self.words[key], quote=False), **values)

    def plain(self, key: str, /, **values: str) -> str:
        """A text with its places filled."""
        return said(self.words[key], **values)

    def count(self, value: float) -> str:
        """A whole number."""
        return number(float(value), self.locale, 0)

    def percent(self, share: float) -> str:
        """A share in whole per cent."""
        return percent(round(share, 2), self.locale)

    def amount(self, value: float) -> str:
        """An amount in the scenario's currency."""
        return money(value, self._currency, self.locale)

    def strong_amount(self, value: float) -> str:
        """An amount that stands out, as HTML."""
        return strong(self.amount(value))

    def listed(self, words: Sequence[str]) -> str:
        """Join words into a list within a sentence.

        >>> ComparisonWords().listed(["a"]), ComparisonWords("de-DE").listed(["a", "b", "c"])
        ('a', 'a, b und c')
        """
        return self.plain("and", rest=", ".join(words[:-1]), last=words[-1]) if len(words) > 1 else words[0]


def words_for(design: Design) -> ComparisonWords:
    """The words of a sweep's comparison."""
    return ComparisonWords(design.loaded.locale, design.loaded.base.currency)


def axis_labels(design: Design) -> dict[str, str]:
    """The title of each range as it is shown, in the page's language. Other axes have that of the sweep's file."""
    loaded = design.loaded
    labels = {}
    for title, unknown in loaded.unknowns.items():
        field = find(loaded.base, unknown.address)
        if isinstance(field, Field) and title.startswith(english := field.assumption.label):
            own, _ = label_and_help(field.path, field.kind, english, "", loaded.locale)
            labels[title] = own + title.removeprefix(english)
    return labels


def shown_texts(design: Design) -> dict[str, Texts]:
    """For each axis, by its title as it is shown, a function that turns its values into words."""
    labels = axis_labels(design)
    return {labels.get(title, title): texts for title, texts in axis_texts(design, design.loaded.locale).items()}


def labelled(design: Design, points: pd.DataFrame) -> pd.DataFrame:
    """The table of points with its axes under the titles that are shown."""
    return points.rename(columns=axis_labels(design))
