"""A scenario as a workbook with live formulas."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from growth.spreadsheet.workbook import spreadsheet, write_spreadsheet

__all__ = ["spreadsheet", "write_spreadsheet"]  # loaded on first use, so that the command line starts fast


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'growth.spreadsheet' has no attribute {name!r}")
    return getattr(import_module("growth.spreadsheet.workbook"), name)
