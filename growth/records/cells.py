"""One value of the records as text: what it means, or which kind of unreadable it is."""

from __future__ import annotations

import re
from datetime import date
from functools import partial

DAY = re.compile(
    r"([0-9]{4})-([0-9]{2})-([0-9]{2})"
    r"(?:[T ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?(?:Z|[+-][0-9]{2}:?[0-9]{2})?)?"
)
MONTH = re.compile(r"[0-9]{4}-[0-9]{2}")
_AMOUNT = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
FIRST_YEAR, LAST_YEAR = 1970, 2199
MOST = 1e12  # the largest amount of a row, in the unit it is written in
LAST_DAY = (date(LAST_YEAR, 12, 31) - date(1970, 1, 1)).days
NONE = -(2**31)  # stands for a date that is not given


class Bad(Exception):
    """A value that cannot be read; its text is the kind of fault, never the value."""


def day(text: str) -> int:
    """Days since 1970-01-01 of an ISO 8601 date; a time of day behind it is passed over.

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
    """Like `day`; a month alone, written 2024-03, stands for its first day."""
    return day(f"{text}-01" if MONTH.fullmatch(text) else text)


def perhaps_day(text: str) -> int:
    """Like `month_day`; NONE where there is nothing."""
    return month_day(text) if text else NONE


def amount(text: str) -> float:
    """A number with a point for decimals; no thousands separators, no currency signs. Spaces around it are passed over.

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


def mrr(text: str) -> float:
    """Like `amount`, and never negative: a month's MRR has no refunds."""
    value = amount(text)
    if value < 0:
        raise Bad("a negative MRR")
    return value


def whole(text: str) -> int:
    """How many months a charge pays for; 1 where nothing is said."""
    if not text:
        return 1
    if not re.fullmatch(r"[0-9]{1,2}(\.0+)?", text) or not 1 <= int(float(text)) <= 60:
        raise Bad("months that are not a whole number from 1 to 60")
    return int(float(text))


def name(text: str, *, otherwise: str) -> str:
    """A plan's name on one line; `otherwise` where there is none."""
    text = " ".join(text.split())
    if not text.isprintable() or len(text) > 80:
        raise Bad("a plan's name that is no short line of text")
    return text or otherwise


def currency(text: str) -> str:
    """A currency code of three capital letters; "" where there is none."""
    if text and not re.fullmatch("[A-Z]{3}", text):
        raise Bad("a currency that is not three capital letters")
    return text


def billing(text: str) -> int:
    """The months of one bill: 12 for yearly, 1 for monthly or nothing."""
    if text not in ("", "monthly", "yearly"):
        raise Bad("a billing that is neither monthly nor yearly")
    return 12 if text == "yearly" else 1


READERS = {
    "date": day,
    "month": month_day,
    "period_start": perhaps_day,
    "period_end": perhaps_day,
    "joined": perhaps_day,
    "amount": amount,
    "mrr": mrr,
    "months": whole,
    "plan": partial(name, otherwise="all"),
    "currency": currency,
    "billing": billing,
}
