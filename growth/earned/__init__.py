"""What a giveaway earned: a ledger of pieces, days and buyers, and what can be read off it."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from growth.earned.earnings import report
    from growth.earned.earnings_text import report_text
    from growth.earned.interval import Interval
    from growth.earned.ledger import Ledger
    from growth.earned.ledger_csv import read_csv
    from growth.earned.ledger_files import LedgerError
    from growth.earned.piece_report import EarningsReport, PieceReport, compare
    from growth.earned.sign_up_ages import value_by_age
    from growth.earned.to_scenario import into_channel, measured

_HOMES = {
    "EarningsReport": "piece_report",
    "Interval": "interval",
    "Ledger": "ledger",
    "LedgerError": "ledger_files",
    "PieceReport": "piece_report",
    "compare": "piece_report",
    "into_channel": "to_scenario",
    "measured": "to_scenario",
    "read_csv": "ledger_csv",
    "report": "earnings",
    "report_text": "earnings_text",
    "value_by_age": "sign_up_ages",
}

__all__ = [
    "EarningsReport",
    "Interval",
    "Ledger",
    "LedgerError",
    "PieceReport",
    "compare",
    "into_channel",
    "measured",
    "read_csv",
    "report",
    "report_text",
    "value_by_age",
]


def __getattr__(name: str) -> Any:  # loaded when first asked for: the command line looks in without loading SciPy
    if name not in _HOMES:
        raise AttributeError(f"module 'growth.earned' has no attribute {name!r}")
    return getattr(import_module(f"growth.earned.{_HOMES[name]}"), name)
