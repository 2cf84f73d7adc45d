"""The sheet of the band: what was computed when the workbook was made, and that it says so."""

from __future__ import annotations

from io import BytesIO

import openpyxl
import pytest
from plain import business

import growth
from growth.giveaway.placeholders import load_giveaway
from growth.spreadsheet import spreadsheet
from growth.spreadsheet.texts import workbook_words
from growth.spreadsheet.worksheet import FIRST

UNSURE = {"curve": "constant", "monthly_churn_rate": {"low": 0.05, "likely": 0.1, "high": 0.2}}


def made(scenario: growth.Scenario, language: str = "en") -> tuple[openpyxl.Workbook, dict]:
    words = workbook_words("de-DE" if language == "de" else "en-GB")
    asked = {"name": "how-big", "question": "How big can it get?", "language": language}
    giveaway = load_giveaway(asked, scenario=scenario)
    content = spreadsheet(growth.forecast(scenario), giveaway=giveaway)
    return openpyxl.load_workbook(BytesIO(content), data_only=False), words


def cells(book: openpyxl.Workbook, words: dict) -> list[str]:
    return [str(cell.value) for row in book[words["sheets"]["answer"]].iter_rows() for cell in row if cell.value]


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("churn", [0.1, UNSURE], ids=["chance_alone", "ranges_and_chance"])
def test_it_holds_the_quantiles_as_plain_numbers_and_says_so(churn, language, request):
    scenario = business(months=12, opening={"customers": 40, "mrr": 800}, churn=churn)
    book, words = made(scenario, language)
    sheet, said, spread = book[words["sheets"]["band"]], words["band"], growth.spread_of(scenario)
    rows = list(sheet.iter_rows(min_row=FIRST + 1, max_row=FIRST + 13, min_col=3, max_col=7, values_only=True))
    assert rows[0] == (800,) * 5
    paths = [spread.quantile(0.05), spread.quantile(0.25), spread.likely, spread.quantile(0.75), spread.quantile(0.95)]
    for column, path in enumerate(paths):
        assert [row[column] for row in rows[1:]] == pytest.approx(path.tolist(), rel=1e-12)
    assert sheet["A2"].value == said["fixed"]
    assert said["chance_alone" if isinstance(churn, float) else "ranges_and_chance"] in sheet["A3"].value
    assert len(sheet._charts) == 1


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_first_sheet_says_how_wide_it_is_and_where_to_find_it(language):
    scenario = business(months=12, opening={"customers": 40, "mrr": 800}, churn=UNSURE)
    book, words = made(scenario, language)
    [line] = [text for text in cells(book, words) if text.endswith(words["band"]["where"])]
    for end in growth.spread_of(scenario).band(0.9):
        amount = f"{float(f'{end[-1]:.3g}'):,.0f}"
        assert (amount.replace(",", ".") if language == "de" else amount) in line
    assert words["sheets"]["band"] in line


def test_a_business_without_anybody_has_a_band_of_nothing():
    scenario = business(months=3, arrive={"channels": [{"name": "none", "monthly_visitors": 0}]})
    book, words = made(scenario)
    sheet = book[words["sheets"]["band"]]
    assert [cell.value for cell in sheet[FIRST + 4]][2:7] == [0, 0, 0, 0, 0]
