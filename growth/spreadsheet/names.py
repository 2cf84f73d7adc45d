"""Texts and names that a workbook may hold: cells of text, names of sheets, names of input cells."""

from __future__ import annotations

import re
from collections.abc import Iterable
from unicodedata import category

LONGEST_CELL = 32_767  # characters
LONGEST_SHEET = 31
_SAFE = " -.,&+%"  # beside letters and digits; other signs are refused by sheets, or misread within a formula
_SHORTER = (  # places in a scenario, and how the name of an input cell begins
    (r"^arrive\.channels\.(\d+)", "channel"),
    (r"^pay\.plans\.(\d+)", "plan"),
    (r"^stay\.churn_changes\.(\d+)", "churn_change"),
    (r"^grow\.price_changes\.(\d+)", "price_change"),
    (r"^opening\.ages\.(\d+)", "opening_age"),
    (r"^changes\.(\d+)", "change"),
)


def cell_text(text: str) -> str:
    """A text as a cell can hold it: no control characters but line ends, at most 32,767 characters.

    >>> cell_text("one\\x07two"), len(cell_text("x" * 40_000))
    ('one two', 32767)
    """
    clean = "".join(c if c == "\n" or category(c) not in ("Cc", "Cs") else " " for c in text.replace("\r\n", "\n"))
    return clean if len(clean) <= LONGEST_CELL else clean[: LONGEST_CELL - 3] + "..."


def sheet_names(wanted: Iterable[str]) -> list[str]:
    """A name for each sheet: letters, digits and plain signs, 31 characters at most, no two alike.

    >>> sheet_names(["Months", "a/b", "A:b", "it's", "(!)"])
    ['Months', 'a b', 'A b 2', 'it s', 'Sheet']
    """
    names: list[str] = []
    for text in wanted:
        safe = "".join(c if c in _SAFE or category(c)[0] in "LMN" else " " for c in text)
        clean = " ".join(safe.split()) or "Sheet"
        clean = "Sheet" if clean.lower() == "history" else clean  # a name that one program keeps to itself
        taken, count = {name.lower() for name in names}, 1
        name = _cut(clean, LONGEST_SHEET)
        while name.lower() in taken:
            count += 1
            ending = f" {count}"
            name = _cut(clean, LONGEST_SHEET - len(ending)) + ending
        names.append(name)
    return names


def quoted(sheet: str) -> str:
    """A sheet's name as a formula has it.

    >>> quoted("Plan Studio"), quoted("Months")
    ("'Plan Studio'", 'Months')
    """
    return sheet if re.fullmatch("[A-Za-z]{4,}", sheet) else f"'{sheet}'"  # three letters may be a column


def input_name(place: str) -> str:
    """The name of an input cell, from the place of its value in a scenario; parts of lists count from 1.

    >>> input_name("arrive.channels.0.launches.1.visitors"), input_name("stay.churn.monthly_churn_rate")
    ('channel_1_launch_2_visitors', 'churn_monthly_churn_rate')
    """
    for pattern, head in _SHORTER:
        if found := re.match(pattern, place):
            place = f"{head}_{int(found[1]) + 1}{place[found.end() :]}"
    place = re.sub(r"launches\.(\d+)", lambda found: f"launch_{int(found[1]) + 1}", place)
    place = re.sub(r"(season|survival|delay_share)s?\.(\d+)$", lambda found: f"{found[1]}_{int(found[2]) + 1}", place)
    place = re.sub(r"^(arrive|sign_up|pay|stay|grow|bill)\.", "", place).replace("comeback.comeback", "comeback")
    return place.replace(".", "_")


def _cut(text: str, length: int) -> str:
    """The first so many units of UTF-16, in which programs count."""
    while len(text.encode("utf-16-le")) // 2 > length:
        text = text[:-1]
    return text.rstrip()
