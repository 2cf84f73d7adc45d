"""Values of any shape in the one form of `Rows`: what is paid in which months, in one currency."""

from __future__ import annotations

import numpy as np

from growth.errors import Problem
from growth.records.read.column_names import ColumnNames
from growth.records.read.invoice_lines import recurring_lines
from growth.records.read.reading_notes import one_spelling
from growth.records.read.rows import RecordsError, Rows, Unreadable, months_of
from growth.records.read.subscriptions import Values, subscription_months
from growth.records.read.values import FAILED, NONE

MEAN_MONTH = 365.2425 / 12  # days of an average month of the calendar
MOST_MONTHS = 60  # that a charge may pay for


def starting_day(rows: Values) -> np.ndarray:
    """Return the day from which each charge pays."""
    start = rows.get("period_start")
    return rows["date"] if start is None else np.where(start == NONE, rows["date"], start)


def _currency(codes: tuple[str, ...], columns: ColumnNames, *, file: str) -> str:
    """Return the currency of the amounts. Raises RecordsError where there are several, or one without a rate."""
    named = sorted({code or columns.currency or "EUR" for code in codes})
    ours = columns.currency or (named[0] if len(named) == 1 else "")
    if not ours:
        example = f"currency: {named[0]} and rates: {{{named[1]}: ...}}"
        fix = f"Say in the file for --columns which one to convert to, and at what rates, such as {example}."
        raise RecordsError([Problem("currency", "one currency, or rates", ", ".join(named[:6]), fix)], file=file)
    if missing := [code for code in named if code not in {*columns.rates, ours}]:
        fix = f"Add rates: {{{missing[0]}: ...}}, how many {ours} one {missing[0]} is, or a rate for each month."
        raise RecordsError([Problem("rates", f"a rate to {ours} for each currency", missing[0], fix)], file=file)
    return ours


def as_rows(
    values: Values,
    names: dict[str, dict[str, int]],
    customers: int,
    columns: ColumnNames,
    *,
    unreadable: Unreadable,
    notes: list[str],
    until: str | None,
    file: str,
) -> Rows:
    """Bring any shape into the form of `Rows`.

    names: the plans and currencies, each with its number. until: see `subscription_months`.
    """
    codes = tuple(names["currency"]) or ("",)
    currency = _currency(codes, columns, file=file)
    plans, numbers, joined = one_spelling(tuple(names["plan"]) or ("all",))
    if joined:
        values["plan"] = numbers[values["plan"]]
    ends_known, last_day = "start" in values, None
    if ends_known:
        values, last_day, said = subscription_months(values, until=until)
        notes = [*said, *notes]
        if not values["month"].size:
            raise RecordsError([Problem("", "a subscription that runs on the last day of a month", "none")], file=file)
    charges = "date" in values
    failed = _failed(values) if "status" in values or "reason" in values else None
    if "status" in values:
        paid = values["status"] != FAILED
        values = {name: column[paid] for name, column in values.items()}
        if not paid.any():
            raise RecordsError([Problem("status", "at least one charge that was paid", "none")], file=file)
    day, amount = (values[name] for name in (("date", "amount") if charges else ("month", "mrr")))
    charged, amount = amount, _net(amount, values, columns, file=file)
    if "refunded" in values:
        back = (charged != 0) & (np.abs(amount) < 1e-9 * np.abs(charged))  # paid back in full, and no trial
        if not back.all():
            values = {name: column[~back] for name, column in values.items()}
            day, amount = day[~back], amount[~back]
    made = months_of(day)
    amount = columns.in_our_currency(amount, made, codes, values.get("currency"), file=file)
    span, first_day = np.ones(day.size, np.int8), day
    if charges:
        span, first_day = _span(values), starting_day(values)
        keep, amount, span, aside = recurring_lines(values, amount, span, first_day, currency=currency)
        notes = [*notes, *aside]
        if not keep.any():
            raise RecordsError([Problem("kind", "at least one line that recurs", "none")], file=file)
        if not keep.all():
            values = {name: column[keep] for name, column in values.items()}
            amount, span, first_day, made = amount[keep], span[keep], first_day[keep], made[keep]
    return Rows(
        values["customer"],
        months_of(first_day) if charges else made,
        span,
        made,
        amount,
        values.get("plan", np.zeros(amount.size, np.int16)),
        (span if charges else values.get("billing", span)) >= 12,
        _earliest(values["customer"], values["joined"], customers) if "joined" in values else None,
        plans,
        currency,
        customers,
        charges,
        int(day.max()) if last_day is None else last_day,
        unreadable,
        (*notes, *joined),
        ends_known,
        failed,
    )


def _failed(values: Values) -> np.ndarray:
    """Return customer and month of payments that failed, shape (payments, 2)."""
    if "reason" in values:
        return values.pop("reason")
    rows = np.flatnonzero(values["status"] == FAILED)
    return np.column_stack([values["customer"][rows], months_of(starting_day(values)[rows])]).astype(np.int32)


def _net(amount: np.ndarray, values: Values, columns: ColumnNames, *, file: str) -> np.ndarray:
    """Take off what was refunded, and tax where amounts, and so refunds, include it.

    Raises RecordsError where a column of tax is there and nobody says.
    """
    refunded = values.get("refunded", 0.0)
    if "tax" in values:
        if columns.tax is None:
            fix = "Write `tax: included` or `tax: added` in the file for --columns."
            raise RecordsError(
                [Problem("tax", "a word on whether amounts include the column of tax", "none", fix)], file=file
            )
        if columns.tax == "included":
            share = np.divide(values["tax"], amount, out=np.zeros(amount.size), where=amount != 0)
            return amount - values["tax"] - refunded * (1 - share)
        return amount - refunded
    paid = amount - refunded if "refunded" in values else amount
    return paid / (1 + columns.tax_rate) if columns.tax == "included" and columns.tax_rate else paid


def _span(values: Values) -> np.ndarray:
    """Return how many months each charge pays for: as it says, or by its period, else 1."""
    if "months" in values:
        return values["months"]
    if "period_end" not in values:
        return np.ones(values["date"].size, np.int8)
    end = values["period_end"]
    months = np.rint((end - starting_day(values)) / MEAN_MONTH)
    return np.where(end == NONE, 1, np.clip(months, 1, MOST_MONTHS)).astype(np.int8)


def _earliest(customer: np.ndarray, joined: np.ndarray, customers: int) -> np.ndarray:
    """Return the earliest month that the rows of each customer say it came in; NONE where none says."""
    said = joined != NONE
    earliest = np.full(customers, np.iinfo(np.int32).max, np.int32)
    np.minimum.at(earliest, customer[said], months_of(joined[said]).astype(np.int32))
    return np.where(earliest == np.iinfo(np.int32).max, np.int32(NONE), earliest)
