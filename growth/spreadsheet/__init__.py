"""A scenario as a workbook with live formulas."""

from importlib import import_module

__all__ = ["spreadsheet", "write_spreadsheet"]  # loaded when first asked for: the command line only looks in


def __getattr__(name: str):
    if name not in __all__:
        raise AttributeError(f"module 'growth.spreadsheet' has no attribute {name!r}")
    return getattr(import_module("growth.spreadsheet.workbook"), name)
