"""The words of the workbook that the page has no use for: one file of them a language, in `languages/`.

The sentences of the answer, labels of assumptions, calendar months and numbers in prose come from the calculator.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from growth.calculator.language import LOCALE
from growth.calculator.words import month_labels

_FILES = Path(__file__).parent / "languages"


@cache
def workbook_words(locale: str = LOCALE) -> dict[str, Any]:
    """The workbook's own words in a locale's language, by part; see `workbook_locale`.

    >>> workbook_words()["sheets"]["answer"]
    'Answer'
    """
    return json.loads(_file(locale).read_text("utf-8"))


def workbook_locale(locale: str) -> str:
    """The locale itself, or the English one where the workbook has no words in its language.

    >>> workbook_locale("en-GB"), workbook_locale("tlh")
    ('en-GB', 'en-GB')
    """
    return locale if _file(locale).exists() else LOCALE


def _file(locale: str) -> Path:
    return _FILES / f"{locale.partition('-')[0]}.json"


def item_words(name: str, index: int, locale: str = LOCALE) -> str:
    """Which number of a list it is: of the season, of the shares paying later, of those still on board.

    >>> item_words("season", 0), item_words("delay_shares", 0), item_words("survival", 2)
    ('Jan', 'in the month of the sign-up', 'after 3 months')
    """
    words = workbook_words(locale)["items"][name]
    if name == "season":
        return words.replace("{month}", month_labels(f"2027-{index + 1:02d}", 1, locale)[1].split()[0])
    if name == "delay_shares":
        return words[index > 0].replace("{n}", str(index))
    return words.replace("{n}", str(index + 1))
