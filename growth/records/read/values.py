"""What the texts of the records mean, or what is wrong with them."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from functools import partial
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

DAY = re.compile(
    r"([0-9]{4})-([0-9]{2})-([0-9]{2})"
    r"(?:[T ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?(?:Z|[+-][0-9]{2}:?[0-9]{2})?)?"
)
MONTH = re.compile(r"[0-9]{4}-[0-9]{2}")
_PLAIN = r"[0-9]{1,12}(\.[0-9]{1,12})?$"  # Arrow reads such numbers as Python does, and far faster
_AMOUNT = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
FIRST_YEAR, LAST_YEAR = 1970, 2199
MOST = 1e12  # the largest amount of a row, in the unit it is written in
LAST_DAY = (date(LAST_YEAR, 12, 31) - date(1970, 1, 1)).days
NONE = -(2**31)  # a date or month that is not given
NOT_UTF8 = "text that is not UTF-8"
AMOUNTS = ("amount", "mrr", "refunded", "price", "quantity", "tax")
DATES = ("date", "month", "period_start", "period_end", "joined", "start", "end")
BILLS = {"": 1, "monthly": 1, "month": 1, "quarterly": 3, "quarter": 3, "half-yearly": 6}
BILLS |= {"yearly": 12, "year": 12, "annual": 12, "annually": 12}
BILLS |= {"monatlich": 1, "vierteljährlich": 3, "halbjährlich": 6, "jährlich": 12}
NAMES = ("plan", "currency")
UNPAID, PAID, FAILED = range(3)  # what a status means


class Bad(Exception):
    """A value that cannot be read; the message is the kind of fault, never the value."""


def customer(text: str) -> str:
    """Return an identifier that is not blank."""
    if not text.strip():
        raise Bad("no customer")
    return text


def day(text: str) -> int:
    """Return the days since 1970-01-01 of an ISO 8601 date; a time of day after it is ignored.

    >>> day("1970-01-02"), day("2024-02-29T23:59:59Z")
    (1, 19782)
    """
    found = DAY.fullmatch(text)
    if not found:
        raise Bad("a date that is not written year-month-day" if text else "no date")
    year, month, number = map(int, found.groups())
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise Bad(f"a date outside the years {FIRST_YEAR} to {LAST_YEAR}")
    try:
        return date(year, month, number).toordinal() - date(1970, 1, 1).toordinal()
    except ValueError:
        raise Bad("a date that is not in the calendar") from None


def month_day(text: str) -> int:
    """Like `day`; also takes a month such as 2024-03, for its first day."""
    return day(f"{text}-01" if MONTH.fullmatch(text) else text)


def perhaps_day(text: str) -> int:
    """Like `month_day`; NONE for an empty text."""
    return month_day(text) if text else NONE


def amount(text: str) -> float:
    """Return a number with a decimal point, without thousands separators or currency signs; spaces around are ignored.

    >>> amount("-12.50"), amount(" 29")
    (-12.5, 29.0)
    """
    text = text.strip(" \t")
    if not _AMOUNT.fullmatch(text):
        raise Bad("an amount that is not a plain number" if text else "no amount")
    value = float(text)
    if abs(value) > MOST:
        raise Bad("an amount beyond a million million")
    return value


def refunded(text: str) -> float:
    """Return how much of a charge was refunded, written with or without a minus; 0 for an empty text."""
    return abs(amount(text)) if text.strip() else 0.0


def tax(text: str) -> float:
    """Return the tax of a charge; 0 for an empty text."""
    return amount(text) if text.strip() else 0.0


def mrr(text: str) -> float:
    """Like `amount`, but never negative: a month's MRR has no refunds."""
    value = amount(text)
    if value < 0:
        raise Bad("a negative MRR")
    return value


def whole(text: str) -> int:
    """Return how many months a charge pays for; 1 for an empty text."""
    if not text:
        return 1
    if not re.fullmatch(r"[0-9]{1,2}(\.0+)?", text) or not 1 <= int(float(text)) <= 60:
        raise Bad("months that are not a whole number from 1 to 60")
    return int(float(text))


def name(text: str, *, otherwise: str) -> str:
    """Return a plan's name on one line; `otherwise` if it is empty."""
    text = " ".join(text.split())
    if not text.isprintable() or len(text) > 80:
        raise Bad("a plan's name that is no short line of text")
    return text or otherwise


def currency(text: str) -> str:
    """Return a currency code of three letters, in capitals, or "".

    >>> currency("eur")
    'EUR'
    """
    if text and not re.fullmatch("[A-Za-z]{3}", text):
        raise Bad("a currency that is not three letters")
    return text.upper()


def billing(text: str) -> int:
    """Return the months of one bill; 1 for an empty text.

    >>> billing("Yearly"), billing("quarterly")
    (12, 3)
    """
    months = BILLS.get(text.strip().lower())
    if months is None:
        raise Bad("a billing that is none of monthly, quarterly, half-yearly and yearly")
    return months


def quantity(text: str) -> float:
    """Return how many of a plan are paid for, such as seats; 1 for an empty text."""
    return mrr(text) if text.strip() else 1.0


def discount(text: str) -> float:
    """Return a share of the price, from "20%" or "0.2"; 0 for an empty text.

    >>> discount("20%"), discount("0.2"), discount("")
    (0.2, 0.2, 0.0)
    """
    text = text.strip()
    percent = text.endswith("%")
    share = (amount(text.rstrip("% ")) / (100 if percent else 1)) if text else 0.0
    if not 0 <= share <= 1:
        raise Bad("a discount that is neither a percentage with its sign, such as 20%, nor a share from 0 to 1")
    return share


