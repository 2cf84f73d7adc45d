"""What a person sees on the sheets and on paper: plain units and ranges, rows high enough, few pages."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import openpyxl
import pytest
from openpyxl.cell.cell import Cell
from openpyxl.worksheet.worksheet import Worksheet

import growth
from growth.calculator.language import languages
from growth.giveaway.brief import Giveaway
from growth.spreadsheet import spreadsheet, write_spreadsheet
from growth.spreadsheet.assumptions_sheet import FIRST_LINE

SCENARIOS = Path(__file__).parents[2] / "scenarios"
LIBRARY = "fernhollow yearly-plans brief-when-can-i-live-from-it-de brief-halving-churn".split()
_VALUE, _UNIT, _RANGE = 2, 3, 4


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> dict[str, openpyxl.Workbook]:
    """Some of the library's workbooks as written, by the name of the scenario; the first in every language."""
    folder = tmp_path_factory.mktemp("books")
    written = {
        name: openpyxl.load_workbook(write_spreadsheet(SCENARIOS / f"{name}.yaml", to=folder / f"{name}.xlsx"))
        for name in LIBRARY
    }
    forecast = growth.forecast(growth.load_scenario(SCENARIOS / f"{LIBRARY[0]}.yaml"))
    for code in languages():
        giveaway = Giveaway(name="x", question="How big can it get?", language=code)
        written[code] = openpyxl.load_workbook(BytesIO(spreadsheet(forecast, giveaway=giveaway)))
    return written


def texts(book: openpyxl.Workbook) -> Iterator[str]:
    for sheet in book:
        yield from (cell.value for row in sheet.iter_rows() for cell in row if isinstance(cell.value, str))


def input_rows(book: openpyxl.Workbook) -> Iterator[tuple[Cell, ...]]:
    """The rows of input cells of the sheet of assumptions."""
    sheet = book.worksheets[1]
    yield from (row for row in sheet.iter_rows(min_row=FIRST_LINE + 1) if not row[_VALUE].protection.locked)


def test_no_sheet_speaks_of_sliders_which_a_workbook_has_none_of(books: dict[str, openpyxl.Workbook]):
    sliders = re.compile(r"\b(sliders?|Schieberegler|Regler|curseurs?|deslizantes?)\b")
    for name, book in books.items():
        found = [text for text in texts(book) if sliders.search(text)]
        assert found == [], name


def test_a_unit_does_not_repeat_the_sign_that_its_cell_shows(books: dict[str, openpyxl.Workbook]):
    for name, book in books.items():
        for row in input_rows(book):
            signs = set(re.findall(r"[%€$£¥]|CHF|SEK", row[_VALUE].number_format))
            assert not any(sign in (row[_UNIT].value or "") for sign in signs), (name, row[_VALUE].coordinate)


def test_a_range_is_one_that_a_person_would_say(books: dict[str, openpyxl.Workbook]):
    """The limits of a thousand million only stop typing errors; the cell's rule holds them all the same."""
    for name, book in books.items():
        for row in input_rows(book):
            assert row[_RANGE].value and not re.search(r"\d[.,]000[.,]000", row[_RANGE].value), name


def test_paper_is_few_pages_scaled_to_its_width_and_opens_with_the_chart(books: dict[str, openpyxl.Workbook]):
    for name, book in books.items():
        assert len(book.worksheets[0]._charts) == 1
        for sheet in book:
            assert sheet.sheet_properties.pageSetUpPr.fitToPage, (name, sheet.title)
            assert 1 <= int(sheet.page_setup.fitToWidth or 1) <= 2, (name, sheet.title)
        assert int(book.worksheets[0].page_setup.fitToHeight or 1) == 1


def test_no_wrapped_text_is_cut_off_by_its_row(books: dict[str, openpyxl.Workbook]):
    """Common practice, no source: in a wide sans or serif face a letter is half as wide as its font is high, and a
    column's unit is a digit of 10 points, a little over 5 points wide; a line is 1.2 times its font's size."""
    for name, book in books.items():
        for sheet in book:
            for cell, width in wrapped_cells(sheet):
                if isinstance(cell.value, str) and not cell.value.startswith("="):
                    per_line = int(width * 5.25 / (0.5 * cell.font.size))
                    lines = len(textwrap.wrap(cell.value, per_line))
                    height = sheet.row_dimensions[cell.row].height or 15
                    assert height >= lines * cell.font.size * 1.2 or lines <= 1, (name, sheet.title, cell.coordinate)


def wrapped_cells(sheet: Worksheet) -> Iterator[tuple[Cell, float]]:
    """Cells with wrapped text, and their width in characters, merged cells as one."""
    merged = {area.start_cell.coordinate: area for area in sheet.merged_cells.ranges}
    widths: dict[int, float] = {}
    for dimension in sheet.column_dimensions.values():
        widths |= dict.fromkeys(range(dimension.min, dimension.max + 1), dimension.width)
    for row in sheet.iter_rows():
        for cell in row:
            if getattr(cell, "alignment", None) and cell.alignment.wrap_text and cell.value:
                area = merged.get(cell.coordinate)
                last = area.max_col if area else cell.column
                yield cell, sum(widths.get(column, 10) for column in range(cell.column, last + 1))
