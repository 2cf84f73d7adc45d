"""A sheet of the workbook, and tables of formulas on it with a row for each month, or each age.

Formulas are put into cells and handed back as references to them. Month t, or age a, stands in the same row everywhere.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from growth.spreadsheet.formula import Formula
from growth.spreadsheet.names import cell_text, quoted
from growth.spreadsheet.styles import Styles

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet as XlsxWorksheet

DASH = "\N{EN DASH}"  # stands where a ratio has no denominator
_CELL = re.compile(r"\$?([A-Z]+)\$?([0-9]+)")
_ELSEWHERE = re.compile("\x00([0-9]+)\x00")


class Worksheet:
    """One worksheet. Rows and columns count from 0; a reference knows its sheet, and says so where it has to."""

    def __init__(self, worksheet: XlsxWorksheet, *, number: int, names: list[str], styles: Styles):
        self.worksheet, self.styles = worksheet, styles
        self._tag, self._names = f"\x00{number}\x00", names

    def put(self, row: int, column: int, formula: Formula, style: str = "cell", kind: str = "") -> Formula:
        """Write a formula with its value. Returns the reference to its cell."""
        self.worksheet.write_formula(
            row, column, "=" + self._here(formula.text), self.styles(style, kind), _stored(formula.value)
        )
        return self.cell(row, column, formula.value)

    def number(self, row: int, column: int, value: float, style: str = "cell", kind: str = "") -> Formula:
        """Write a plain number. Returns the reference to its cell."""
        self.worksheet.write_number(row, column, value, self.styles(style, kind))
        return self.cell(row, column, value)

    def put_any(self, row: int, column: int, value: Formula | float, style: str = "cell", kind: str = "") -> Formula:
        """Write a formula or a plain number. Returns the reference to its cell."""
        write = self.put if isinstance(value, Formula) else self.number
        return write(row, column, value, style, kind)  # type: ignore[arg-type]

    def text(self, row: int, column: int, text: str, style: str = "cell") -> Formula:
        """Write a text, never as a formula. Returns the reference to its cell."""
        text = cell_text(text)
        if text:
            self.worksheet.write_string(row, column, text, self.styles(style))
        else:
            self.worksheet.write_blank(row, column, None, self.styles(style))
        return self.cell(row, column, text)

    def cell(self, row: int, column: int, value: Any, *, fixed: str = "") -> Formula:
        """A reference to a cell; fixed: "row", "column" or "both" for those that stay when the formula is copied."""
        return Formula(f"{self._tag}{_place(row, column, fixed)}", value)

    def cells(
        self, rows: tuple[int, int], columns: tuple[int, int], values: np.ndarray | list, *, fixed: str = ""
    ) -> Formula:
        """A reference to a range, both ends included."""
        first, last = _place(rows[0], columns[0], fixed), _place(rows[1], columns[1], fixed)
        return Formula(f"{self._tag}{first}:{last}", np.asarray(values))

    def _here(self, text: str) -> str:
        text = text.replace(self._tag, "")
        return _ELSEWHERE.sub(lambda found: quoted(self._names[int(found[1])]) + "!", text) if "\x00" in text else text

    def address(self, formula: Formula) -> str:
        """A reference with its sheet, as charts and names need it."""
        tag, _, cells = formula.text.rpartition("\x00")
        cells = _CELL.sub(r"$\1$\2", cells)
        return f"={quoted(self._names[int(tag[1:])])}!{cells}"


def _place(row: int, column: int, fixed: str) -> str:
    from xlsxwriter.utility import xl_rowcol_to_cell

    cell: str = xl_rowcol_to_cell(row, column, fixed in ("row", "both"), fixed in ("column", "both"))
    return cell


def _stored(value: Any) -> Any:
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, str):
        return value
    return float(value) if math.isfinite(value) else "#N/A"


T = TypeVar("T")
FIRST = 7  # the row of month 0, and of age 0; rows and columns count from 0
LABEL_WIDTH, WIDTH = 10, 12.5
PAGE_WIDTH, PAGE_ROWS = 240, 70  # characters and rows on one landscape page, at about 60% of their size
_LETTERS_PER_WIDTH = 1.05  # a column is measured in digits; letters of running text are a little narrower


class FormulaColumn:
    """One column: cells are put in by month or age, and referred to by it.

    References keep their row ("D$9"): LibreOffice takes cells whose formulas differ by their rows alone as one group,
    and then holds months that follow from each other for a circle.
    """

    def __init__(self, sheet: Worksheet, index: int, kind: str, last: int):
        self._sheet, self.index, self._kind = sheet, index, kind
        self._values: list[Any] = [0.0] * (last + 1)

    def put(self, when: int, formula: Formula | float, style: str = "cell") -> Formula:
        """Write a formula or a plain number for a month or age. Returns the reference."""
        self._values[when] = formula.value if isinstance(formula, Formula) else float(formula)
        return self._sheet.put_any(FIRST + when, self.index, formula, style, self._kind)

    def text(self, when: int, text: str, style: str = "soft") -> Formula:
        """Write a text for a month or age. Returns the reference."""
        self._values[when] = text
        return self._sheet.text(FIRST + when, self.index, text, style)

    def __getitem__(self, when: int) -> Formula:
        return self._sheet.cell(FIRST + when, self.index, self._values[when], fixed="row")

    def same_row(self, when: int) -> Formula:
        """A reference whose column stays when the formula is copied sideways."""
        return self._sheet.cell(FIRST + when, self.index, self._values[when], fixed="column")

    def span(self, first: int, last: int) -> Formula:
        """A reference to the cells from one month or age to another, both included; it stays when copied."""
        values = self._values[first : last + 1]
        rows = (FIRST + first, FIRST + last)
        return self._sheet.cells(rows, (self.index, self.index), np.array(values), fixed="both")


def present(column: T | None) -> T:
    """What the structure of the scenario is known to have; LookupError where it is missing all the same."""
    if column is None:
        raise LookupError("a column that the scenario has no use for was asked for")
    return column


class FormulaTable:
    """The columns of one sheet, from left to right, under a title and a line or two of prose."""

    def __init__(self, sheet: Worksheet, *, title: str, lines: Sequence[str], last: int):
        self.sheet, self.last = sheet, last
        self._next, self._group, self.width = 0, "", 0.0
        sheet.worksheet.set_row(0, 27)
        sheet.text(0, 0, title, "title")
        for row, line in enumerate(lines, start=1):
            sheet.text(row, 0, line, "line")
        self._head_lines = 0

    def column(
        self, head: str, kind: str = "", *, group: str = "", width: float = WIDTH, left: bool = False
    ) -> FormulaColumn:
        """Add a column. A group's name stands over the first of its columns only."""
        index = self._next
        self._next += 1
        self.sheet.text(FIRST - 2, index, "" if index and group == self._group else group, "group")
        self._group = group
        self.sheet.text(FIRST - 1, index, head, "head_left" if left else "head")
        self._head_lines = max(self._head_lines, text_lines(head, width=width - 2))
        self.sheet.worksheet.set_row(FIRST - 1, 13 * self._head_lines + 5)
        self.width += width
        self.sheet.worksheet.set_column(index, index, width, self.sheet.styles("paper"))
        return FormulaColumn(self.sheet, index, kind, self.last)

    def skip(self, width: float = 2) -> None:
        """Leave a column empty."""
        self.sheet.worksheet.set_column(self._next, self._next, width, self.sheet.styles("paper"))
        self.width += width
        self._next += 1
        self._group = ""

    @property
    def columns(self) -> int:
        """The number of columns so far."""
        return self._next


