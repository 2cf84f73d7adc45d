"""Numbers and sentences as text that a formula makes, by the rules of the calculator's words.

Separators follow the program that shows the workbook: FIXED writes a number as its reader is used to.
"""

from __future__ import annotations

from babel.numbers import get_decimal_symbol, get_group_symbol

from growth.calculator import number_words as words
from growth.spreadsheet.formula import (
    Formula,
    absolute,
    as_formula,
    choose,
    either,
    maximum,
    power_of_ten,
    rounded,
    written,
)


class NumberText:
    """Formulas that write numbers in a currency and a locale.

    >>> numbers = NumberText(currency="EUR", locale="en-GB")
    >>> numbers.money(Formula("A1", 6000.4)).value, numbers.percent(Formula("A1", 0.04)).value
    ('€6,000', '4%')
    """

    def __init__(self, *, currency: str, locale: str):
        self._locale = locale
        self._before, _, self._after = words.money(1, currency, locale, 0).partition("1")
        self.minor = words.minor_digits(currency)
        name = locale.replace("-", "_")
        group = get_group_symbol(name).replace("\u202f", words.SPACE)
        self._signs = str.maketrans({",": group, ".": get_decimal_symbol(name)})
        self._per_cent = words.percent(0.01, locale).partition("1")[2]

    def money(self, value: Formula, decimals: Formula | int | None = None) -> Formula:
        """An amount: no decimals from 100 up, those of the currency below, where `decimals` does not say how many."""
        if decimals is None:
            decimals = choose(either(absolute(value) >= 100, value.equals(0)), 0, self.minor)
        sign = choose(rounded(value, decimals) < 0, "-", "")
        text = sign & self._before & self._fixed(absolute(value), decimals)
        return text & self._after if self._after else text

    def number(self, value: Formula) -> Formula:
        """A count, to at most one decimal; with more, up to four, where that would make a small one 0."""
        usual = choose(rounded(value, 1).equals(rounded(value, 0)), 0, 1)
        return self._fixed(value, _shown(value, usual, 1, 4))

    def of_plural(self, message: str | dict[str, str], count: Formula, places: dict[str, Formula]) -> Formula:
        """The text of a message that fits a count, filled.

        A workbook knows two of a language's plural categories (CLDR): "one", which is 1 alone or all from 0 to below 2
        as in French, and "other"."""
        if isinstance(message, str):
            return filled(message, places)
        shown = absolute(rounded(count, 1))
        single = shown < 2 if words.plural(1.5, self._locale) == "one" else shown.equals(1)
        return choose(single, filled(message["one"], places), filled(message["other"], places))

    def percent(self, value: Formula) -> Formula:
        """A fraction as per cent, to at most two decimals; with up to five where that would make a small one 0."""
        share = 100 * value
        two, one, none = (rounded(share, decimals) for decimals in (2, 1, 0))
        usual = choose(two.equals(none), 0, choose(two.equals(one), 1, 2))
        return self._fixed(share, _shown(share, usual, 2, 5)) & self._per_cent

    def _fixed(self, value: Formula, decimals: Formula | int) -> Formula:
        """FIXED, stored as a reader of the locale writes it."""
        text = written(value, decimals)
        return Formula(text.text, text.value.translate(self._signs))

    def roughly(self, level: Formula, named: Formula) -> Formula:
        """A level as it is known, in order with the amount named beside it; see `near` in growth/calculator."""
        two, three, four = (rounded(level, digits - 1 - power_of_ten(level)) for digits in (2, 3, 4))
        good = [(near - named) * (level - named) > 0 for near in (two, three)]
        near = choose(level > 0, choose(good[0], two, choose(good[1], three, four)), 0)
        text = self.money(near, choose(either(near >= 10, near.equals(0)), 0, self.minor))
        close = absolute(level - named) <= words.CLOSE * maximum(level, named)
        return choose(close, self.money(named), text)


def _shown(value: Formula, usual: Formula, least: int, most: int) -> Formula:
    """The usual decimals, or the fewest with which a number that is not 0 is not written as 0."""
    more = as_formula(0)
    for decimals in range(most, least, -1):
        more = choose(rounded(value, decimals).equals(0), more, decimals)
    return choose(rounded(value, least).equals(0), more, usual)


def filled(template: str, places: dict[str, Formula]) -> Formula:
    """A message with formulas in its {places}.

    >>> filled("in month {month}.", {"month": Formula("B4", "19")}).text
    '"in month "&B4&"."'
    """
    whole: Formula | None = None
    for index, piece in enumerate(template.replace("}", "{").split("{")):
        if piece:
            part = places[piece] if index % 2 else as_formula(piece)
            whole = part if whole is None else whole & part
    return as_formula("") if whole is None else whole
