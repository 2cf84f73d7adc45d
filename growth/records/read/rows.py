"""The rows of the records once they are read: customers are numbers, and nothing of an identifier is left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.records.read.unreadable import Unreadable
from growth.records.read.values import LAST_DAY


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Rows in the order of the file; arrays of shape (rows,) but for `joined`. Months count from 1970-01.

    customer: int32, numbered 0, 1, 2, ... as the file first names them. month: int16, the first month a row pays for;
    span: int8, how many months it pays for (1 in the shape of months); made: int16, the month of the row's own date.
    amount: what is paid for the whole span, in major units of `currency`: negative for a refund, 0 for a trial or a
    free month. plan: int16, index into `plans`. yearly: billed by the year.
    joined: int32, shape (customers,), the month each customer came, NONE if not said; None if no row says.
    charges: the shape, True for charges and False for months. last_day: the latest date, days since 1970.
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
