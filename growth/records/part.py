"""A block of the records as arrays: from whole columns at once, or from rows whose values were read one by one.

Both take the same view of every value (`growth.records.cells`) and give the same arrays.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from growth.errors import Problem
from growth.records.arrow import chosen_of, ends_of, numbers_of, texts_from
from growth.records.cells import DAY, LAST_DAY, MONTH, MOST, NONE, READERS, Bad
from growth.records.columns import Columns
from growth.records.identity import digests, slot_of
from growth.records.rows import ROW, months_of
from growth.records.unreadable import RecordsError, Unreadable
from growth.records.words import words_of

AMOUNTS = ("amount", "mrr")
OPTIONAL_DATES = ("period_start", "period_end", "joined")
DATES = ("date", "month", *OPTIONAL_DATES)
LISTED = ("plan", "currency")
MOST_MONTHS = 60  # that a charge pays for
MOST_PLANS = 30_000  # that are told apart
MEAN_MONTH = 365.2425 / 12  # days of an average month of the calendar
ENDS_BEFORE = "a period that ends before it begins"


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """Rows of the records, sorted by the slot that their customers go to, those of a slot in the order of the file.

    digest: uint64, shape (rows,), of their customers (`identity.digests`). place: of each row in the block. records: of
    type ROW, plans being places in `plans`. joined: the month the row's customer came, NOT_SAID if not said; None where
    no row says. currencies: that rows say. total, charges, first_month, last_day: as in `Rows`.
    """

    digest: np.ndarray
    place: np.ndarray
    records: np.ndarray
    joined: np.ndarray | None
    plans: tuple[str, ...]
    currencies: tuple[str, ...]
    total: float
    charges: bool
    first_month: int
    last_day: int


def part_of_columns(columns: dict[str, Any], said: Columns, *, key: np.ndarray) -> Part:
    """The rows of whole columns by our names, Arrow arrays of equal length. said: of the columns, by the user.

    Customers are strings, amounts float64, dates date32 or like all others, months int8 or like all others: strings, or
    dictionaries of strings without words that no row has. Raises Bad or ArrowInvalid where a value is not as it should
    be.
    """
    import pyarrow as pa

    values: dict[str, np.ndarray] = {}
    months: dict[str, np.ndarray] = {}
    lists: dict[str, tuple[str, ...]] = {}
    for ours, column in columns.items():
        if column.null_count:
            raise Bad("nothing where something has to be")
        if ours == "customer":
            _check_names(column)
            values["digest"] = digests(column, key=key)
        elif ours in AMOUNTS:
            values[ours] = numbers_of(column, float)
            _check_amounts(values[ours], ours)
        elif ours in DATES:
            values[ours], months[ours] = _days(column, ours)
        elif ours == "months" and pa.types.is_int8(column.type):
            values[ours] = numbers_of(column, np.int8)
            _check_span(values[ours])
        else:
            words, places = words_of(column)
            meant = _coded([READERS[ours](word) for word in words.to_pylist()], ours, lists)
            values[ours] = meant.take(places) if meant.size > 1 else np.full(places.size, meant[0])
    _check_periods(values)
    return _part(values, months, lists, said)


class ReadRows:
    """Rows read one by one, gathered for a part."""

    def __init__(self) -> None:
        self.names: list[str] = []
        self.meant: list[dict[str, Any]] = []

    def add(self, row: dict[str, str], line: int, unreadable: Unreadable) -> None:
        """A row's texts by our names; where one cannot be read, the row is counted in `unreadable`."""
        try:
            meant = meant_by(row)
        except Bad as bad:
            unreadable.add(str(bad), line)
            return
        self.names.append(row["customer"])
        self.meant.append(meant)

    def part(self, said: Columns, *, key: np.ndarray) -> list[Part]:
        """The rows as a part, as `part_of_columns` gives it; none where there are no rows."""
        if not self.names:
            return []
        values, lists = {"digest": digests(texts_from(self.names), key=key)}, {}
        for ours in self.meant[0]:
            column = [row[ours] for row in self.meant]
            values[ours] = np.array(column, float) if ours in AMOUNTS else _coded(column, ours, lists)
        months = {ours: months_of(values[ours]) for ours in values if ours in DATES}
        return [_part(values, months, lists, said)]


def meant_by(row: dict[str, str]) -> dict[str, Any]:
    """What a row's texts mean, by our names, the customer left out. Raises Bad with the kind of fault.

    >>> meant_by({"customer": "ann", "date": "1970-01-02", "amount": "29"})
    {'date': 1, 'amount': 29.0}
    """
    if not row["customer"].strip():
        raise Bad("no customer")
    meant = {ours: READERS[ours](text) for ours, text in row.items() if ours != "customer"}
    if meant.get("period_end", NONE) != NONE:
        start = meant.get("period_start", NONE)
        if meant["period_end"] <= (meant["date"] if start == NONE else start):
            raise Bad(ENDS_BEFORE)
    return meant