def print_setup(
    sheet: Worksheet, *, heads: tuple[int, int] | None, labels: int, pages_wide: int = 1, pages_tall: int = 0
) -> None:
    """A4 landscape, scaled to the given number of pages, with heads and labels repeated and pages numbered.

    Parameters
    ----------
    heads : first and last row to repeat on every page, or None.
    labels : how many columns at the left to repeat.
    pages_wide, pages_tall : pages across and down; 0 for as many as it takes.
    """
    page = sheet.worksheet
    page.set_landscape()
    page.set_paper(9)
    page.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
    page.fit_to_pages(pages_wide, pages_tall)
    page.print_across()
    if heads:
        page.repeat_rows(*heads)
    if labels:
        page.repeat_columns(0, labels - 1)
    page.set_footer("&L&A&R&P / &N")


def text_lines(text: str, *, width: float, size: float = 10) -> int:
    """How many lines a wrapped text takes in a cell.

    Parameters
    ----------
    text : the text, which may have line breaks of its own.
    width : width of the cell in characters, as columns are measured.
    size : size of the font in points.

    Returns
    -------
    int
        At least 1. Taken for a wide font, so that a row is rather too tall than clipped.

    Examples
    --------
    >>> text_lines("Short.", width=40), text_lines("one two three four", width=10)
    (1, 2)
    """
    per_line = max(1, int(width * 10 / size * _LETTERS_PER_WIDTH))
    return sum(max(1, len(textwrap.wrap(part, per_line))) for part in text.split("\n"))
