"""The words of a comparison, in the language of its base scenario's page, and the parts of HTML that hold them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path
from typing import Any

import pandas as pd
from babel.numbers import get_decimal_symbol

from growth.calculator.language import LOCALE, label_and_help, messages, said, words_in
from growth.calculator.number_words import money, number, percent
from growth.giveaway.sections import Piece
from growth.scenario.address import Field, find
from growth.scenario.entry import Assumption
from growth.sweep.design import Design, all_numbers
from growth.sweep.influence import Texts, word_of

_FILES = Path(__file__).parent / "languages"


class ComparisonWords:
    """How one comparison says things.

    locale: of the base scenario's page. words: its language's texts; English where it has none.
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


def axis_texts(design: Design, locale: str = LOCALE) -> dict[str, Texts]:
    """For each axis a function that formats its values, several at once so that their digits agree."""
    loaded = design.loaded

    def of(entry: Assumption | None) -> Texts:
        return lambda values: texts_of(values, entry, loaded.base.currency, locale)

    return {axis.title: of(loaded.entry(axis)) for axis in loaded.sweep.axes}


def texts_of(values: Sequence[Any], entry: Assumption | None, currency: str, locale: str = LOCALE) -> list[str]:
    """Format values of a field: numbers, or words, which stay as they are.

    entry: the field's assumption, which knows its unit; None for words. currency: of the scenario.

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


def section(title: str, inner: str) -> str:
    """A section of the page; both arguments are HTML."""
    return f'<section class="sweep"><h2>{title}</h2>{inner}</section>'


def wide(inner: str) -> str:
    """A table that may be wider than the screen: it scrolls, and shows that it does."""
    return f'<div class="wide" tabindex="0">{inner}</div>'


def table(headings: Iterable[str], rows: str, look: str = "") -> str:
    """A table that scrolls where it is too wide; headings are text, rows are HTML, look is its class."""
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in headings)
    name = f' class="{look}"' if look else ""
    return wide(f"<table{name}><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>")


def row(head: str, cells: Iterable[str]) -> str:
    """A row of a table: its heading and its cells, both HTML."""
    return f'<tr><th scope="row">{head}</th>{"".join(f"<td>{cell}</td>" for cell in cells)}</tr>'


def strong(text: str) -> str:
    """Text that stands out."""
    return f"<strong>{escape(text)}</strong>"


def cannot_know(*own: str, locale: str = LOCALE) -> Piece:
    """The cautions of every forecast, and those of the page's own."""
    said = messages(locale)["page"]
    items = "".join(f"<li>{escape(text)}</li>" for text in (*said["cautions"], *own))
    return Piece(section(escape(said["cautions_head"]), f"<ul>{items}</ul>"))
