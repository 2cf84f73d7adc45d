"""The rows of the records once read: arrays of equal length, customers as numbers, identifiers as keyed hashes."""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import blake2b

import numpy as np

from growth.errors import Problem
from growth.records.cells import NONE
from growth.records.columns import Columns
from growth.records.unreadable import RecordsError, Unreadable

MEAN_MONTH = 365.2425 / 12  # days of an average month of the calendar


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


def hashed(identifiers: list[str] | list[bytes], *, key: bytes) -> np.ndarray:
    """A keyed hash of each identifier (BLAKE2b, RFC 7693, 16 bytes): the same for the same key, nothing without it.

    >>> bool(hashed(["a"], key=b"one")[0] == hashed(["a"], key=b"two")[0])
    False
    """
    start = blake2b(key=key[:64], digest_size=16)
    digests = bytearray()
    for identifier in identifiers:
        one = start.copy()
        one.update(identifier if isinstance(identifier, bytes) else identifier.encode("utf-8", "surrogatepass"))
        digests += one.digest()
    return np.frombuffer(bytes(digests), dtype="V16")


def made_rows(
    values: dict[str, np.ndarray],
    *,
    identifiers: list[str] | list[bytes],
    plans: tuple[str, ...],
    currencies: tuple[str, ...],
    columns: Columns,
    charges: bool,
    unreadable: Unreadable,
    key: bytes,
    file: str,
) -> Rows:
    """Rows from the columns as read: dates in days since 1970, plans and currencies as places in their lists."""
    currency, factor = _currency(currencies, columns, file=file)
    amount = values["amount" if charges else "mrr"]
    if columns.amounts == "minor":
        amount = amount / 100
    if any(rate != 1 for rate in factor):
        amount = amount * np.asarray(factor)[values["currency"]]
    day = values["date" if charges else "month"]
    start, span = day, values.get("months")
    if "period_start" in values:
        start = np.where(values["period_start"] == NONE, day, values["period_start"])
    if charges and span is None:
        span = np.ones(day.size, np.int16)
        if "period_end" in values:
            days = np.where(values["period_end"] == NONE, MEAN_MONTH, values["period_end"] - start)
            span = np.clip(np.rint(days / MEAN_MONTH), 1, 60).astype(np.int16)
    if not charges:
        span = np.ones(day.size, np.int16)
    yearly = span >= 12 if charges else values.get("billing", span) >= 12
    plan = values.get("plan", np.zeros(day.size, np.int16))
    joined = values.get("joined")
    return Rows(
        values["customer"],
        months_of(start),
        span,
        amount,
        yearly,
        plan,
        None if joined is None else months_of(joined),
        plans or ("all",),
        hashed(identifiers, key=key),
        currency,
        charges,
        int(day.max(initial=0)),
        unreadable,
    )


def months_of(days: np.ndarray) -> np.ndarray:
    """Months since 1970-01 of days since 1970-01-01; NONE stays NONE."""
    said = days != NONE
    first, last = (int(days.min()), int(days.max())) if said.all() else (0, int(days.max(initial=0)))
    table = np.arange(first, last + 1).astype("M8[D]").astype("M8[M]").astype(np.int32)
    return (
        table[days - np.int32(first)]
        if said.all()
        else np.where(said, table[np.where(said, days - first, 0)], NONE).astype(np.int32)
    )


def _currency(found: tuple[str, ...], columns: Columns, *, file: str) -> tuple[str, list[float]]:
    """The currency of the amounts, and the factor of each currency found. Raises RecordsError where a rate is needed."""
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
