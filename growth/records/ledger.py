"""From rows to who paid how much in which month: charges spread over the months they pay for, refunds set against them.

No money is lost on the way: the MRR of all months + what is paid ahead + refunds that match no charge = the sum of
the rows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import chain
from math import fsum

import numpy as np

from growth.errors import Problem
from growth.records.cells import NONE
from growth.records.order import changes
from growth.records.rows import NOT_SAID, Rows
from growth.records.stretches import Paid, Stretches, by_customer, single_months, stretches_of
from growth.records.unreadable import RecordsError

MOST_MONTHS = 600  # that records may span


@dataclass(frozen=True, slots=True, eq=False)
class Ledger:
    """Who pays how much in which month, as `stretches` of months with MRR above 0. Month 0 is `first_month`.

    customer, month, mrr and kind are the same with one entry a customer and month; kind: int32, places in `kinds`, each
    (plan, "monthly" or "yearly"). joined: per customer, the month it came where the rows say so (may be negative), else
    NONE; None where no row says. paid_ahead: money for months after the last; unmatched_refunds: refunds (negative)
    beyond what a customer had paid. signed_up, converted: per customer, the month of the first row of amount 0 before
    any paid one, and of the first paid month; NONE where there is none.
    """

    rows: Rows
    stretches: Stretches
    kinds: tuple[tuple[str, str], ...]
    first_month: np.datetime64
    months: int
    joined: np.ndarray | None
    paid_ahead: float
    unmatched_refunds: float
    signed_up: np.ndarray
    converted: np.ndarray
    notes: tuple[str, ...]

    @property
    def customer(self) -> np.ndarray:
        """The customer of each customer and month, int32."""
        return np.repeat(self.stretches.customer, self.stretches.length)

    @property
    def month(self) -> np.ndarray:
        """The month, int32, sorted within each customer."""
        return single_months(self.stretches).start

    @property
    def mrr(self) -> np.ndarray:
        """The MRR, major units, above 0."""
        return np.repeat(self.stretches.mrr, self.stretches.length)

    @property
    def kind(self) -> np.ndarray:
        """The kind, int32."""
        return np.repeat(self.stretches.kind, self.stretches.length)


def ledger(rows: Rows, *, until: str | None = None) -> Ledger:
    """The ledger of the rows, up to and with the month `until` ("2025-12"); None takes the month of the latest date.

    Raises RecordsError where the records span more than 600 months or hold nothing up to `until`.
    """
    first = rows.first_month
    last = int(np.datetime64(rows.last_day, "D").astype("M8[M]").astype(int))
    last = last if until is None else int(np.datetime64(until, "M").astype(int))
    if last < first:
        rule = f"a month not before the first that is paid for ({_month(first)})"
        latest = f"the month of the latest date, {_month(last)}"
        raise RecordsError([Problem("until", rule, until or latest, "" if until else "--until takes a later one.")])
    if last - first >= MOST_MONTHS:
        problem = Problem(
            "",
            f"records of at most {MOST_MONTHS} months",
            f"{_month(first)} to {_month(last)}",
            "A single stray date may be to blame; --until sets the last month.",
        )
        raise RecordsError([problem])
    span = last - first + 1
    parts = stretches_of(rows, first=first, months=span)
    kinds, stretches = _kinds(parts, rows.plans)
    # summed exactly: parts, and the customers in them, come in another order in each run
    paid_ahead, unmatched = (
        fsum(chain.from_iterable(getattr(part, name) for part in parts)) for name in ("ahead", "unmatched")
    )
    signed_up = np.full(rows.customers, NONE, np.int32)
    for part in parts:
        signed_up[part.trials.customer] = part.trials.start
    converted = np.full(rows.customers, NONE, np.int32)
    opens = np.flatnonzero(changes(stretches.customer))
    converted[stretches.customer[opens]] = stretches.start[opens]
    signed_up[(converted != NONE) & (signed_up > converted)] = NONE
    return Ledger(
        rows,
        stretches,
        kinds,
        np.datetime64(first, "M"),
        span,
        None if rows.joined is None else np.where(rows.joined == NOT_SAID, NONE, rows.joined.astype(np.int32) - first),
        paid_ahead,
        unmatched,
        signed_up,
        converted,
        _notes(rows, until, paid_ahead, unmatched),
    )


def _kinds(parts: list[Paid], plans: tuple[str, ...]) -> tuple[tuple[tuple[str, str], ...], Stretches]:
    """The kinds that there are, and the stretches of all parts by customer, with places among the kinds."""
    kinds = np.unique(np.concatenate([part.kinds for part in parts]))
    names = tuple((plans[kind // 2], "yearly" if kind % 2 else "monthly") for kind in kinds.tolist())
    whole = by_customer([part.stretches for part in parts])
    places = np.zeros(kinds.max(initial=0) + 1, np.int32)
    places[kinds] = np.arange(kinds.size)
    return names, replace(whole, kind=places[whole.kind])


def _month(number: int) -> str:
    return str(np.datetime64(number, "M"))


def _notes(rows: Rows, until: str | None, paid_ahead: float, unmatched: float) -> tuple[str, ...]:
    notes = []
    day = np.datetime64(rows.last_day, "D")
    if rows.charges and until is None and (day + 4).astype("M8[M]") == day.astype("M8[M]"):
        notes.append(
            f"the latest charge is of {day}: where that month is not over yet, customers still to be charged look as "
            "if they had left; --until takes an earlier month as the last"
        )
    if paid_ahead:
        notes.append(f"{paid_ahead:,.2f} {rows.currency} is paid for months after the last")
    if unmatched:
        notes.append(f"{unmatched:,.2f} {rows.currency} of refunds match no charge and are set apart")
    return tuple(notes)
