"""Rates of exchange by month, from a CSV file."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

from growth.errors import Problem
from growth.files import read_input
from growth.records.read.rows import RecordsError

MOST_BYTES = 1 << 20
COLUMNS = ("month", "currency", "rate")


def load_rates(path: str | Path) -> dict[str, dict[str, float]]:
    """Read a CSV file with the columns month (2025-01), currency and rate: how much of our currency one of it is.

    Raises
    ------
    RecordsError
        There is no such file, or a line of it cannot be read.
    """
    file = str(path)
    text = read_input(path, most_bytes=MOST_BYTES, error=RecordsError).decode("utf-8-sig", "replace")
    lines = csv.DictReader(io.StringIO(text))
    try:
        names, rows = lines.fieldnames or (), [(lines.line_num, row) for row in lines]
    except csv.Error as error:
        problem = Problem("", "rows of a CSV file", str(error), line=lines.line_num + 1)
        raise RecordsError([problem], file=file) from None
    if not set(COLUMNS) <= set(names):
        raise RecordsError([Problem("", f"the columns {', '.join(COLUMNS)} in the first line", line=1)], file=file)
    rates: dict[str, dict[str, float]] = {}
    for number, row in rows:
        month, code, rate = ((row[name] or "").strip() for name in COLUMNS)
        field, rule = "month", "a month such as 2025-01"
        right = re.fullmatch(r"[0-9]{4}-(0[1-9]|1[0-2])", month)
        if right:
            field, rule = "currency", "three letters such as USD"
            right = re.fullmatch("[A-Za-z]{3}", code)
        if right:
            field, rule = "rate", "a number above 0 with a decimal point"
            right = re.fullmatch(r"[0-9]{1,9}(\.[0-9]+)?", rate) if float_above_0(rate) else None
        if not right:
            raise RecordsError([Problem(field, rule, (row[field] or "nothing")[:20], line=number)], file=file)
        rates.setdefault(code.upper(), {})[month] = float(rate)
    return rates


def float_above_0(text: str) -> bool:
    """Whether a text is a number above 0."""
    try:
        return float(text) > 0
    except ValueError:
        return False