def _part(
    values: dict[str, np.ndarray], months: dict[str, np.ndarray], lists: dict[str, tuple[str, ...]], said: Columns
) -> Part:
    """The time a row pays for becomes its span of months and whether it is billed by the year. months: of the dates."""
    charges = "date" in values
    date = "date" if charges else "month"
    day = start = values[date]
    month = months[date]
    if "period_start" in values:
        given = values["period_start"] != NONE
        start, month = np.where(given, values["period_start"], day), np.where(given, months["period_start"], month)
    span = _span(values, start) if charges else np.ones(day.size, np.int8)
    currencies = lists.get("currency", ("",))
    factors = np.array([said.factor(code) for code in currencies])
    records = np.zeros(day.size, ROW)
    records["amount"] = values["amount" if charges else "mrr"]
    if (factors != 1).any():
        records["amount"] *= factors[values["currency"]] if factors.size > 1 else factors[0]
    records["made"], records["month"] = months[date], month
    records["plan"] = values.get("plan", 0)
    records["span"] = span
    records["yearly"] = (span if charges else values.get("billing", span)) >= 12
    order = np.argsort(slot_of(values["digest"]), kind="stable")
    return Part(
        values["digest"].take(order),
        order.astype(np.min_scalar_type(order.size)),
        records.take(order),
        months["joined"].take(order) if "joined" in values else None,
        lists.get("plan", ("all",)),
        currencies,
        float(records["amount"].sum()),
        charges,
        int(records["month"].min()),
        int(day.max()),
    )


def _span(values: dict[str, np.ndarray], start: np.ndarray) -> np.ndarray:
    """How many months each charge pays for. start: the day from which it pays."""
    if "months" in values:
        return values["months"]
    if "period_end" not in values:
        return np.ones(start.size, np.int8)
    days = np.where(values["period_end"] == NONE, MEAN_MONTH, values["period_end"] - start)
    return np.clip(np.rint(days / MEAN_MONTH), 1, MOST_MONTHS).astype(np.int8)


def _check_names(texts: Any) -> None:
    """Raises Bad where a customer's name is blank; only names with an unusual first byte need a closer look."""
    import pyarrow.compute as pc

    ends = ends_of(texts)
    if (ends[1:] == ends[:-1]).any():
        raise Bad("no customer")
    first = np.frombuffer(texts.buffers()[2], np.uint8).take(ends[:-1])
    unusual = (first <= ord(" ")) | (first >= 127)
    if unusual.any() and "" in pc.utf8_trim_whitespace(chosen_of(texts, unusual)).to_pylist():
        raise Bad("no customer")


def _check_amounts(amounts: np.ndarray, ours: str) -> None:
    if not (np.abs(amounts) <= MOST).all() or (ours == "mrr" and (amounts < 0).any()):
        raise Bad("an amount out of its range")


def _check_span(months: np.ndarray) -> None:
    if not ((months >= 1) & (months <= MOST_MONTHS)).all():
        raise Bad("months that are not a whole number from 1 to 60")


def _check_periods(values: dict[str, np.ndarray]) -> None:
    if "period_end" in values:
        start = values.get("period_start", values["date"])
        ends = values["period_end"]
        if not ((ends == NONE) | (ends > np.where(start == NONE, values["date"], start))).all():
            raise Bad(ENDS_BEFORE)


def _days(column: Any, ours: str) -> tuple[np.ndarray, np.ndarray]:
    """Days since 1970 of dates, or of texts, NONE where an optional one is not given; and the months they lie in."""
    import pyarrow as pa

    if pa.types.is_date32(column.type):
        days = _checked_days(numbers_of(column, np.int32), ours)
        return days, months_of(days)
    words, places = words_of(column)
    days = _days_of_words(words, ours)
    return days.take(places), months_of(days).take(places)


def _days_of_words(words: Any, ours: str) -> np.ndarray:
    """The days that texts mean: see `cells.day`, `cells.month_day`, `cells.perhaps_day`."""
    import pyarrow.compute as pc

    forms = [DAY.pattern, *([MONTH.pattern] if ours != "date" else []), *([""] if ours in OPTIONAL_DATES else [])]
    if not all(pc.match_substring_regex(words, f"^(?:{'|'.join(forms)})$").to_pylist()):
        raise Bad("a date that is not written year-month-day")
    texts = words.to_pylist()
    try:
        days = np.array([text[:10] or "1970-01-01" for text in texts], "M8[D]").astype(np.int64)
    except ValueError:
        raise Bad("a date that is not in the calendar") from None
    days[[not text for text in texts]] = NONE
    return _checked_days(days, ours).astype(np.int32)


def _checked_days(days: np.ndarray, ours: str) -> np.ndarray:
    if not (((days >= 0) & (days <= LAST_DAY)) | ((days == NONE) & (ours in OPTIONAL_DATES))).all():
        raise Bad("a date out of its range")
    return days


def check_plans(count: int) -> None:
    """Raise RecordsError where there are more plans than are told apart."""
    if count > MOST_PLANS:
        rule = f"at most {MOST_PLANS:,} different ones"
        raise RecordsError([Problem("plan", rule, "more", "Leave the column out, or group them.")])


def _coded(meant: list, ours: str, lists: dict[str, tuple[str, ...]]) -> np.ndarray:
    """What each word means, as a number: plans and currencies become places in their lists."""
    if ours in DATES:
        return np.array(meant, np.int32)
    if ours in LISTED:
        lists[ours] = tuple(dict.fromkeys(meant))
        check_plans(len(lists[ours]))  # there are fewer currencies
        places = {word: place for place, word in enumerate(lists[ours])}
        meant = [places[word] for word in meant]
    return np.array(meant, np.int8 if ours == "months" else np.int16)
