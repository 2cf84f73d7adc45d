"""The workbook's own words, one file a language in `languages/`, and the names of its sheets and input cells.

The sentences of the answer, labels of assumptions, calendar months and numbers in prose come from the calculator.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any
from unicodedata import category

from growth.calculator.language import LOCALE, words_in
from growth.calculator.words import month_labels

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
    words = workbook_words(locale)["items"][name]
    if name == "season":
        return words.replace("{month}", month_labels(f"2027-{index + 1:02d}", 1, locale)[1].split()[0])
    if name == "delay_shares":
        return words[index > 0].replace("{n}", str(index))
    return words.replace("{n}", str(index + 1))
