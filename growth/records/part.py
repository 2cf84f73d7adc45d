"""A block of the records as arrays: from whole columns at once, or from rows whose values were read one by one.

Both take the same view of every value (`growth.records.cells`) and give the same arrays.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from growth.records.cells import DAY, LAST_DAY, MOST, NONE, READERS, Bad
from growth.records.identity import digests
from growth.records.rows import months_of
from growth.records.unreadable import Unreadable

AMOUNTS = ("amount", "mrr")
OPTIONAL_DATES = ("period_start", "period_end", "joined")
DATES = ("date", "month", *OPTIONAL_DATES)
LISTED = ("plan", "currency")
MEAN_MONTH = 365.2425 / 12  # days of an average month of the calendar
ENDS_BEFORE = "a period that ends before it begins"


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """Rows of the records. values: arrays of equal length by name, as in `Rows`, but for the customers' `a` and `b`
    (`identity.digests`) and for `plan` and `currency`, which are places in the `lists` of their names.
    last_day: the latest date, days since 1970. charges: the shape, as in `Rows`.
    """

    values: dict[str, np.ndarray]
    lists: dict[str, tuple[str, ...]]
    last_day: int
    charges: bool


def part_of_columns(columns: dict[str, Any], *, key: bytes) -> Part:
    """The rows of whole columns by our names, Arrow arrays of equal length.

    Customers are strings, amounts float64, dates date32 or dictionaries of strings, all others strings or dictionaries
    of strings, without words that no row has. Raises Bad or ArrowInvalid where a value is not as it should be.
    """
    values: dict[str, np.ndarray] = {}
    lists: dict[str, tuple[str, ...]] = {}
    for ours, column in columns.items():
        if column.null_count:
            raise Bad("nothing where something has to be")
        if ours == "customer":
            _check_names(column)
            values["a"], values["b"] = digests(column, key=key)
        elif ours in AMOUNTS:
            values[ours] = column.to_numpy()
            _check_amounts(values[ours], ours)
        elif ours in DATES:
            values[ours] = _days(column, ours)
        else:
            words, places = _words(column)
            meant = _coded([READERS[ours](word) for word in words], ours, lists)
            values[ours] = meant[places] if len(words) > 1 else np.full(places.size, meant[0])
    _check_periods(values)
    return _part(values, lists)


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

    def part(self, *, key: bytes) -> list[Part]:
        """The rows as a part; none where there are no rows."""
        import pyarrow as pa

        if not self.names:
            return []
        values, lists = {}, {}
        values["a"], values["b"] = digests(pa.array(self.names, pa.string()), key=key)
        for ours in self.meant[0]:
            column = [row[ours] for row in self.meant]
            values[ours] = np.array(column, float) if ours in AMOUNTS else _coded(column, ours, lists)
        return [_part(values, lists)]


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


def _part(values: dict[str, np.ndarray], lists: dict[str, tuple[str, ...]]) -> Part:
    """Days become months, and the time a row pays for its span of months and whether it is billed by the year."""
    charges = "date" in values
    day = values.pop("date" if charges else "month")
    start, end = (values.pop(name, None) for name in ("period_start", "period_end"))
    start = day if start is None else np.where(start == NONE, day, start)
    span = values.pop("months", None) if charges else None
    if span is None:
        span = np.ones(day.size, np.int8)
        if end is not None:
            days = np.where(end == NONE, MEAN_MONTH, end - start)
            span = np.clip(np.rint(days / MEAN_MONTH), 1, 60).astype(np.int8)
    billed = span if charges else values.pop("billing", span)
    values |= {"month": months_of(start), "span": span, "yearly": billed >= 12}
    if not charges:
        values["amount"] = values.pop("mrr")
    if "joined" in values:
        values["joined"] = months_of(values["joined"]).astype(np.int32)
    return Part(values, lists, int(day.max(initial=0)), charges)


def _check_names(texts: Any) -> None:
    """Raises Bad where a customer's name is blank; only names with an unusual first byte need a closer look."""
    import pyarrow.compute as pc

    ends = np.frombuffer(texts.buffers()[1], np.int32)[texts.offset : texts.offset + len(texts) + 1]
    if (ends[1:] == ends[:-1]).any():
        raise Bad("no customer")
    first = np.frombuffer(texts.buffers()[2], np.uint8)[ends[:-1]]
    unusual = (first <= ord(" ")) | (first >= 127)
    if unusual.any() and pc.any(pc.equal(pc.utf8_trim_whitespace(texts.filter(unusual)), "")).as_py():
        raise Bad("no customer")


