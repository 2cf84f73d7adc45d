"""The workbook whole: its sheets in order, filled month by month, and written so that a failure loses nothing."""

from __future__ import annotations

import datetime
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from growth.calculator.language import direction, locale_of
from growth.engine import Forecast, forecast
from growth.errors import Problem, PublishError, ScenarioError
from growth.giveaway.brief import Giveaway
from growth.giveaway.placeholders import load_giveaway
from growth.output import check_output, write_output
from growth.scenario.file import load_scenario
from growth.spreadsheet.answer_sheet import fill_answer
from growth.spreadsheet.arrivals_sheet import ArrivalsSheet
from growth.spreadsheet.assumptions_sheet import fill_assumptions
from growth.spreadsheet.ceiling_sheet import CeilingSheet
from growth.spreadsheet.changes_sheet import ChangesSheet, needed
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.fixed_sheets import fill_band, fill_what_ifs
from growth.spreadsheet.inputs import Inputs
from growth.spreadsheet.months_sheet import MonthsSheet
from growth.spreadsheet.opening_sheet import OpeningSheet
from growth.spreadsheet.plan_sheet import PlanSheet
from growth.spreadsheet.sentence_sheet import SentenceSheet
from growth.spreadsheet.stay_sheet import StaySheet
from growth.spreadsheet.styles import SANS, Styles
from growth.spreadsheet.texts import cell_text, sheet_names, workbook_locale
from growth.spreadsheet.worksheet import Worksheet

if TYPE_CHECKING:
    import xlsxwriter

PAPER_COLUMNS = 60  # columns laid with paper from the start; further ones are as they are used
CREATED = datetime.datetime(2000, 1, 1)  # the same bytes for the same scenario, whenever they are written


def write_spreadsheet(source: str | Path, *, to: str | Path, replace: bool = False) -> Path:
    """Write the workbook of a scenario file, whole or not at all.

    Parameters
    ----------
    source : a scenario file. The question and cautions of its giveaway part, where it has one, are on the first sheet.
    to : the file to write; its name ends in .xlsx.
    replace : replace a file there even if growth did not write it, or it was changed since.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    ScenarioError
        If the file is not valid, or has draws.
    FileError
        If `to` has another ending, is the scenario file itself, or may not be replaced.
    PublishError
        If XlsxWriter is missing or the workbook cannot be written; nothing is changed then.

    Examples
    --------
    >>> write_spreadsheet("forecast.yaml", to="forecast.csv")
    Traceback (most recent call last):
    ...
    growth.errors.FileError: forecast.csv: the name of the file to write ends in .xlsx
    """
    check_output(to, suffixes=[".xlsx"], inputs=[source], replace=replace)
    scenario = load_scenario(source)
    content = spreadsheet(forecast(scenario), giveaway=load_giveaway(source, scenario=scenario))
    try:
        return write_output(to, content, inputs=[source], replace=replace)
    except OSError as error:
        reason = error.strerror or str(error)
        raise PublishError([Problem("", "the workbook cannot be written", reason)], file=str(to)) from None


def spreadsheet(result: Forecast, *, giveaway: Giveaway | None = None) -> bytes:
    """The workbook of a forecast as the bytes of an .xlsx file.

    Every number of the scenario that can change is an input cell. Everything else follows by formulas that compute the
    model of growth/engine/model.md. Each formula is stored with its value, for series the forecast's own.

    Parameters
    ----------
    result : a forecast without draws.
    giveaway : its question and cautions are on the first sheet, and its language is that of the workbook.

    Returns
    -------
    bytes
        The same for the same scenario and giveaway.

    Raises
    ------
    ScenarioError
        If the scenario has draws: a cell holds one number.
    PublishError
        If XlsxWriter is missing.

    Examples
    --------
    >>> plans = [{"name": "Studio", "monthly_price": 20}]
    >>> spreadsheet(forecast(load_scenario({"business": "Fernhollow", "pay": {"plans": plans}})))[:2]
    b'PK'
    """
    if result.scenario.draws is not None:
        raise ScenarioError([Problem("scenario", "single numbers: a cell holds one", f"{result.scenario.draws} draws")])
    try:
        import xlsxwriter
    except ModuleNotFoundError:
        raise PublishError("a workbook needs XlsxWriter; install growth-workbook[spreadsheet]") from None
    stream = BytesIO()
    options = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "default_format_properties": {"font_name": SANS, "font_size": 10},  # column widths are measured in this font
    }
    workbook = xlsxwriter.Workbook(stream, options)
    workbook.worksheet_class = _plain_worksheet()
    _fill(workbook, result, giveaway or load_giveaway(None, scenario=result.scenario))
    workbook.close()
    return stream.getvalue()


