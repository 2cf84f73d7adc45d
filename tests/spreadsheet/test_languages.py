"""Each language of the workbook says all that the English one does, and its sentences are those of the page."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from how_many import few_or_many
from library import LIBRARY, SCENARIOS
from office import sheet_values

import growth
from growth.calculator.language import languages, locale_of
from growth.calculator.words import answer
from growth.giveaway.brief import Giveaway
from growth.spreadsheet import spreadsheet
from growth.spreadsheet.inputs import Inputs
from growth.spreadsheet.texts import workbook_locale, workbook_words

SAID = ("brief-monthly-or-yearly", "fernhollow", "seasonal")  # sentences of several kinds, in small workbooks
OTHERS = [code for code in languages() if code != "en" and workbook_locale(locale_of(code)) == locale_of(code)]


def texts(part: Any, place: str = "") -> Iterator[tuple[str, str]]:
    """Every text of a language's file with its place."""
    if isinstance(part, dict):
        for key, value in part.items():
            yield from texts(value, f"{place}.{key}")
    elif isinstance(part, list):
        for index, value in enumerate(part):
            yield from texts(value, f"{place}.{index}")
    else:
        yield place, part


@pytest.mark.parametrize("code", OTHERS)
def test_a_language_has_every_text_with_the_same_places(code: str):
    english, other = (
        {place: text for place, text in texts(workbook_words(locale)) if not place.startswith(".own_assumptions")}
        for locale in ("en-GB", locale_of(code))
    )
    assert english.keys() == other.keys()
    for place, text in english.items():
        assert sorted(re.findall(r"{\w+}", text)) == sorted(re.findall(r"{\w+}", other[place])), place
        assert bool(text) == bool(other[place]), place


@pytest.mark.parametrize("code", OTHERS)
def test_a_workbook_in_another_language_says_the_page_s_sentences(code: str, tmp_path: Path):
    """As stored; a program that computes them anew writes numbers as its own reader is used to."""
    assert OTHERS
    words, giveaway = workbook_words(locale_of(code)), Giveaway(name="x", question="How big, and when?", language=code)
    for path in LIBRARY:
        if path.stem in few_or_many(SAID, (path.stem,)):
            forecast = growth.forecast(growth.load_scenario(path))
            (tmp_path / "book.xlsx").write_bytes(spreadsheet(forecast, giveaway=giveaway))
            rows = sheet_values(tmp_path / "book.xlsx", words["sheets"]["answer"])[words["sheets"]["answer"]]
            said = " ".join(text for text in (rows[3][1], rows[4][1]) if text)
            assert said == answer(forecast, locale_of(code)), path.name


@pytest.mark.parametrize("code", OTHERS)
def test_every_assumption_has_its_label(code: str):
    """Of every scenario of the library; none is left in English but those that are spelt alike."""
    for path in LIBRARY:
        scenario = growth.load_scenario(path)
        english, other = Inputs(scenario).cells, Inputs(scenario, locale=locale_of(code)).cells
        alike = [a.label for a, b in zip(english, other, strict=True) if a.label == b.label]
        assert all(label.startswith("Budget") for label in alike), alike


@cache
def formulas(code: str) -> list[list[str]]:
    """The formulas of the demo sheet by sheet, without their texts and with numbers in place of the sheets' names."""
    giveaway = Giveaway(name="x", question="How big, and when?", language=code)
    forecast = growth.forecast(growth.load_scenario(SCENARIOS / "fernhollow.yaml"))
    opened = openpyxl.load_workbook(BytesIO(spreadsheet(forecast, giveaway=giveaway)))
    names = sorted(opened.sheetnames, key=len, reverse=True)
    sheets = re.compile("|".join(f"'{re.escape(name)}'!|(?<![\\w'])" + re.escape(name) + "!" for name in names))

    def plain(formula: str) -> str:
        bare = re.sub(r'"[^"]*"', "TEXT", formula)
        return sheets.sub(lambda found: f"S{opened.sheetnames.index(found.group().strip(chr(39) + '!'))}!", bare)

    return [
        [plain(cell.value) for row in sheet.iter_rows() for cell in row if cell.data_type == "f"]
        for sheet in opened.worksheets[:-1]  # the last puts sentences together, each language in its own order
    ]


@pytest.mark.parametrize("code", OTHERS)
def test_a_workbook_has_the_same_formulas_in_every_language(code: str):
    assert formulas(code)[1:] == formulas("en")[1:]  # the first shows the sentences
