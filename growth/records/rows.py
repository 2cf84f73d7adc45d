"""The rows of the records once read: arrays of equal length, customers as numbers, identifiers as keyed hashes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.records.cells import LAST_DAY, NONE
from growth.records.identity import digests, keyed
from growth.records.unreadable import Unreadable


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """One entry a row of the records. Amounts are in `currency`, major units; months count from 1970-01.

    customer: int32, 0-based; hashes: keyed hash of each customer, shape (customers,), 16 bytes each.
    month:    the first month the row pays for; span: how many months it pays for (1 in the shape of months).
    amount:   what is paid for the whole span, negative for a refund; 0 for a trial or a free month.
    yearly:   billed by the year. plan: int16, places in `plans`. joined: the month the customer came, NONE if not said.
    charges:  the shape: True for charges, False for a customer's months. last_day: the latest date, days since 1970.
    """

    customer: np.ndarray
    month: np.ndarray
    span: np.ndarray
    amount: np.ndarray
    yearly: np.ndarray
    plan: np.ndarray
    joined: np.ndarray | None
    plans: tuple[str, ...]
    hashes: np.ndarray
    currency: str
    charges: bool
    last_day: int
    unreadable: Unreadable

    @property
    def customers(self) -> int:
        """How many customers the rows name."""
        return self.hashes.size

    @property
    def total(self) -> float:
        """The sum of all amounts."""
        return float(self.amount.sum())


def hashed(identifiers: list[str], *, key: bytes) -> np.ndarray:
    """A keyed hash of each identifier, 16 bytes: the same for the same key, nothing without it. See `identity`.

    >>> bool(hashed(["a"], key=b"one")[0] == hashed(["a"], key=b"two")[0])
    False
    """
    import pyarrow as pa

    return keyed(*digests(pa.array(identifiers, pa.string()), key=key), key=key)


def months_of(days: np.ndarray) -> np.ndarray:
    """Months since 1970-01 of days since 1970-01-01, up to the year 2199; NONE stays NONE.

    >>> months_of(np.array([0, 31, NONE])).tolist() == [0, 1, NONE]
    True
    """
    if days.size and days.min() == NONE:
        return np.where(days == NONE, NONE, _MONTH_OF_DAY[np.where(days == NONE, 0, days)].astype(np.int32))
    return _MONTH_OF_DAY[days]


_MONTH_OF_DAY = np.arange(LAST_DAY + 1).astype("M8[D]").astype("M8[M]").astype(np.int16)