def _fill(workbook: xlsxwriter.Workbook, result: Forecast, giveaway: Giveaway) -> None:
    """Add the sheets and fill them, each from those it rests on."""
    scenario, locale = result.scenario, workbook_locale(locale_of(giveaway.language))
    styles = Styles(workbook, currency=scenario.currency, locale=locale, look=giveaway.look)
    money = "cents" if np.max(result.closing_mrr, initial=0) < 10_000 else "money"
    inputs = Inputs(scenario, locale=locale)
    book = WorkbookContext(workbook, giveaway, scenario, result, inputs, styles, money, locale)
    _add_sheets(book)
    workbook.set_properties({"title": cell_text(giveaway.question)[:255], "created": CREATED})
    changes, opening = ChangesSheet(book), OpeningSheet(book)
    stay, arrivals = StaySheet(book, changes), ArrivalsSheet(book)
    plans = [
        PlanSheet(book, number, opening=opening, life=life, changes=changes) for number, life in enumerate(stay.lives)
    ]
    months = MonthsSheet(book, plans=plans, arrivals=arrivals)
    for month in range(1, scenario.months + 1):
        arrivals.month(month, months.columns["closing_customers"][month - 1])
        for plan in plans:
            plan.month(month, arrivals.columns["new_customers"][month])
        months.month(month)
    for plan in plans:
        plan.finish()
    level = CeilingSheet(book, lives=stay.lives, changes=changes, arrivals=arrivals, plans=plans, months=months).level
    months.finish(level)
    sentence = SentenceSheet(book, months=months, level=level)
    broken = fill_assumptions(book, of_ages=opening.broken)
    how_wide = f"{fill_band(book, months)} {fill_what_ifs(book, months)}".strip()
    fill_answer(book, sentence=sentence, months=months, broken=broken, how_wide=how_wide)


def _plain_worksheet() -> type:
    """A worksheet that stores formulas as they are: none here has a function of the last years to look for."""
    from xlsxwriter.worksheet import Worksheet

    class PlainWorksheet(Worksheet):
        def _prepare_formula(self, formula: str, expand_future_functions: bool = False) -> str:
            return formula.removeprefix("=")

    return PlainWorksheet


def _add_sheets(book: WorkbookContext) -> None:
    """The sheets in their order, protected without a password so that no formula is hit by accident."""
    scenario, plans = book.scenario, book.scenario.pay.plans
    keys = ["answer", "assumptions", "months", "band", *(["what_ifs"] if scenario.what_ifs else []), "arrivals"]
    keys += [*(["changes"] if needed(scenario) else []), "today", "stay"]
    keys += [*(f"plan {number}" for number in range(len(plans))), "ceiling", "sentence"]
    titles = book.words["sheets"] | {
        f"plan {number}": book.words["plan"].replace("{name}", plan.name) for number, plan in enumerate(plans)
    }
    names = sheet_names(titles[key] for key in keys)
    for number, (key, name) in enumerate(zip(keys, names, strict=True)):
        page = book.workbook.add_worksheet(name)
        page.hide_gridlines(2)
        if direction(book.locale) == "rtl":
            page.right_to_left()
        page.set_column(0, PAPER_COLUMNS, 10, book.styles("paper"))
        page.protect("", {"format_cells": True, "format_columns": True, "format_rows": True})
        page.ignore_errors({"formula_differs": "A1:XFD1048576", "formula_unlocked": "A1:XFD1048576"})
        book.sheets[key] = Worksheet(page, number=number, names=names, styles=book.styles)
