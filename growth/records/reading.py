"""Reading records, block by block: whole columns at once, and row by row where something is odd, so that each fault is
named.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from growth.errors import Problem
from growth.records.columns import Columns
from growth.records.csv_blocks import csv_blocks
from growth.records.found import Found
from growth.records.identity import Numbering, keyed
from growth.records.part import LISTED, Part
from growth.records.rows import Rows
from growth.records.table_blocks import table_blocks
from growth.records.unreadable import RecordsError, Unreadable

MOST_WORDS = 30_000  # plans that are told apart


def read_records(
    path: str | Path, *, columns: Columns | None = None, leave_out: int = 0, key: bytes | None = None
) -> Rows:
    """The rows of a CSV or Parquet file (told by the ending .parquet).

    columns: what the columns are called; None where they have our own names. leave_out: how many unreadable rows may be
    left out. key: of the hashes that stand for customers; None draws a new one, so that hashes of two runs cannot be
    matched. Raises RecordsError: no such columns, no rows, more unreadable rows than `leave_out`, several currencies
    without rates.
    """
    path, file, columns = Path(path), str(path), columns or Columns()
    if not path.is_file():
        raise RecordsError([Problem("", "there is no such file", fix="Check the name and the folder.")], file=file)
    key = secrets.token_bytes(32) if key is None else key
    blocks = table_blocks if file.lower().endswith(".parquet") else csv_blocks
    rows, unreadable = _gathered(blocks(path, columns, key=key))
    unreadable.stop_above(leave_out, file=file)
    if not rows.size:
        raise RecordsError([Problem("", "at least one row that can be read", "none")], file=file)
    return _rows(rows, columns, unreadable, key=key, file=file)


class _Growing:
    """The rows of all parts so far, in arrays with room for all that may come: memory is taken as it is filled."""

    def __init__(self, room: int):
        self.room, self.size, self.last_day, self.charges = room, 0, 0, True
        self.customers = Numbering()
        self.arrays: dict[str, np.ndarray] = {}
        self.lists: dict[str, dict[str, int]] = {name: {} for name in LISTED}

    def add(self, part: Part) -> None:
        """Add the rows of a part."""
        values = dict(part.values)
        values["customer"] = self.customers.numbers(values.pop("a"), values.pop("b"))
        for name, words in part.lists.items():
            whole = self.lists[name]
            if len(whole) + len(words) > MOST_WORDS:
                rule = f"at most {MOST_WORDS:,} different ones"
                raise RecordsError([Problem(name, rule, "more", "Leave the column out, or group them.")])
            places = np.array([whole.setdefault(word, len(whole)) for word in words], np.int16)
            values[name] = places[values[name]] if places.any() else values[name]
        start, self.size = self.size, self.size + values["customer"].size
        for name, found in values.items():
            if name not in self.arrays:
                self.arrays[name] = np.zeros(self.room, found.dtype)
            if found.any():
                self.arrays[name][start : self.size] = found
        self.last_day, self.charges = max(self.last_day, part.last_day), part.charges

    def of(self, name: str) -> np.ndarray | None:
        """One array, None where no part has it."""
        return self.arrays[name][: self.size] if name in self.arrays else None


def _gathered(blocks: Iterator[Found]) -> tuple[_Growing, Unreadable]:
    first = next(blocks)
    rows, unreadable, lines = _Growing(first.most_rows), first.unreadable, first.lines
    for found in blocks:
        for part in found.parts:
            rows.add(part)
        unreadable.include(found.unreadable, after=lines)
        lines += found.lines
    return rows, unreadable


def _rows(rows: _Growing, columns: Columns, unreadable: Unreadable, *, key: bytes, file: str) -> Rows:
    currency, factor = _currency(tuple(rows.lists["currency"]) or ("",), columns, file=file)
    amount, code, plan = rows.of("amount"), rows.of("currency"), rows.of("plan")
    if columns.amounts == "minor":
        amount /= 100
    if any(rate != 1 for rate in factor):
        amount *= factor[0] if code is None else np.asarray(factor)[code]
    return Rows(
        rows.of("customer"),
        rows.of("month"),
        rows.of("span"),
        amount,
        rows.of("yearly"),
        np.zeros(rows.size, np.int16) if plan is None else plan,
        rows.of("joined"),
        tuple(rows.lists["plan"]) or ("all",),
        keyed(*rows.customers.known, key=key),
        currency,
        rows.charges,
        rows.last_day,
        unreadable,
    )


def _currency(found: tuple[str, ...], columns: Columns, *, file: str) -> tuple[str, list[float]]:
    """The currency of the amounts, and the factor of each currency found. Raises RecordsError without a rate."""
    named = sorted({code or columns.currency or "EUR" for code in found})
    ours = columns.currency or (named[0] if len(named) == 1 else "")
    if not ours:
        fix = "Say in the file for --columns which one to convert to (currency) and the rates."
        raise RecordsError([Problem("currency", "one currency, or rates", ", ".join(named[:6]), fix)], file=file)
    rates = {**columns.rates, ours: 1.0}
    if missing := [code for code in named if code not in rates]:
        fix = f"Add rates: {{{missing[0]}: ...}}, how many {ours} one {missing[0]} is."
        raise RecordsError([Problem("rates", f"a rate to {ours} for each currency", missing[0], fix)], file=file)
    return ours, [rates[code or ours] for code in found] or [1.0]
