"""Lines of invoices: what recurs is kept; tax, one-off lines and the credits of a change of plan are set aside.

A change of plan in the middle of a period gives a credit for what is unused of the old plan and either a charge for the
rest of the period or a full charge for the new plan. Added up they would look like an upgrade followed by a downgrade.
So a credit and a charge for less than a month are set aside, and the next full charge tells the new price. Where a
full charge comes on the day of the credit, it takes the place of what it was given for.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa

from growth.errors import count_of
from growth.records.read.column_names import LineKind
from growth.records.read.subscriptions import Values
from growth.records.read.values import NONE

RECURRING, ONCE, TAX, PRORATION = range(4)
KINDS: tuple[LineKind, ...] = ("recurring", "once", "tax", "proration")  # as the file for --columns names them
WORDS: dict[LineKind, tuple[str, ...]] = {
    "recurring": (
        "",
        "recurring",
        "subscription",
        "plan",
        "add-on",
        "addon",
        "seats",
        "renewal",
        "discount",
        "refund",
        "abo",
        "rabatt",
    ),
    "once": (
        "once",
        "one-off",
        "one-time",
        "setup",
        "set-up",
        "setup fee",
        "training",
        "hardware",
        "shipping",
        "einrichtung",
        "einmalig",
    ),
    "tax": ("tax", "sales tax", "vat", "gst", "mwst", "ust"),
    "proration": ("proration", "prorated", "credit", "unused time", "remaining time", "gutschrift"),
}
ASIDE = {
    ONCE: "one-off lines",
    TAX: "lines of tax",
    PRORATION: "credits and charges for part of a period, since the next full charge tells what is paid after a change",
}
PART = 27  # days; a period that is shorter is less than a month


def line_kinds(texts: pa.Array, given: dict[LineKind, tuple[str, ...]]) -> tuple[np.ndarray, dict[int, str]]:
    """Return the kind of line that each text means, as int8, and by index what is wrong with unknown ones.

    given: words by kind, which come before the usual ones.

    >>> kinds, faults = line_kinds(pa.array(["Plan", "Setup fee", "?"]), {})
    >>> kinds.tolist(), list(faults)
    ([0, 1, 0], [2])
    """
    meaning = {word: number for number, kind in enumerate(KINDS) for word in WORDS[kind]}
    meaning |= {word.strip().casefold(): KINDS.index(kind) for kind, words in given.items() for word in words}
    words = [text.strip().casefold() for text in texts.to_pylist()]
    faults = {
        place: "a kind of line of which nobody said what it is, by `kinds: {once: [...]}` for --columns"
        for place, word in enumerate(words)
        if word not in meaning
    }
    return np.array([meaning.get(word, RECURRING) for word in words], np.int8), faults


def recurring_lines(
    values: Values, amount: np.ndarray, span: np.ndarray, day: np.ndarray, *, currency: str
) -> tuple[np.ndarray, np.ndarray, np.ndarray, list[str]]:
    """Keep the lines that recur.

    Parameters
    ----------
    values : dict of str to np.ndarray
        customer and, where the table has them, kind, plan, period_end; each of shape (rows,).
    amount, span, day : np.ndarray
        Of each row the money, the months it pays for, and the day from which it pays.
    currency : str
        Of the amounts, for the notes.

    Returns
    -------
    keep : np.ndarray
        Boolean, shape (rows,).
    amount, span : np.ndarray
        As given, but less where a line was credited and another one took its place.
    notes : list of str
        How much was set aside, by kind.
    """
    kind = values.get("kind")
    if kind is None:
        changes, unexplained = _changes_of_plan(values, amount, day)
        if not changes.size:
            return np.ones(amount.size, bool), amount, span, _unexplained(unexplained)
        kind = np.zeros(amount.size, np.int8)
        kind[changes] = PRORATION
    aside = (kind == ONCE) | (kind == TAX) | ((kind == PRORATION) & (span == 1))
    amount, span, replaced = _replaced(values, kind, amount, span, day)
    aside |= replaced
    notes = []
    for number, what in ASIDE.items():
        these = aside & (kind == number)
        if count := int(these.sum()):
            notes.append(
                f"{count_of(count, 'row is', 'rows are')} set aside ({amount[these].sum():,.2f} {currency}): {what}"
            )
    return ~aside & (span > 0), amount, span, notes


def _replaced(
    values: Values, kind: np.ndarray, amount: np.ndarray, span: np.ndarray, day: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """End lines early that were credited on the day of a full charge for something else.

    Returns amounts, spans, and which rows are the credits.
    """
    credit = (kind == PRORATION) & (amount < 0)
    is_credit = np.zeros(amount.size, bool)
    if not credit.any():
        return amount, span, is_credit
    of_interest = np.zeros(int(values["customer"].max()) + 1, bool)
    of_interest[values["customer"][credit]] = True
    rows = np.flatnonzero(of_interest[values["customer"]] & (credit | ((kind == RECURRING) & (amount > 0))))
    month = day[rows].astype("M8[D]").astype("M8[M]").astype(int)
    table = pd.DataFrame(
        {
            "row": rows,
            "customer": values["customer"][rows],
            "day": day[rows],
            "month": month,
            "until": month + span[rows],
            "amount": amount[rows],
            "plan": values["plan"][rows] if "plan" in values else np.zeros(rows.size, np.int16),
        }
    )
    credits_, full = table[credit[rows]], table[~credit[rows]]
    pairs = credits_.merge(full, on="customer", suffixes=("", "_old"))
    pairs = pairs[
        (pairs.day_old < pairs.day) & (pairs.month < pairs.until_old) & (pairs.amount_old >= -1.001 * pairs.amount)
    ]
    pairs["same_plan"] = pairs.plan == pairs.plan_old
    pairs = pairs.sort_values(["row", "same_plan", "day_old"], ascending=[True, False, False]).drop_duplicates("row")
    new = pairs.merge(full, on=["customer", "day"], suffixes=("", "_new"))
    new = new[(new.plan_new != new.plan_old) | (new.amount_new != new.amount_old)].drop_duplicates("row_old")
    is_credit[new.row.to_numpy()] = True
    old = new.row_old.to_numpy()
    kept = (new.month - new.month_old).to_numpy()
    amount, span = amount.copy(), span.copy()
    amount[old] *= kept / span[old]
    span[old] = kept
    return amount, span, is_credit


def _changes_of_plan(values: Values, amount: np.ndarray, day: np.ndarray) -> tuple[np.ndarray, int]:
    """Find credits and charges for less than a month, of one customer on one day, by their periods.

    Returns their rows; and how many credits stand on a day with a charge while no period tells. A charge that was made
    twice and refunded is none of these.
    """
    negative = np.flatnonzero(amount < 0)
    if not negative.size:
        return negative, 0
    some = np.zeros(int(values["customer"].max()) + 1, bool)
    some[values["customer"][negative]] = True
    near = np.flatnonzero(some[values["customer"]])
    table = pd.DataFrame({"customer": values["customer"][near], "day": day[near], "amount": amount[near].round(6)})
    end = values.get("period_end")
    table["short"] = False if end is None else (end[near] != NONE) & (end[near] - day[near] < PART)
    credits_, charges = table[table.amount < 0], table[table.amount > 0]
    pairs = credits_.reset_index().merge(charges.reset_index(), on=["customer", "day"], suffixes=("", "_charge"))
    refunded = pairs["index"][pairs.amount == -pairs.amount_charge]
    pairs = pairs[~pairs["index"].isin(refunded)]
    told = pairs[pairs.short]
    rows = np.union1d(told["index"], told.index_charge[told.short_charge])
    return near[rows.astype(int)], pairs["index"].nunique()


def _unexplained(credited: int) -> list[str]:
    if not credited:
        return []
    return [
        f"{count_of(credited, 'credit stands', 'credits stand')} on a day with a charge of the same customer, as when "
        "a plan is changed in the middle of a month: the months add up to what was paid, so a change may look larger "
        "or smaller for a month; a column `kind`, or the period of each line, would tell"
    ]