def _check_amounts(amounts: np.ndarray, ours: str) -> None:
    if not (np.abs(amounts) <= MOST).all() or (ours == "mrr" and (amounts < 0).any()):
        raise Bad("an amount out of its range")


def _check_periods(values: dict[str, np.ndarray]) -> None:
    if "period_end" in values:
        start = values.get("period_start", values["date"])
        ends = values["period_end"]
        if not ((ends == NONE) | (ends > np.where(start == NONE, values["date"], start))).all():
            raise Bad(ENDS_BEFORE)


def _days(column: Any, ours: str) -> np.ndarray:
    """Days since 1970 of dates, or of a dictionary of texts; NONE where an optional one is not given."""
    import pyarrow as pa

    if not pa.types.is_dictionary(column.type):
        return _checked_days(column.cast(pa.int32()).to_numpy(), ours)
    return _days_of_words(column.dictionary, ours)[column.indices.to_numpy()]


def _days_of_words(words: Any, ours: str) -> np.ndarray:
    import pyarrow as pa
    import pyarrow.compute as pc

    if ours != "date":  # see `cells.month_day`, `cells.perhaps_day`
        words = pc.if_else(pc.equal(pc.binary_length(words), 7), pc.binary_join_element_wise(words, "-01", ""), words)
    if ours in OPTIONAL_DATES:
        words = pc.if_else(pc.equal(words, ""), pa.scalar(None, pa.string()), words)
    if not pc.all(pc.equal(pc.binary_length(words), 10)).as_py():  # with a time of day behind it
        if not pc.all(pc.match_substring_regex(words, f"^(?:{DAY.pattern})$")).as_py():
            raise Bad("a date that is not written year-month-day")
        words = pc.utf8_slice_codeunits(words, 0, 10)
    days = words.cast(pa.date32()).cast(pa.int32())
    return _checked_days(days.fill_null(NONE).to_numpy(), ours)


def _checked_days(days: np.ndarray, ours: str) -> np.ndarray:
    if not (((days >= 0) & (days <= LAST_DAY)) | ((days == NONE) & (ours in OPTIONAL_DATES))).all():
        raise Bad("a date out of its range")
    return days


def _words(column: Any) -> tuple[list[str], np.ndarray]:
    """The different words of a column, and the place of each row's among them. Often there is but one."""
    import pyarrow as pa

    if pa.types.is_string(column.type):
        if _all_alike(column):
            return [column[0].as_py()], np.zeros(len(column), np.int8)
        column = column.dictionary_encode()
    return column.dictionary.to_pylist(), column.indices.to_numpy()


def _all_alike(texts: Any) -> bool:
    """Whether all texts are the same: as long as the first, and together its repetition."""
    import pyarrow as pa

    first = texts[0].as_py().encode()
    ends = np.frombuffer(texts.buffers()[1], np.int32)[texts.offset : texts.offset + len(texts) + 1]
    if (ends[1:] - ends[:-1] != len(first)).any():
        return False
    together = pa.py_buffer(first * len(texts))
    return not first or texts.buffers()[2].slice(int(ends[0]), together.size).equals(together)


def _coded(meant: list, ours: str, lists: dict[str, tuple[str, ...]]) -> np.ndarray:
    """What each word means, as a number: plans and currencies become places in their lists."""
    if ours in DATES:
        return np.array(meant, np.int32)
    if ours in LISTED:
        lists[ours] = tuple(dict.fromkeys(meant))
        places = {word: place for place, word in enumerate(lists[ours])}
        meant = [places[word] for word in meant]
    return np.array(meant, np.int8 if ours == "months" else np.int16)