READERS: dict[str, Callable[[str], Any]] = {
    "date": day,
    "month": month_day,
    "period_start": perhaps_day,
    "period_end": perhaps_day,
    "joined": perhaps_day,
    "start": day,
    "end": perhaps_day,
    "price": mrr,
    "quantity": quantity,
    "discount": discount,
    "amount": amount,
    "mrr": mrr,
    "refunded": refunded,
    "tax": tax,
    "months": whole,
    "plan": partial(name, otherwise="all"),
    "currency": currency,
    "billing": billing,
}


def as_strings(texts: pa.Array) -> tuple[pa.Array, dict[int, str]]:
    r"""Decode UTF-8. Returns the texts as Arrow strings, and by index what is wrong with those that are not UTF-8.

    >>> strings, faults = as_strings(pa.array([b"ann", b"caf\xe9"]))
    >>> strings.to_pylist(), faults
    (['ann', ''], {1: 'text that is not UTF-8'})
    """
    try:
        return texts.cast(pa.string()), {}
    except pa.ArrowInvalid:
        decoded = [text.decode("utf-8", "surrogateescape") for text in texts.to_pylist()]
        faults = {place: NOT_UTF8 for place, text in enumerate(decoded) if not _is_utf8(text)}
        return pa.array(["" if place in faults else text for place, text in enumerate(decoded)], pa.string()), faults


def meanings(ours: str, texts: pa.Array) -> tuple[Any, dict[int, str]]:
    """Interpret the distinct texts of a column.

    Parameters
    ----------
    ours : str
        Our name of the column.
    texts : pa.Array
        Strings.

    Returns
    -------
    values : np.ndarray or list of str or None
        What each text means, shape (texts,): days since 1970 as int32 with NONE for "not given", amounts as float64,
        counts of months as int8; plans and currencies as a list of str; None for customers.
    faults : dict of int to str
        What is wrong, by index.

    Examples
    --------
    >>> values, faults = meanings("amount", pa.array(["29.50", "soon"]))
    >>> values.tolist(), faults
    ([29.5, 0.0], {1: 'an amount that is not a plain number'})
    """
    if ours == "customer":  # of the many identifiers only those that begin oddly can be blank
        odd = np.flatnonzero(pc.invert(pc.match_substring_regex(texts, "^[!-~]")).to_numpy(zero_copy_only=False))
        return None, _read(customer, texts, odd, {})
    if ours in DATES:
        return _days(ours, texts)
    values: Any = (
        [""] * len(texts)
        if ours in NAMES
        else np.zeros(len(texts), float if ours in (*AMOUNTS, "discount") else np.int8)
    )
    rest = np.arange(len(texts))
    if ours in AMOUNTS:
        plain = pc.match_substring_regex(texts, ("^-?" if ours == "amount" else "^") + _PLAIN)
        known = plain.to_numpy(zero_copy_only=False)
        values[known] = texts.filter(plain).cast(pa.float64()).to_numpy()
        rest = np.flatnonzero(~known)
    return values, _read(READERS[ours], texts, rest, values)


def statuses(
    texts: pa.Array, *, paid: tuple[str, ...], unpaid: tuple[str, ...], failed: tuple[str, ...]
) -> tuple[np.ndarray, dict[int, str]]:
    """Return what each text means, UNPAID, PAID or FAILED, as int8, and by index what is wrong with unknown ones.

    >>> statuses(pa.array(["Paid", "declined", "open"]), paid=("paid",), unpaid=("open",), failed=("declined",))
    (array([1, 2, 0], dtype=int8), {})
    """
    words = [text.strip().casefold() for text in texts.to_pylist()]
    meaning = {word.casefold(): UNPAID for word in unpaid} | {word.casefold(): FAILED for word in failed}
    meaning |= {word.casefold(): PAID for word in paid}
    wrong = "a status of which nobody said whether it means paid, by `paid: [...]` or `failed: [...]` for --columns"
    faults = {place: wrong for place, word in enumerate(words) if word not in meaning}
    return np.array([meaning.get(word, UNPAID) for word in words], np.int8), faults


def _days(ours: str, texts: pa.Array) -> tuple[np.ndarray, dict[int, str]]:
    """Interpret dates by their distinct days, since with a time of day nearly all texts would differ."""
    dated = pc.match_substring_regex(texts, f"^(?:{DAY.pattern})$")
    days = pc.if_else(dated, pc.utf8_slice_codeunits(texts, 0, 10), texts).dictionary_encode()
    values = np.zeros(len(days.dictionary), np.int32)
    faults = _read(READERS[ours], days.dictionary, np.arange(values.size), values)
    which = days.indices.to_numpy()
    odd = np.flatnonzero(np.isin(which, list(faults))) if faults else ()
    return values[which], {int(place): faults[int(which[place])] for place in odd}


def _read(reader: Callable[[str], Any], texts: pa.Array, places: np.ndarray, values: Any) -> dict[int, str]:
    """Interpret the texts at some indices into `values`; return what is wrong with the faulty ones."""
    faults = {}
    some = texts if len(places) == len(texts) else texts.take(pa.array(places))
    for place, text in zip(places.tolist(), some.to_pylist(), strict=True):
        try:
            values[place] = reader(text)
        except Bad as bad:
            faults[place] = str(bad)
    return faults


def _is_utf8(text: str) -> bool:
    return not any("\udc80" <= sign <= "\udcff" for sign in text)
