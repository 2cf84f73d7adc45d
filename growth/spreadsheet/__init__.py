"""A scenario as a workbook with live formulas."""

from growth.lazy import public_names

__getattr__, __dir__ = public_names(__name__)
