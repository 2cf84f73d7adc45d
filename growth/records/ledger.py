"""From rows to who paid how much in which month: charges spread over the months they pay for, refunds set against them.

No money is lost on the way: the MRR of all months + what is paid ahead + refunds that match no charge = the sum of
the rows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.errors import Problem
from growth.records.cells import NONE
from growth.records.rows import Rows
from growth.records.unreadable import RecordsError

MOST_MONTHS = 600  # that records may span


@dataclass(frozen=True, slots=True, eq=False)
class Ledger:
    """One entry a customer and month with MRR above 0, sorted by customer, then month. Month 0 is `first_month`.

    customer, month: int32; mrr: major units; kind: int16, places in `kinds`, each (plan, "monthly" or "yearly").
    joined: per customer, the month it came where the rows say so (may be negative), else NONE; None where no row says.
    paid_ahead: money for months after the last; unmatched_refunds: refunds (negative) beyond what a customer had paid.
    signed_up, converted: per customer, the month of the first row of amount 0 before any paid one, and of the first
    paid month; NONE where there is none.
    """

    rows: Rows
    customer: np.ndarray
    month: np.ndarray
    mrr: np.ndarray
    kind: np.ndarray
    kinds: tuple[tuple[str, str], ...]
    first_month: np.datetime64
    months: int
    joined: np.ndarray | None
    paid_ahead: float
    unmatched_refunds: float
    signed_up: np.ndarray
    converted: np.ndarray
    notes: tuple[str, ...]


def ledger(rows: Rows, *, until: str | None = None) -> Ledger:
    """The ledger of the rows, up to and with the month `until` ("2025-12"); None takes the month of the latest date.

    Raises RecordsError where the records span more than 600 months or hold nothing up to `until`.
    """
    first = int(rows.month.min())
    last = int(np.datetime64(rows.last_day, "D").astype("M8[M]").astype(int))
    last = last if until is None else int(np.datetime64(until, "M").astype(int))
    if last < first:
        raise RecordsError(
            [Problem("until", f"a month not before the first of the records ({_month(first)})", str(until))]
        )
    if last - first >= MOST_MONTHS:
        problem = Problem(
            "",
            f"records of at most {MOST_MONTHS} months",
            f"{_month(first)} to {_month(last)}",
            "A single stray date may be to blame; --until sets the last month.",
        )
        raise RecordsError([problem])
    span, paid_ahead = last - first + 1, 0.0
    customer, month, amount, kind, names = _spread(rows, first)
    inside = month < span
    if not inside.all():
        paid_ahead = float(amount[~inside].sum())
        customer, month, amount, kind = customer[inside], month[inside], amount[inside], kind[inside]
    paying = amount != 0
    signed_up = _earliest(customer[~paying], month[~paying], rows.customers)
    if not paying.all():
        customer, month, amount, kind = customer[paying], month[paying], amount[paying], kind[paying]
    customer, month, mrr, kind = _gathered(customer, month, amount, kind, rows.customers, span)
    mrr, unmatched = _refunds_back(customer, mrr)
    there = mrr > 0
    if not there.all():
        customer, month, mrr, kind = customer[there], month[there], mrr[there], kind[there]
    converted = np.full(rows.customers, NONE, np.int32)
    opens = changes(customer)
    converted[customer[opens]] = month[opens]
    signed_up[(converted != NONE) & (signed_up > converted)] = NONE
    return Ledger(
        rows,
        customer,
        month,
        mrr,
        kind,
        names,
        np.datetime64(first, "M"),
        span,
        _joined(rows, first),
        paid_ahead,
        unmatched,
        signed_up,
        converted,
        _notes(rows, until, paid_ahead, unmatched),
    )


def _month(number: int) -> str:
    return str(np.datetime64(number, "M"))


def _spread(rows: Rows, first: int) -> tuple:
    """Each row's amount in equal parts over the months it pays for."""
    kinds = rows.plan * np.int16(2) + rows.yearly
    used = np.flatnonzero(np.bincount(kinds))
    names = tuple((rows.plans[place // 2], "yearly" if place % 2 else "monthly") for place in used.tolist())
    kind = (np.cumsum(np.bincount(kinds) > 0) - 1).astype(np.int16)[kinds]
    month = rows.month - np.int32(first)
    longer = rows.span > 1
    if not longer.any():
        return rows.customer, month, rows.amount, kind, names
    at = np.flatnonzero(longer).astype(np.int32)
    times = rows.span[at].astype(np.int32)
    offset = np.arange(times.sum(), dtype=np.int32) - np.repeat(np.cumsum(times, dtype=np.int32) - times, times)
    once, join = ~longer, np.concatenate
    return (
        join([rows.customer[once], np.repeat(rows.customer[at], times)]),
        join([month[once], np.repeat(month[at], times) + offset]),
        join([rows.amount[once], np.repeat(rows.amount[at] / times, times)]),
        join([kind[once], np.repeat(kind[at], times)]),
        names,
    )


def _gathered(
    customer: np.ndarray, month: np.ndarray, amount: np.ndarray, kind: np.ndarray, customers: int, span: int
) -> tuple:
    """Sums by customer and month, sorted."""
    if not customer.size:
        return customer, month, amount, kind
    order = _counting_sort(customer, customers)
    if not _in_order(customer[order], month[order]):
        by_month = _counting_sort(month, span)
        order = by_month[_counting_sort(customer[by_month], customers)]
    customer, month = customer[order], month[order]
    opens = np.flatnonzero(changes(customer) | changes(month))
    if opens.size == customer.size:
        return customer, month, amount[order], kind[order]
    return customer[opens], month[opens], np.add.reduceat(amount[order], opens), np.maximum.reduceat(kind[order], opens)


def _counting_sort(values: np.ndarray, size: int) -> np.ndarray:
    """The stable order of whole numbers below `size`, linear in their count: a sparse matrix turned from columns to
    rows.
    """
    from scipy.sparse import csc_array

    entries = np.arange(values.size + 1, dtype=np.int32)
    return csc_array((np.ones(values.size, np.int8), values, entries), shape=(size, values.size)).tocsr().indices


def _in_order(customer: np.ndarray, month: np.ndarray) -> bool:
    return bool(((month[1:] >= month[:-1]) | (customer[1:] != customer[:-1])).all())


def changes(values: np.ndarray) -> np.ndarray:
    """Whether each value differs from the one before it; the first does.

    >>> changes(np.array([4, 4, 7])).tolist()
    [True, False, True]
    """
    different = np.ones(values.size, bool)
    np.not_equal(values[1:], values[:-1], out=different[1:])
    return different


def _refunds_back(customer: np.ndarray, mrr: np.ndarray) -> tuple[np.ndarray, float]:
    """Where refunds exceed what a month paid, the rest is set against the customer's month before, and so on
    backwards.
    """
    mrr = np.where(np.abs(mrr) < 1e-9 * max(np.abs(mrr).max(initial=0), 1), 0, mrr) if (mrr <= 0).any() else mrr
    follows = ~changes(customer)
    below = np.flatnonzero((mrr < 0) & follows)
    while below.size:
        excess = mrr[below]
        mrr[below] = 0.0
        np.add.at(mrr, below - 1, excess)
        below = np.unique(below - 1)
        below = below[(mrr[below] < 0) & follows[below]]
    unmatched = float(mrr[mrr < 0].sum())
    return mrr, unmatched


def _earliest(customer: np.ndarray, month: np.ndarray, customers: int) -> np.ndarray:
    earliest = np.full(customers, np.iinfo(np.int32).max, np.int32)
    np.minimum.at(earliest, customer, month)
    earliest[earliest == np.iinfo(np.int32).max] = NONE
    return earliest


def _joined(rows: Rows, first: int) -> np.ndarray | None:
    if rows.joined is None:
        return None
    said = rows.joined != NONE
    joined = _earliest(rows.customer[said], rows.joined[said], rows.customers)
    return np.where(joined == NONE, NONE, joined - first).astype(np.int32)


def _notes(rows: Rows, until: str | None, paid_ahead: float, unmatched: float) -> tuple[str, ...]:
    notes = []
    day = np.datetime64(rows.last_day, "D")
    if rows.charges and until is None and (day + 4).astype("M8[M]") == day.astype("M8[M]"):
        notes.append(
            f"the latest charge is of {day}: where that month is not over yet, customers still to be charged look as if "
            "they had left; --until takes an earlier month as the last"
        )
    if paid_ahead:
        notes.append(f"{paid_ahead:,.2f} {rows.currency} is paid for months after the last")
    if unmatched:
        notes.append(f"{unmatched:,.2f} {rows.currency} of refunds match no charge and are set apart")
    return tuple(notes)
