"""What a giveaway earned: a ledger of pieces, days and buyers, and what can honestly be read off it."""

from importlib import import_module

_HOMES = {
    "Interval": "interval",
    "Ledger": "ledger",
    "LedgerError": "columns",
    "PieceReport": "worth",
    "into_channel": "loop",
    "read_csv": "columns",
    "report": "worth",
    "report_text": "sentences",
}

__all__ = sorted(_HOMES)  # loaded when first asked for: the command line looks in without loading SciPy


def __getattr__(name: str):
    if name not in _HOMES:
        raise AttributeError(f"module 'growth.earned' has no attribute {name!r}")
    return getattr(import_module(f"growth.earned.{_HOMES[name]}"), name)
