"""A recalculated workbook against the Python engine, the reference: every series, the goal month and the ceiling.

The tolerance is that of the page's engine: |a - b| <= 1e-9 max(|a|, |b|) + 1e-15 x the largest amount of its kind in
the scenario (people, money): a few roundings of a float, which is what is left where large amounts cancel. Ratios have
no such floor; a dash equals NaN alone.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import openpyxl

import growth
from growth.engine import SERIES
from growth.measures import customer_ceiling, goal_month, growth_ceiling
from growth.measures.ceiling import REASONS

RATIOS = {"arpa", "monthly_customer_churn_rate", "monthly_gross_revenue_churn_rate"}
PEOPLE = {"visitors", "sign_ups", "referred_sign_ups", "payments"} | {
    name for name in SERIES if name.endswith("_customers")
}
MONEY = set(SERIES) - PEOPLE - RATIOS
DASH = "\N{EN DASH}"


def read(book: openpyxl.Workbook, names: dict[str, str], *, months: int) -> dict[str, np.ndarray]:
    """The series of the sheet Months by name; names: the cells' names in the workbook."""
    page = book["Months"]
    columns = {}
    for name in SERIES:
        column = names[name]
        cells = [page[f"{column}{8 + month}"].value for month in range(1, months + 1)]
        columns[name] = np.array([np.nan if value == DASH else value for value in cells], dtype=float)
    return columns


def apart(python: np.ndarray, sheet: np.ndarray, scale: float) -> bool:
    """Whether two arrays differ anywhere by more than the tolerance; `scale` 0 leaves 1e-9 relative alone."""
    same = (python == sheet) | (np.isnan(python) & np.isnan(sheet))
    with np.errstate(invalid="ignore"):
        near = np.abs(python - sheet) <= 1e-9 * np.maximum(np.abs(python), np.abs(sheet)) + 1e-15 * scale
    return not np.all(same | near)


def series_columns(book: openpyxl.Workbook) -> dict[str, str]:
    """The column of each series on the sheet Months, found by group and heading as a reader finds them."""
    from growth.spreadsheet.months import GROUPS
    from growth.spreadsheet.words import workbook_words

    page, found, group = book["Months"], {}, ""
    wanted = {
        (workbook_words()["months"]["groups"][key], workbook_words()["series"][name]): name
        for key, names in GROUPS
        for name in names.split()
    }
    for cell in page[7]:
        group = page[f"{cell.column_letter}6"].value or group
        name = wanted.get((group, cell.value))
        if name:
            found[name] = cell.column_letter
    return found


def label_value(book: openpyxl.Workbook, sheet: str, label: str) -> Any:
    """What stands right of a label in the first column."""
    page = book[sheet]
    return next(page.cell(row, 2).value for row in range(1, page.max_row + 1) if page.cell(row, 1).value == label)


def differences(forecast: growth.Forecast, book: openpyxl.Workbook) -> list[str]:
    """The names of the series and measures in which the workbook is not the Python engine."""
    from growth.spreadsheet.words import workbook_words

    sheet = read(book, series_columns(book), months=forecast.months)
    python = {name: getattr(forecast, name) for name in SERIES}
    people, money = (max(np.abs(python[name]).max() for name in names) for names in (PEOPLE, MONEY))
    scale = {name: 0.0 if name in RATIOS else people if name in PEOPLE else money for name in SERIES}
    found = [name for name in SERIES if apart(python[name], sheet[name], scale[name])]
    ceiling, words = growth_ceiling(forecast), workbook_words()["ceiling"]
    code = label_value(book, "Ceiling", words["reason"])
    if code != REASONS.index(ceiling.reason):
        found.append(f"reason {code} for {ceiling.reason!r}")
    for label, value in (("level_mrr", ceiling.value), ("level_customers", customer_ceiling(forecast).value)):
        given = label_value(book, "Ceiling", words[label])
        if not abs(given - (value or 0.0)) <= 1e-9 * abs(value or 0.0):
            found.append(f"{label} {given} for {value}")
    month = label_value(book, "Sentence", workbook_words()["sentence"]["facts"]["goal_month"])
    if month != (DASH if goal_month(forecast).value is None else goal_month(forecast).value):
        found.append(f"goal month {month} for {goal_month(forecast).value}")
    return found
