"""Billing records read a second time, plainly: from the text of growth/records/records.md, row by row, with dicts and
fractions, so that the package's arrays are held against something that is not them.
"""

from __future__ import annotations

import csv
import datetime
import io
import itertools
import re
from collections import defaultdict
from fractions import Fraction
from pathlib import Path

CHARGES = {"customer", "date", "amount"}
MONTHS = {"customer", "month", "mrr"}
OPTIONAL = {"months", "period_start", "period_end", "plan", "currency", "joined", "billing"}
MEAN_MONTH = Fraction(3652425, 120000)  # days


class Odd(Exception):
    """A row that records.md calls unreadable."""


def day(text: str) -> datetime.date:
    found = re.fullmatch(r"(\d{4})-(\d\d)-(\d\d)([T ]\d\d:\d\d(:\d\d(\.\d+)?)?(Z|[+-]\d\d:?\d\d)?)?", text, re.ASCII)
    if not found or not 1970 <= int(found[1]) <= 2199:
        raise Odd
    try:
        return datetime.date(*(int(found[n]) for n in (1, 2, 3)))
    except ValueError:
        raise Odd from None


def month_or_day(text: str) -> datetime.date:
    return day(text + "-01" if re.fullmatch(r"\d{4}-\d\d", text, re.ASCII) else text)


def perhaps(text: str) -> datetime.date | None:
    return month_or_day(text) if text else None


def amount(text: str) -> Fraction:
    if not re.fullmatch(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?", text.strip(" \t"), re.ASCII):
        raise Odd
    if abs(float(text)) > 1e12:
        raise Odd
    return Fraction(text.strip(" \t"))


def months(text: str) -> int:
    if text and not (re.fullmatch(r"\d{1,2}(\.0+)?", text, re.ASCII) and 1 <= float(text) <= 60):
        raise Odd
    return int(float(text or 1))


def number(date: datetime.date) -> int:
    """Months since 1970-01."""
    return (date.year - 1970) * 12 + date.month - 1


def charge(row: dict[str, str]) -> tuple[str, int, int, Fraction, int]:
    """(customer, first month paid for, how many, amount, month of its date) of one row; Odd where it cannot be read."""
    plan, currency = " ".join(row.get("plan", "").split()), row.get("currency", "").upper()
    if not row["customer"].strip() or not plan.isprintable() or len(plan) > 80:
        raise Odd
    if currency and not re.fullmatch("[A-Z]{3}", currency):
        raise Odd
    perhaps(row.get("joined", ""))
    if "mrr" in row:
        date, paid = month_or_day(row["month"]), amount(row["mrr"])
        if paid < 0 or row.get("billing", "").lower() not in ("", "monthly", "quarterly", "yearly"):
            raise Odd
        return row["customer"], number(date), 1, paid, number(date)
    date, paid = day(row["date"]), amount(row["amount"])
    start, end = perhaps(row.get("period_start", "")) or date, perhaps(row.get("period_end", ""))
    if end and end <= start:
        raise Odd
    span = months(row["months"]) if "months" in row else 1
    if end and "months" not in row:
        span = max(1, min(60, round(Fraction((end - start).days) / MEAN_MONTH)))
    return row["customer"], number(start), span, paid, number(date)


def charges(rows: list[dict[str, str]]) -> tuple[list, int]:
    """The rows that can be read, and how many cannot."""
    good = []
    for row in rows:
        try:
            good.append(charge(row))
        except Odd:
            continue
    return good, len(rows) - len(good)


def csv_rows(path: Path) -> tuple[list[dict[str, str]], int] | None:
    """The rows of a CSV file as text, and how many are no rows; None where its header names no records."""
    text = path.read_bytes().decode("utf-8-sig", "surrogateescape")
    first = text.split("\n")[0].split("\r")[0]
    headers = {sign: next(csv.reader([first], delimiter=sign), []) for sign in ",;\t|"}
    sign = max(headers, key=lambda sign: len(headers[sign]))
    header = [name.strip() for name in headers[sign]]
    if not (set(header) >= CHARGES or set(header) >= MONTHS):
        return None
    shape = CHARGES if set(header) >= CHARGES else MONTHS
    known = [name for name in header if name in shape | OPTIONAL - ({"billing"} if shape == CHARGES else {"months"})]
    known = [name for name in known if shape == CHARGES or not name.startswith("period_")]
    found, lost, reader, line = [], 0, csv.reader(io.StringIO(text, newline=""), delimiter=sign), 0
    while True:
        try:
            row = next(reader)
        except StopIteration:
            return found, lost
        except csv.Error:
            lost += 1
            continue
        line += 1
        if line == 1 or not row:
            continue
        values = dict(zip(header, row, strict=False))
        broken = len(row) != len(header) or any("\n" in value or "\r" in value for value in row)
        if broken or any("\udc80" <= sign <= "\udcff" for name in known for sign in values[name]):
            lost += 1
        else:
            found.append({name: values[name] for name in known})


def book(good: list) -> tuple[int, dict[tuple[str, int], Fraction], Fraction, Fraction]:
    """Months, MRR by customer and month, what is paid for later months, refunds that match no charge."""
    first, last = min(row[1] for row in good), max(row[4] for row in good)
    cells: dict[str, dict[int, Fraction]] = defaultdict(lambda: defaultdict(Fraction))
    ahead = unmatched = Fraction(0)
    for customer, start, span, paid, _ in good:
        for month in range(start - first, start - first + span):
            if month > last - first:
                ahead += paid / span
            elif paid:
                cells[customer][month] += paid / span
    mrr = {}
    for customer, by_month in cells.items():
        owed = Fraction(0)
        for month in sorted(by_month, reverse=True):  # what refunds exceed is set against the month before
            left = by_month[month] + owed
            owed = min(left, Fraction(0))
            if left > 0:
                mrr[customer, month] = left
        unmatched += owed
    return last - first + 1, mrr, ahead, unmatched


MOVES = ("opening", "new", "returned", "lost", "closing", "expansion", "contraction")


def bridge(size: int, mrr: dict[tuple[str, int], Fraction]) -> dict[str, list[Fraction]]:
    """The bridge from the second month on, customer by customer."""
    customers, money = ({move: [Fraction(0)] * (size - 1) for move in MOVES} for _ in range(2))

    def count(move: str, month: int, paid: Fraction) -> None:
        customers[move][month] += 1
        money[move][month] += paid

    ever: set[str] = set()
    by_month = [{who: paid for (who, when), paid in mrr.items() if when == month} for month in range(size)]
    for month, (before, now) in enumerate(itertools.pairwise(by_month)):
        ever |= before.keys()
        for who, paid in before.items():
            count("opening", month, paid)
            if who not in now:
                count("lost", month, paid)
        for who, paid in now.items():
            count("closing", month, paid)
            if who not in before:
                count("returned" if who in ever else "new", month, paid)
            else:
                count("expansion", month, max(paid - before[who], Fraction(0)))
                count("contraction", month, max(before[who] - paid, Fraction(0)))
    called = {"lost": "churned", "returned": "reactivation"}
    return {f"{move}_customers": values for move, values in customers.items()} | {
        f"{called.get(move, move)}_mrr": values for move, values in money.items()
    }
