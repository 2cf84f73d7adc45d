"""A scenario as a workbook with live formulas."""

from growth.spreadsheet.workbook import spreadsheet, write_spreadsheet

__all__ = ["spreadsheet", "write_spreadsheet"]
