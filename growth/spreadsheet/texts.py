"""The workbook's texts: its own words, one file a language in `languages/`, the names of sheets and input cells, and
formulas that write numbers and sentences by the rules of the calculator's words.

Labels of assumptions, calendar months and the sentences of the answer come from the calculator. Separators follow the
program that shows the workbook: FIXED writes a number as its reader is used to.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any
from unicodedata import category

from babel.numbers import get_decimal_symbol, get_group_symbol

from growth.calculator import number_words as words
from growth.calculator.language import LOCALE, words_in
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

LONGEST_CELL = 32_767  # characters
LONGEST_SHEET = 31
_SAFE = " -.,&+%"  # beside letters and digits; other signs are refused by sheets, or misread within a formula
_SHORTER = (  # places in a scenario, and how the name of an input cell begins
    (r"^arrive\.channels\.(\d+)", "channel"),
    (r"^pay\.plans\.(\d+)", "plan"),
    (r"^stay\.churn_changes\.(\d+)", "churn_change"),
    (r"^grow\.price_changes\.(\d+)", "price_change"),
    (r"^opening\.ages\.(\d+)", "opening_age"),
    (r"^changes\.(\d+)", "change"),
)


def cell_text(text: str) -> str:
    """A text as a cell can hold it: without control characters but line ends, at most 32,767 characters.

    >>> cell_text("one\\x07two"), len(cell_text("x" * 40_000))
    ('one two', 32767)
    """
    clean = "".join(c if c == "\n" or category(c) not in ("Cc", "Cs") else " " for c in text.replace("\r\n", "\n"))
    return clean if len(clean) <= LONGEST_CELL else clean[: LONGEST_CELL - 3] + "..."


def sheet_names(wanted: Iterable[str]) -> list[str]:
    """A name for each sheet: letters, digits and plain signs, 31 characters at most, no two alike.

    >>> sheet_names(["Months", "a/b", "A:b", "it's", "(!)"])
    ['Months', 'a b', 'A b 2', 'it s', 'Sheet']
    """
    names: list[str] = []
    for text in wanted:
        safe = "".join(c if c in _SAFE or category(c)[0] in "LMN" else " " for c in text)
        clean = " ".join(safe.split()) or "Sheet"
        clean = "Sheet" if clean.lower() == "history" else clean  # a name that one program keeps to itself
        taken, count = {name.lower() for name in names}, 1
        name = _cut(clean, LONGEST_SHEET)
        while name.lower() in taken:
            count += 1
            ending = f" {count}"
            name = _cut(clean, LONGEST_SHEET - len(ending)) + ending
        names.append(name)
    return names


def quoted(sheet: str) -> str:
    """A sheet's name as a formula has it.

    >>> quoted("Plan Studio"), quoted("Months")
    ("'Plan Studio'", 'Months')
    """
    return sheet if re.fullmatch("[A-Za-z]{4,}", sheet) else f"'{sheet}'"  # three letters may be a column


def input_name(place: str) -> str:
    """The name of an input cell, from the place of its value in a scenario; parts of lists count from 1.

    >>> input_name("arrive.channels.0.launches.1.visitors"), input_name("stay.churn.monthly_churn_rate")
    ('channel_1_launch_2_visitors', 'churn_monthly_churn_rate')
    """
    for pattern, head in _SHORTER:
        if found := re.match(pattern, place):
            place = f"{head}_{int(found[1]) + 1}{place[found.end() :]}"
    place = re.sub(r"launches\.(\d+)", lambda found: f"launch_{int(found[1]) + 1}", place)
    place = re.sub(r"(season|survival|delay_share)s?\.(\d+)$", lambda found: f"{found[1]}_{int(found[2]) + 1}", place)
    place = re.sub(r"^(arrive|sign_up|pay|stay|grow|bill)\.", "", place).replace("comeback.comeback", "comeback")
    return place.replace(".", "_")


def _cut(text: str, length: int) -> str:
    """The first so many units of UTF-16, in which programs count."""
    while len(text.encode("utf-16-le")) // 2 > length:
        text = text[:-1]
    return text.rstrip()


_FILES = Path(__file__).parent / "languages"


def workbook_words(locale: str = LOCALE) -> dict[str, Any]:
    """The workbook's own words in a locale's language, by part; English where it has none in that language.

    >>> workbook_words()["sheets"]["answer"], workbook_words("tlh")["month"]
    ('Answer', 'month')
    """
    return words_in(_FILES, locale)


def workbook_locale(locale: str) -> str:
    """The locale, or the English one if the workbook has no words in its language.

    >>> workbook_locale("en-GB"), workbook_locale("tlh")
    ('en-GB', 'en-GB')
    """
    return locale if (_FILES / f"{locale.partition('-')[0]}.json").exists() else LOCALE


def item_words(name: str, index: int, locale: str = LOCALE) -> str:
    """The label of a number in a list: a season's month, a delay, an age of the survival curve.

    >>> item_words("season", 0), item_words("delay_shares", 0), item_words("survival", 2)
    ('Jan', 'in the month of the sign-up', 'after 3 months')
    """
    said = workbook_words(locale)["items"][name]
    if name == "season":
        return said.replace("{month}", words.month_labels(f"2027-{index + 1:02d}", 1, locale)[1].split()[0])
    if name == "delay_shares":
        return said[index > 0].replace("{n}", str(index))
    return said.replace("{n}", str(index + 1))


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
