"""Other ways to write dates, amounts and discounts, as the file for --columns names them, rewritten in ours."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

import pyarrow as pa
import pyarrow.compute as pc

DateOrder = Literal["year-month-day", "day-month-year", "month-day-year"]
PLACES: dict[DateOrder, str] = {
    "year-month-day": r"(?P<y>[0-9]{4})SEP(?P<m>[0-9]{1,2})SEP(?P<d>[0-9]{1,2})",
    "day-month-year": r"(?P<d>[0-9]{1,2})SEP(?P<m>[0-9]{1,2})SEP(?P<y>[0-9]{4}|[0-9]{2})",
    "month-day-year": r"(?P<m>[0-9]{1,2})SEP(?P<d>[0-9]{1,2})SEP(?P<y>[0-9]{4}|[0-9]{2})",
}
SEPARATOR = "[-/. ]"
MONTHS = ("jan", "feb", "mar|mär", "apr", "may|mai", "jun", "jul", "aug", "sep", "oct|okt", "nov", "dec|dez")
GAP = "[-/ ]+"
TIME = r"(?:[T ,]+[0-9]{1,2}:[0-9]{2}.{0,25})?"
ZONED = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,9})?)?(?:Z|[+-][0-9]{2}:?[0-9]{2})$"
SIGNS = {"€": "EUR", "£": "GBP", "$": "USD", "¥": "JPY", "₹": "INR"}  # what a sign most often means
MONEY_SIGN = r"(?:[€£$¥₹]|[A-Za-z]{3})"


def iso_dates(texts: pa.Array, order: DateOrder) -> pa.Array:
    """Rewrite dates as year-month-day, and months such as 02/2025; what is not in this order stays as it is.

    >>> iso_dates(pa.array(["3 Feb 2025", "February 3, 2025 9:00 AM", "31. Mai 2025"]), "month-day-year").to_pylist()
    ['2025-02-03', '2025-02-03', '2025-05-31']
    >>> iso_dates(pa.array(["3/2/2025 10:15", "03.02.25", "02/2025", "2025-02-03", "x"]), "day-month-year").to_pylist()
    ['2025-02-03', '2025-02-03', '2025-02', '2025-02-03', 'x']
    """
    texts = _with_named_months(pc.utf8_trim_whitespace(texts))
    full = f"^{PLACES[order].replace('SEP', SEPARATOR)}{TIME}$"
    for pattern, names in ((full, "ymd"), (f"^(?P<m>[0-9]{{1,2}}){SEPARATOR}(?P<y>[0-9]{{4}})$", "ym")):
        parts = pc.extract_regex(texts, pattern)
        found = [pc.struct_field(parts, name) for name in names]
        year = pc.if_else(
            pc.equal(pc.utf8_length(found[0]), 2), pc.binary_join_element_wise("20", found[0], ""), found[0]
        )
        written = pc.binary_join_element_wise(year, *(pc.utf8_lpad(part, 2, "0") for part in found[1:]), "-")
        texts = pc.if_else(pc.is_valid(parts), written, texts)
    return texts


def _with_named_months(texts: pa.Array) -> pa.Array:
    """Rewrite dates whose month is a name, of which the order tells nothing, as year-month-day."""
    if not pc.any(pc.match_substring_regex(texts, "[A-Za-z]{3}")).as_py():
        return texts
    for number, month in enumerate(MONTHS, 1):
        name = f"(?:(?i){month})[a-zäé]*[.]?"
        day_first = f"(?P<d>[0-9]{{1,2}})[.]?{GAP}{name}{GAP}(?P<y>[0-9]{{4}})"
        for pattern in (day_first, f"{name}{GAP}(?P<d>[0-9]{{1,2}}),?{GAP}(?P<y>[0-9]{{4}})"):
            parts = pc.extract_regex(texts, f"^{pattern}{TIME}$")
            day = pc.utf8_lpad(pc.struct_field(parts, "d"), 2, "0")
            written = pc.binary_join_element_wise(pc.struct_field(parts, "y"), f"{number:02}", day, "-")
            texts = pc.if_else(pc.is_valid(parts), written, texts)
    return texts


def days_in_zone(texts: pa.Array, zone: str) -> pa.Array:
    """Turn times that say their zone into the date that it then was in `zone`; all other texts stay as they are.

    >>> days_in_zone(pa.array(["2025-01-31T23:30:00Z", "2025-01-31 23:30", "2025-01-31"]), "Europe/Berlin").to_pylist()
    ['2025-02-01', '2025-01-31 23:30', '2025-01-31']
    """
    zoned = pc.match_substring_regex(texts, ZONED)
    if not pc.any(zoned).as_py():
        return texts
    try:
        times = texts.filter(zoned).cast(pa.timestamp("ns", tz="UTC")).cast(pa.timestamp("ns", tz=zone))
    except pa.ArrowInvalid:  # a time that is not in the calendar, which is then named with its line
        return texts
    days = pc.floor_temporal(pc.local_timestamp(times), unit="day").cast(pa.date32()).cast(pa.string())
    return pc.replace_with_mask(texts, zoned, days)


def plain_numbers(texts: pa.Array, *, decimal: str, thousands: str, signs: Sequence[str] = ()) -> pa.Array:
    """Rewrite numbers in another notation with a decimal point; what is not in that notation becomes unreadable.

    signs: those that are taken off before or behind a number.

    >>> plain_numbers(pa.array(["1.240,50", "-25", "12.5", ""]), decimal=",", thousands=".").to_pylist()
    ['1240.50', '-25', '?', '']
    >>> prices = pa.array(["€25", "-€1,240.00", "25 EUR", "$1"])
    >>> plain_numbers(prices, decimal=".", thousands=",", signs=["€", "EUR"]).to_pylist()
    ['25', '-1240.00', '25', '?']
    """
    if signs:
        any_sign = "|".join(map(re.escape, signs))
        texts = pc.replace_substring_regex(texts, rf"^\s*([+-]?)\s*(?:{any_sign})\s*([+-]?[0-9.,])", r"\1\2")
        texts = pc.replace_substring_regex(texts, rf"([0-9])\s*(?:{any_sign})\s*$", r"\1")
    sign, point = re.escape(thousands), re.escape(decimal)
    grouped = f"[0-9]{{1,3}}({sign}[0-9]{{3}})+|" if thousands else ""
    fits = pc.match_substring_regex(texts, f"^\\s*([+-]?({grouped}[0-9]+)({point}[0-9]+)?)?\\s*$")
    bare = pc.replace_substring(texts, thousands, "") if thousands else texts
    return pc.if_else(fits, pc.replace_substring(bare, decimal, "."), "?")


def with_percent_sign(texts: pa.Array) -> pa.Array:
    """Put a percent sign behind numbers that have none.

    >>> with_percent_sign(pa.array(["20", "5%", ""])).to_pylist()
    ['20%', '5%', '']
    """
    return pc.replace_substring_regex(texts, r"^(\s*[0-9.]+)\s*$", r"\1%")
