"""The rows of the records once read: customers are numbers, and nothing of an identifier is left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.records.cells import LAST_DAY
from growth.records.unreadable import Unreadable

ROW = np.dtype(
    [("amount", "f8"), ("month", "i2"), ("made", "i2"), ("plan", "i2"), ("span", "i1"), ("yearly", "?")]
)  # 16 bytes, so that a row moves at once
WHOLE = np.dtype(("V", ROW.itemsize))  # a row as so many bytes: NumPy would copy its fields one by one
NOT_SAID = -1  # in the place of a month


@dataclass(frozen=True, slots=True, eq=False)
class Shelf:
    """Some customers, with all of their rows.

    pieces: where in each block the rows are. order: int32, of those rows, sorted by customer, each customer's in the
    order of the file. opens: where in that order each customer's begin. customer: int32, their numbers.
    """

    pieces: tuple[slice, ...]
    order: np.ndarray
    opens: np.ndarray
    customer: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """The rows, in the blocks in which they were read. Amounts are in `currency`, major units; months count from
    1970-01; customers are numbered 0, 1, 2, ... as the file first names them.

    blocks:  arrays of type ROW, one entry a row, of which is kept:
             month: the first month the row pays for; span: how many months it pays for (1 in the shape of months);
             made: the month of the row's own date; amount: what is paid for the whole span, negative for a refund, 0
             for a trial or a free month; plan: a place in `plans`; yearly: billed by the year.
    shelves: the order of the rows by customer; `on` gives the rows of one.
    joined:  the month each customer came, shape (customers,), NOT_SAID if not said; None if no row says.
    total:   the sum of all amounts, added up in the order of the file.
    charges: the shape: True for charges, False for a customer's months. first_month: the earliest that is paid for;
    last_day: the latest date, days since 1970.
    """

    blocks: tuple[np.ndarray, ...]
    shelves: tuple[Shelf, ...]
    joined: np.ndarray | None
    plans: tuple[str, ...]
    currency: str
    total: float
    charges: bool
    first_month: int
    last_day: int
    unreadable: Unreadable

    @property
    def size(self) -> int:
        """How many rows there are."""
        return sum(block.size for block in self.blocks)

    @property
    def customers(self) -> int:
        """How many customers the rows name."""
        return sum(shelf.customer.size for shelf in self.shelves)

    def on(self, shelf: Shelf) -> tuple[np.ndarray, np.ndarray]:
        """The customers (int32) and the rows of a shelf, one entry a row, each customer's beside each other."""
        pieces = [block.view(WHOLE)[piece] for block, piece in zip(self.blocks, shelf.pieces, strict=True)]
        sizes = np.diff(np.append(shelf.opens, shelf.order.size))
        return np.repeat(shelf.customer, sizes), np.concatenate(pieces).take(shelf.order).view(ROW)


def months_of(days: np.ndarray) -> np.ndarray:
    """Months since 1970-01 of days since 1970-01-01, int16, up to the year 2199; NOT_SAID for any day before.

    >>> months_of(np.array([0, 31, NOT_SAID])).tolist()
    [0, 1, -1]
    """
    return _MONTH_OF_DAY.take(np.maximum(days, -1))


_MONTH_OF_DAY = np.append(np.arange(LAST_DAY + 1).astype("M8[D]").astype("M8[M]").astype(np.int16), np.int16(NOT_SAID))
