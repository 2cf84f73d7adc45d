"""One row from several files: views from one export, sign-ups from another, costs from a third."""

from __future__ import annotations

from growth.earned.ledger_files import THOUSANDTHS, FileKind, Row
from growth.errors import Problem

_IN_PARTS = ("pieces", "days")  # a buyer's row comes whole: who bought what is not put together from two files


def merged(kind: FileKind, there: Row, row: Row, given: frozenset[str]) -> Row:
    """The row of a file with what the ledger holds for the columns that the file does not have.

    >>> from growth.earned.ledger_files import KINDS
    >>> sign_ups = ("a-piece", "2026-03-02", 0, 0, 9)
    >>> merged(KINDS["days"], ("a-piece", "2026-03-02", 310, 0, 0), sign_ups, frozenset({"piece", "day", "sign_ups"}))
    ('a-piece', '2026-03-02', 310, 0, 9)
    """
    if kind.name not in _IN_PARTS:
        return row
    return tuple(
        new if column.name in given else old for column, old, new in zip(kind.columns, there, row, strict=True)
    )


def completes(kind: FileKind, there: Row, row: Row) -> bool:
    """Whether a row only fills in what the ledger holds as empty, or as 0, and contradicts nothing.

    >>> from growth.earned.ledger_files import KINDS
    >>> there = ("a-piece", "2026-03-02", 310, 0, 0)
    >>> completes(KINDS["days"], there, ("a-piece", "2026-03-02", 310, 0, 9))
    True
    >>> completes(KINDS["days"], there, ("a-piece", "2026-03-02", 311, 0, 9))
    False
    """
    return kind.name in _IN_PARTS and all(
        old == new or (column.empty is not None and old == column.empty)
        for column, old, new in zip(kind.columns, there, row, strict=True)
    )


def contradiction(kind: FileKind, there: Row, row: Row, line: int) -> Problem:
    """What to say of a row that the ledger holds otherwise."""
    column, before, after = next(
        (column, a, b) for column, a, b in zip(kind.columns, there, row, strict=True) if a != b
    )
    if column.is_money:
        before, after = (f"{float(value) / THOUSANDTHS:g}" for value in (before, after))
    rule = f"what the ledger holds already, {before}"
    month = str(row[kind.place(kind.day)])[:7]
    return Problem(column.name, rule, str(after), f"To correct that month, add --correct {month}.", line)
