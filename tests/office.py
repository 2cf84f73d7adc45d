"""LibreOffice as an independent calculator of workbooks, and what it finds held against the Python engine.

It recomputes every formula; its results are read back. The tolerance is that of the page's engine: |a - b| <= 1e-9
max(|a|, |b|) + 1e-15 x the largest amount of its kind in the scenario (people, money): a few roundings of a float, all
that is left where large amounts cancel. Ratios have no such floor; a dash equals NaN alone.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest

import growth
from growth.calculator.language import languages, locale_of
from growth.calculator.words import answer
from growth.engine import SERIES
from growth.measures import customer_ceiling, goal_month, growth_ceiling
from growth.measures.reason import Reason
from growth.spreadsheet.months_sheet import GROUPS
from growth.spreadsheet.texts import workbook_words

SOFFICE = shutil.which("soffice") or shutil.which("libreoffice")
needs_office = pytest.mark.skipif(not SOFFICE, reason="libreoffice is not installed")

# Without this setting stored values are kept on loading, and a check would compare our numbers with themselves.
ALWAYS_RECALCULATE = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"
  xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse">
<value>0</value></prop></item>
</oor:items>
"""


def without_charts(workbook: Path) -> None:
    """Take a workbook's charts out of its sheets: drawing them takes LibreOffice longer than the formulas do."""
    with zipfile.ZipFile(workbook) as parts:
        whole = {name: parts.read(name) for name in parts.namelist()}
    with zipfile.ZipFile(workbook, "w") as parts:
        for name, content in whole.items():
            parts.writestr(name, re.sub(rb"<drawing [^>]*/>", b"", content))


def recalculated(workbooks: list[Path], *, folder: Path, charts: bool = True) -> dict[str, Path]:
    """The workbooks as LibreOffice saves them after computing every formula, in one call; by name without ending.

    `test_workbook.py` has LibreOffice open charts as well.
    """
    if not charts:
        for workbook in workbooks:
            without_charts(workbook)
    profile, out = folder / "profile", folder / "recalculated"
    settings = profile / "user" / "registrymodifications.xcu"
    settings.parent.mkdir(parents=True)
    settings.write_text(ALWAYS_RECALCULATE, "utf-8")
    command = [SOFFICE, "--headless", f"-env:UserInstallation={profile.as_uri()}", "--convert-to", "xlsx"]
    done = subprocess.run(
        [*command, "--outdir", out, *workbooks], capture_output=True, text=True, timeout=900, check=False
    )
    missing = [path.name for path in workbooks if not (out / path.name).exists()]
    assert not missing, f"not converted: {missing}; {done.stdout[-300:]} {done.stderr[-300:]}"
    return {path.stem: out / path.name for path in workbooks}


def sheet_values(workbook: Path, *sheets: str) -> dict[str, list[tuple]]:
    """The values of some sheets of a workbook, or of all, as rows of cells; row 1 is at index 0, and so on."""
    book = openpyxl.load_workbook(workbook, read_only=True, data_only=True)
    rows = {}
    for name in sheets or book.sheetnames:
        page = book[name]
        page.reset_dimensions()
        rows[name] = list(page.iter_rows(values_only=True))
    book.close()
    return rows


RATIOS = {"arpa", "monthly_customer_churn_rate", "monthly_gross_revenue_churn_rate"}
PEOPLE = {"visitors", "sign_ups", "referred_sign_ups", "payments"} | {
    name for name in SERIES if name.endswith("_customers")
}
MONEY = set(SERIES) - PEOPLE - RATIOS
DASH = "\N{EN DASH}"
GROUP_ROW, HEAD_ROW, FIRST_ROW = 5, 6, 7  # of group names, headings and month 0, counted from 0
WORDS = workbook_words()


def months_of(rows: list[tuple], words: dict[str, Any] = WORDS) -> dict[str, np.ndarray]:
    """The series of the sheet Months, each found by its group and heading as a reader finds it."""
    wanted = {
        (words["months"]["groups"][key], words["series"][name]): name
        for key, names in GROUPS.items()
        for name in names.split()
    }
    found, group = {}, ""
    for column, heading in enumerate(rows[HEAD_ROW]):
        group = rows[GROUP_ROW][column] or group
        if name := wanted.get((group, heading)):
            cells = [row[column] for row in rows[FIRST_ROW + 1 :] if row[0] is not None]
            found[name] = cells
    return {
        name: np.array([np.nan if value == DASH else value for value in found[name]], dtype=float) for name in SERIES
    }


def beside(rows: list[tuple], label: str) -> Any:
    """What stands right of a label in the first column."""
    return next(row[1] for row in rows if row and row[0] == label)


def apart(python: np.ndarray, sheet: np.ndarray, scale: float) -> bool:
    """Whether two arrays differ anywhere by more than the tolerance; `scale` 0 leaves 1e-9 relative alone."""
    same = (python == sheet) | (np.isnan(python) & np.isnan(sheet))
    with np.errstate(invalid="ignore"):
        near = np.abs(python - sheet) <= 1e-9 * np.maximum(np.abs(python), np.abs(sheet)) + 1e-15 * scale
    return not np.all(same | near)


def differences(forecast: growth.Forecast, workbook: Path, words: dict[str, Any] = WORDS) -> list[str]:
    """The names of the series and measures in which a recalculated workbook is not the Python engine."""
    sheets = sheet_values(workbook, *(words["sheets"][key] for key in ("months", "ceiling", "sentence")))
    months, ceiling_rows, sentence = sheets.values()
    sheet = months_of(months, words)
    python = {name: getattr(forecast, name) for name in SERIES}
    people, money = (max(np.abs(python[name]).max() for name in names) for names in (PEOPLE, MONEY))
    scale = {name: 0.0 if name in RATIOS else people if name in PEOPLE else money for name in SERIES}
    found = [name for name in SERIES if apart(python[name], sheet[name], scale[name])]
    ceiling = growth_ceiling(forecast)
    reason = beside(ceiling_rows, words["ceiling"]["reason"])
    if reason != (Reason(ceiling.code).number if ceiling.code else 0):
        found.append(f"reason {reason} for {ceiling.code!r}")
    for label, value in (("level_mrr", ceiling.value), ("level_customers", customer_ceiling(forecast).value)):
        given = beside(ceiling_rows, words["ceiling"][label])
        if not abs(given - (value or 0.0)) <= 1e-9 * abs(value or 0.0):
            found.append(f"{label} {given} for {value}")
    month, expected = beside(sentence, words["sentence"]["facts"]["goal_month"]), goal_month(forecast).value
    if month != (DASH if expected is None else expected):
        found.append(f"goal month {month} for {expected}")
    locale = next(locale for locale in map(locale_of, languages()) if workbook_words(locale) == words)
    said = " ".join(filter(None, (beside(sentence, words["sentence"]["facts"][key]) for key in ("answer", "cash"))))
    if language_free(said) != language_free(answer(forecast, locale)):
        found.append(f"says {said!r} for {answer(forecast, locale)!r}")
    return found


def language_free(text: str) -> str:
    """A sentence without the signs that group digits and mark decimals, which follow the program's own locale."""
    return re.sub(r"(?<=\d)[.,\xa0](?=\d)", "", text)
