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
from growth.spreadsheet.styles import Styles
from growth.spreadsheet.texts import cell_text, quoted

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

    def put(self, row: int, column: int, value: Formula | float | str, style: str = "cell", kind: str = "") -> Formula:
        """Write a formula with its value, a number, or a text, which is never read as a formula and has no `kind`.

        Returns the reference to the cell.
        """
        form = self.styles(style, "" if isinstance(value, str) else kind)
        if isinstance(value, Formula):
            self.worksheet.write_formula(row, column, "=" + self._here(value.text), form, _stored(value.value))
            return self.cell(row, column, value.value)
        if not isinstance(value, str):
            self.worksheet.write_number(row, column, value, form)
        elif value := cell_text(value):
            self.worksheet.write_string(row, column, value, form)
        else:
            self.worksheet.write_blank(row, column, None, form)
        return self.cell(row, column, value)

    def across(self, row: int, columns: tuple[int, int], value: Formula | str, style: str, *, height: float) -> None:
        """Write a formula or a text over several columns, both ends included, in a row of that height in points."""
        self.worksheet.merge_range(row, columns[0], row, columns[1], None, self.styles(style))
        self.put(row, columns[0], value, style)
        self.worksheet.set_row(row, height)

    def widths(self, *widths: float, first: int = 0) -> None:
        """Set how wide columns are, in characters."""
        for column, width in enumerate(widths, start=first):
            self.worksheet.set_column(column, column, width, self.styles("paper"))

    def head(self, title: str, lines: Sequence[str]) -> None:
        """Write the title, and lines of prose below it."""
        self.worksheet.set_row(0, 27)
        for row, (text, style) in enumerate([(title, "title"), *((line, "line") for line in lines)]):
            self.put(row, 0, text, style)

    def print_setup(
        self, *, heads: tuple[int, int] | None = None, labels: int = 0, pages_wide: int = 1, pages_tall: int = 0
    ) -> None:
        """Set up for printing on A4 across, scaled to fit so many pages; 0 for as many as it takes.

        heads: the first and last row to repeat on every page. labels: how many columns at the left to repeat.
        """
        page = self.worksheet
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


class CellBlock:
    """Cells in rows and columns, counted from 0 within the block, with the values put into them.

    References keep their row, as those of a `FormulaColumn` do.
    """

    def __init__(self, sheet: Worksheet, first: tuple[int, int], shape: tuple[int, int]):
        self._sheet, self.first, self.values = sheet, first, np.zeros(shape)

    def put(self, row: int, column: int, value: Formula | float, style: str, kind: str) -> None:
        """Write a formula or a plain number."""
        self.values[row, column] = value.value if isinstance(value, Formula) else value
        self._sheet.put(self.first[0] + row, self.first[1] + column, value, style, kind)

    def cell(self, row: int, column: int) -> Formula:
        """A reference to one cell."""
        value = float(self.values[row, column])
        return self._sheet.cell(self.first[0] + row, self.first[1] + column, value, fixed="row")

    def part(self, row: int, first: int, last: int) -> Formula:
        """A reference to the cells of a row from one column to another, both included."""
        at, columns = self.first[0] + row, (self.first[1] + first, self.first[1] + last)
        return self._sheet.cells((at, at), columns, self.values[row, first : last + 1], fixed="row")


class FormulaColumn:
    """One column: cells are put in by month or age, and referred to by it.

    References keep their row ("D$9"): LibreOffice takes cells whose formulas differ by their rows alone as one group,
    and then holds months that follow from each other for a circle.
    """

    def __init__(self, sheet: Worksheet, index: int, kind: str, last: int):
        self._sheet, self.index, self._kind = sheet, index, kind
        self._values: list[Any] = [0.0] * (last + 1)

    def put(self, when: int, value: Formula | float | str, style: str = "cell") -> Formula:
        """Write a formula, a plain number or a text for a month or age. Returns the reference."""
        self._values[when] = value.value if isinstance(value, Formula) else value
        return self._sheet.put(FIRST + when, self.index, value, style, self._kind)

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
    """The columns of one sheet, from left to right, under a title and a line or two of prose.

    last: the month or age of the last row. labels: how many columns at the left stay in view, and on every page.
    columns, width: how many columns there are so far, and their width in characters.
    """

    def __init__(self, sheet: Worksheet, *, title: str, lines: Sequence[str], last: int, labels: int = 1):
        self.sheet, self.last, self._labels = sheet, last, labels
        self.columns, self.width, self._group, self._head_lines = 0, 0.0, "", 0
        self._printed: tuple[int, float] | None = None
        sheet.head(title, lines)
        sheet.worksheet.freeze_panes(FIRST, labels)

    def column(
        self, head: str, kind: str = "", *, group: str = "", width: float = WIDTH, left: bool = False
    ) -> FormulaColumn:
        """Add a column. A group's name stands over the first of its columns only."""
        index = self.columns
        self.sheet.put(FIRST - 2, index, "" if index and group == self._group else group, "group")
        self.sheet.put(FIRST - 1, index, head, "head_left" if left else "head")
        self._head_lines = max(self._head_lines, text_lines(head, width=width - 2))
        self.sheet.worksheet.set_row(FIRST - 1, 13 * self._head_lines + 5)
        self.skip(width)
        self._group = group
        return FormulaColumn(self.sheet, index, kind, self.last)

    def named(
        self, words: dict[str, str], kinds: dict[str, str], *, group: str = "", width: float = WIDTH
    ) -> dict[str, FormulaColumn]:
        """Add columns by name, each with its kind of number; `words` has their heads."""
        return {name: self.column(words[name], kind, group=group, width=width) for name, kind in kinds.items()}

    def skip(self, width: float = 2) -> None:
        """Leave a column empty."""
        self.sheet.widths(width, first=self.columns)
        self.width += width
        self.columns += 1
        self._group = ""

    def print_no_further(self) -> None:
        """Leave what follows out on paper."""
        self._printed = self.columns, self.width

    def finish(self, rows: int = 0) -> None:
        """Set up for printing, scaled to the width of one page, or of two if it is very wide; rows: how many months or
        ages, where not all are printed."""
        columns, width = self._printed or (self.columns, self.width)
        pages_wide = min(max(1, math.ceil(width / PAGE_WIDTH)), 2)  # wider is scaled down
        pages_tall = max(1, math.ceil((rows or self.last) / PAGE_ROWS))
        heads = (FIRST - 2, FIRST - 1)
        self.sheet.print_setup(heads=heads, labels=self._labels, pages_wide=pages_wide, pages_tall=pages_tall)
        if self._printed or rows:
            self.sheet.worksheet.print_area(0, 0, FIRST + min(rows or self.last, self.last), columns - 1)


def text_lines(text: str, *, width: float, size: float = 10) -> int:
    """How many lines a text takes, at least 1, wrapped in a cell so many characters wide in a font of so many points.

    Taken for a wide font, so that a row is rather too tall than clipped.

    >>> text_lines("Short.", width=40), text_lines("one two three four", width=10)
    (1, 2)
    """
    per_line = max(1, int(width * 10 / size * _LETTERS_PER_WIDTH))
    return sum(max(1, len(textwrap.wrap(part, per_line))) for part in text.split("\n"))
