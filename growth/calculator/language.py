"""The languages of a page: one file of messages each, in `languages/`, named after the language's code (ISO 639-1).

A file holds every text that a reader sees and that no scenario brings along, with {places} for what is computed, and
the locale by which numbers, money, months and dates are written. Labels and help lines of the assumptions stand in
`growth.scenario`, in English; the other languages' files hold theirs under `assumptions`, by the name of the field. A
page carries the messages of its own language alone.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from growth.errors import Problem, ScenarioError

LOCALE = "en-GB"
ENGLISH = "en"
Piece = tuple[str, bool]  # a text, and whether it is a computed number
_FILES = Path(__file__).parent / "languages"


@cache
def languages() -> dict[str, str]:
    """The code of each language, and its own name.

    >>> languages()["de"]
    'Deutsch'
    """
    return {path.stem: _read(path.stem)["language"] for path in sorted(_FILES.glob("*.json"))}


def known() -> str:
    """The languages there are, in one line, as an error names them.

    >>> known()
    'de (Deutsch), en (English), es (Español), fr (Français), pt (Português)'
    """
    return ", ".join(f"{code} ({name})" for code, name in languages().items())


def locale_of(language: str) -> str:
    """The locale by which a page in that language writes its numbers. Raises ScenarioError for a language without a
    file.

    >>> locale_of("de")
    'de-DE'
    """
    return _messages(language)["locale"]


def direction(locale: str) -> str:
    """Whether a locale's language is written from left to right ("ltr") or from right to left ("rtl").

    >>> direction("de-DE"), direction("he-IL")
    ('ltr', 'rtl')
    """
    from babel import Locale

    return str(Locale.parse(locale, sep="-").text_direction)


def language_attributes(language: str) -> str:
    """The attributes of a page's root that say its language, and its direction where it is from right to left.

    >>> language_attributes("de")
    'lang="de"'
    """
    way = direction(locale_of(language))
    return f'lang="{language}"' + (f' dir="{way}"' if way == "rtl" else "")


def messages(locale: str = LOCALE) -> dict[str, Any]:
    """All messages of a locale's language, by part. Raises ScenarioError for a language without a file.

    >>> messages("de-DE")["calculator"]["form"]
    'Ihre Zahlen'
    """
    return _messages(locale.partition("-")[0])


def said(template: str, **values: str) -> str:
    """A message with its places filled.

    >>> said(messages("de-DE")["whose"]["month"], month="7")
    'Monat 7'
    """
    return "".join(text for text, _ in filled(template, values))


def filled(template: str, values: dict[str, str]) -> Iterator[Piece]:
    """A message in pieces: plain text, and the values of its places.

    >>> list(filled("in month {month}.", {"month": "19"}))
    [('in month ', False), ('19', True), ('.', False)]
    """
    for index, piece in enumerate(template.replace("}", "{").split("{")):
        if piece:
            yield (values[piece], True) if index % 2 else (piece, False)


def label_and_help(path: str, kind: str, label: str, help: str, locale: str = LOCALE) -> tuple[str, str]:
    """The words of an assumption in a locale's language. path: its place in the scenario; kind: of its section, or "".

    label, help: the English ones, from the table of assumptions. Of "paid.monthly_growth_rate" (its kind),
    "arrive.signup_rate" (its part of the scenario) and "monthly_price" the first that the language's file has is taken.

    >>> label_and_help("pay.plans.0.monthly_price", "", "Price", "", "de-DE")[0]
    'Preis'
    """
    own = messages(locale)["assumptions"]
    if not own:
        return label, help
    head, field = path.split(".")[0], path.rpartition(".")[2]
    words = own[next(key for key in (f"{kind}.{field}", f"{head}.{field}", field) if key in own)]
    return words["label"], words.get("help", "")


@cache
def words_in(folder: Path, locale: str = LOCALE) -> dict[str, Any]:
    """The words that a room keeps in files of its own, one a language; English where a language has none there."""
    path = folder / f"{locale.partition('-')[0]}.json"
    words: dict[str, Any] = json.loads((path if path.is_file() else folder / f"{ENGLISH}.json").read_text("utf-8"))
    return words


@cache
def _messages(language: str) -> dict[str, Any]:
    if language not in languages():
        fix = f"There is {known()}."
        raise ScenarioError([Problem("language", "a language that has a file of messages", language, fix)])
    return _read(language)


@cache
def _read(language: str) -> dict[str, Any]:
    return json.loads((_FILES / f"{language}.json").read_text("utf-8"))
