"""A sheet of the workbook: formulas are put into its cells and handed back as references to them."""

from __future__ import annotations

import math
import re
from functools import cache
from typing import TYPE_CHECKING, Any

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
        """Writes a formula with its value; returns the reference to its cell."""
        self.worksheet.write_formula(
            row, column, "=" + self._here(formula.text), self.styles(style, kind), _stored(formula.value)
        )
        return self.cell(row, column, formula.value)

    def number(self, row: int, column: int, value: float, style: str = "cell", kind: str = "") -> Formula:
        """Writes a plain number; returns the reference to its cell."""
        self.worksheet.write_number(row, column, value, self.styles(style, kind))
        return self.cell(row, column, value)

    def text(self, row: int, column: int, text: str, style: str = "cell") -> Formula:
        """Writes a text, whatever it begins with; returns the reference to its cell."""
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
        """A reference as charts and names have it: with its sheet."""
        tag, _, cells = formula.text.rpartition("\x00")
        cells = _CELL.sub(r"$\1$\2", cells)
        return f"={quoted(self._names[int(tag[1:])])}!{cells}"


@cache
def letters(column: int) -> str:
    """The letters of a column, counted from 0.

    >>> letters(0), letters(25), letters(26), letters(16_383)
    ('A', 'Z', 'AA', 'XFD')
    """
    text = ""
    column += 1
    while column:
        column, letter = divmod(column - 1, 26)
        text = chr(ord("A") + letter) + text
    return text


def _place(row: int, column: int, fixed: str) -> str:
    before = "$" if fixed in ("column", "both") else ""
    return f"{before}{letters(column)}{'$' if fixed in ('row', 'both') else ''}{row + 1}"


def _stored(value: Any) -> Any:
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, str):
        return value
    return float(value) if math.isfinite(value) else "#N/A"
