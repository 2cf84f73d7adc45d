"""Reading records, block by block: whole columns at once, and row by row where something is odd, so that each fault is
named.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from growth.errors import Problem
from growth.records.columns import Columns
from growth.records.csv_blocks import csv_blocks
from growth.records.found import Found
from growth.records.grouping import shelved
from growth.records.identity import new_key
from growth.records.part import Part, check_plans
from growth.records.rows import Rows
from growth.records.table_blocks import table_blocks
from growth.records.unreadable import RecordsError, Unreadable


def read_records(path: str | Path, *, columns: Columns | None = None, leave_out: int = 0) -> Rows:
    """The rows of a CSV or Parquet file (told by the ending .parquet).

    columns: what the columns are called; None where they have our own names. leave_out: how many unreadable rows may be
    left out. Raises RecordsError: no such columns, no rows, more unreadable rows than `leave_out`, several currencies
    without rates.
    """
    path, file, columns = Path(path), str(path), columns or Columns()
    if not path.is_file():
        raise RecordsError([Problem("", "there is no such file", fix="Check the name and the folder.")], file=file)
    in_blocks = table_blocks if file.lower().endswith(".parquet") else csv_blocks
    try:
        parts, unreadable = _gathered(in_blocks(path, columns, key=new_key()))
        plans = _plans(parts)
    except RecordsError as error:
        raise RecordsError(error.problems, file=file) from None
    unreadable.stop_above(leave_out, file=file)
    if not parts:
        raise RecordsError([Problem("", "at least one row that can be read", "none")], file=file)
    currency = _currency(parts, columns, file=file)
    shelves, joined = shelved(parts)
    return Rows(
        tuple(part.records for part in parts),
        shelves,
        joined,
        plans,
        currency,
        sum(part.total for part in parts),
        parts[0].charges,
        min(part.first_month for part in parts),
        max(part.last_day for part in parts),
        unreadable,
    )


def _gathered(blocks: Iterator[Found]) -> tuple[list[Part], Unreadable]:
    parts, unreadable, lines = [], Unreadable(), 0
    for found in blocks:
        parts += found.parts
        unreadable.include(found.unreadable, after=lines)
        lines += found.lines
    return parts, unreadable


def _plans(parts: list[Part]) -> tuple[str, ...]:
    """The plans of all parts, in the order in which they come; those of the records become places among them."""
    whole: dict[str, int] = {}
    for part in parts:
        for plan in part.plans:
            whole.setdefault(plan, len(whole))
        check_plans(len(whole))
        places = np.array([whole[plan] for plan in part.plans], np.int16)
        if (places != np.arange(places.size)).any():
            part.records["plan"] = places[part.records["plan"]]
    return tuple(whole)


def _currency(parts: list[Part], columns: Columns, *, file: str) -> str:
    """The currency of the amounts. Raises RecordsError where there are several, or one without a rate."""
    named = sorted({code or columns.currency or "EUR" for part in parts for code in part.currencies})
    ours = columns.currency or (named[0] if len(named) == 1 else "")
    if not ours:
        fix = "Say in the file for --columns which one to convert to (currency) and the rates."
        raise RecordsError([Problem("currency", "one currency, or rates", ", ".join(named[:6]), fix)], file=file)
    if missing := [code for code in named if code not in {*columns.rates, ours}]:
        fix = f"Add rates: {{{missing[0]}: ...}}, how many {ours} one {missing[0]} is."
        raise RecordsError([Problem("rates", f"a rate to {ours} for each currency", missing[0], fix)], file=file)
    return ours
