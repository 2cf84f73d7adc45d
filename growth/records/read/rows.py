"""The rows of the records once they are read: customers are numbers, and nothing of an identifier is left.

Rows that cannot be read are counted by kind, with their first lines; no value of a row is ever shown.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa

from growth.errors import GrowthError, Problem, count_of
from growth.records.read.values import LAST_DAY

FIRST_LINES = 5  # named of each kind


class RecordsError(GrowthError):
    """Records that cannot be used: a missing column, unreadable rows, a currency without a rate."""


@dataclass(slots=True)
class Unreadable:
    """Counts of unreadable rows by kind, with the first lines of each. Lines count from 1, the header is line 1.

    >>> rows = Unreadable()
    >>> rows.add("no customer", 7)
    >>> rows.add("no customer", 9)
    >>> str(rows)
    'no customer: 2 rows, first in lines 7, 9'
    """

    counts: Counter[str] = field(default_factory=Counter)
    lines: dict[str, list[int]] = field(default_factory=dict)

    def add(self, kind: str, line: int) -> None:
        """Count a row of this kind, found in this line."""
        self.counts[kind] += 1
        first = self.lines.setdefault(kind, [])
        if len(first) < FIRST_LINES:
            first.append(line)

    @property
    def total(self) -> int:
        """How many rows cannot be read."""
        return sum(self.counts.values())

    def stop_above(self, leave_out: int, *, file: str) -> None:
        """Raise RecordsError, with a problem for each kind, if more rows than `leave_out` cannot be read."""
        if self.total <= leave_out:
            return
        advice = f"Mend them, or leave them out knowingly: --leave-out {self.total}."
        summary = Problem("", f"at most {leave_out} unreadable rows may be left out", f"{self.total}", advice)
        kinds = [Problem("", line, line=self.lines[kind][0]) for kind, line in self._described()]
        raise RecordsError([summary, *kinds], file=file)

    def _described(self) -> list[tuple[str, str]]:
        return [
            (
                kind,
                f"{kind}: {count_of(count, 'row')}, first in {'line' if count == 1 else 'lines'} "
                + ", ".join(map(str, self.lines[kind])),
            )
            for kind, count in self.counts.most_common()
        ]

    def __str__(self) -> str:
        return "\n".join(text for _, text in self._described())


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Consecutive rows of a file before they are interpreted.

    columns: by our names, from `encoded`. lines: int, shape (rows,), the line of each row, counted from 1. faults: line
    and kind of fault of rows that could not be split into columns; they are not in `columns`.
    """

    columns: dict[str, pa.DictionaryArray]
    lines: np.ndarray
    faults: list[tuple[int, str]]


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Rows in the order of the file; arrays of shape (rows,) but for `joined`. Months count from 1970-01.

    customer: int32, numbered 0, 1, 2, ... as the file first names them. month: int16, the first month a row pays for;
    span: int8, how many months it pays for (1 in the shape of months); made: int16, the month of the row's own date.
    amount: what is paid for the whole span, in major units of `currency`: negative for a refund, 0 for a trial or a
    free month. plan: int16, index into `plans`. yearly: billed by the year.
    joined: int32, shape (customers,), the month each customer came, NONE if not said; None if no row says.
    notes: what was read otherwise than somebody might think, in sentences.
    charges: the shape, True for charges and False for months. last_day: the latest date, days since 1970.
    failed: int32, shape (payments, 2), customer and month of each payment that failed; None if nothing tells.
    ends_known: the records say who left, so that a gap is a departure, as in a table of subscriptions.
    """

    customer: np.ndarray
    month: np.ndarray
    span: np.ndarray
    made: np.ndarray
    amount: np.ndarray
    plan: np.ndarray
    yearly: np.ndarray
    joined: np.ndarray | None
    plans: tuple[str, ...]
    currency: str
    customers: int
    charges: bool
    last_day: int
    unreadable: Unreadable
    notes: tuple[str, ...] = ()
    ends_known: bool = False
    failed: np.ndarray | None = None

    @property
    def size(self) -> int:
        """How many rows there are."""
        return self.customer.size

    @property
    def total(self) -> float:
        """The sum of all amounts."""
        return float(self.amount.sum())


def months_of(days: np.ndarray) -> np.ndarray:
    """Return the months since 1970-01 of days since 1970-01-01, up to the year 2199; int16, -1 for NONE.

    >>> months_of(np.array([0, 31, -(2**31)])).tolist()
    [0, 1, -1]
    """
    return _MONTH_OF_DAY.take(np.maximum(days, -1))  # -1 takes the last one


_MONTH_OF_DAY = np.append(np.arange(LAST_DAY + 1).astype("M8[D]").astype("M8[M]").astype(np.int16), np.int16(-1))


def encoded(column: pa.Array) -> pa.DictionaryArray:
    """Return a column of any type as a dictionary of distinct texts (binary); a missing value becomes "".

    >>> texts = encoded(pa.array(["a", "b", None, "a"]))
    >>> texts.dictionary.to_pylist(), texts.indices.to_pylist()
    ([b'a', b'b', b''], [0, 1, 2, 0])
    """
    if not pa.types.is_dictionary(column.type):
        try:
            column = column.dictionary_encode(null_encoding="encode")
        except (pa.ArrowNotImplementedError, pa.ArrowInvalid):  # a nested type
            column = pa.array([str(value) for value in column.to_pylist()], pa.string()).dictionary_encode()
    elif column.null_count:
        return encoded(column.dictionary_decode())
    return pa.DictionaryArray.from_arrays(column.indices.cast(pa.int32()), _as_binary(column.dictionary))


def _as_binary(values: pa.Array) -> pa.Array:
    kind = values.type
    if not (pa.types.is_string(kind) or pa.types.is_binary(kind)):
        try:
            values = values.cast(pa.string())
        except (pa.ArrowNotImplementedError, pa.ArrowInvalid):
            values = pa.array([None if value is None else str(value) for value in values.to_pylist()], pa.string())
    return values.cast(pa.binary()).fill_null(b"")
