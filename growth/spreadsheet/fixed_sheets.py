"""The two sheets of plain numbers: the band, and the what-ifs side by side, as computed when the workbook was made.

The band takes a forecast for either end of each range and the variances of chance, and every what-if is a forecast of
its own, while the workbook holds the formulas of one. So both sheets say that they do not follow the white cells. Only
the differences between what-ifs are formulas.
"""

from __future__ import annotations

import math
from typing import Any

from growth.calculator.language import said
from growth.calculator.number_words import money, month_count, month_labels
from growth.comparison import SERIES, amounts, closes, what_if_forecasts, what_if_notes
from growth.engine import Forecast
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula
from growth.spreadsheet.months_sheet import MonthsSheet
from growth.spreadsheet.styles import GAIN, GOAL, INK, LOSS, SOFT, MrrChart
from growth.spreadsheet.texts import cell_text
from growth.spreadsheet.worksheet import DASH, FIRST, FormulaTable, Worksheet, text_lines
from growth.uncertainty import spread_of
from growth.uncertainty.sample import ranges_of

_OUTER = {"color": SOFT, "width": 1, "dash_type": "dash"}
_INNER = {"color": GAIN, "width": 1, "dash_type": "square_dot"}
BAND: dict[str, tuple[float | None, dict[str, Any]]] = {  # by column: the share of cases that lie below, and its line
    "low": (0.05, _OUTER),
    "lower": (0.25, _INNER),
    "likely": (None, {"color": GAIN, "width": 2.5}),
    "upper": (0.75, _INNER),
    "high": (0.95, _OUTER),
}
MEASURES = (
    ("churn", "churn"),
    ("goal_month", "month"),
    ("left_month", "month"),
    ("ceiling_mrr", "money"),
    ("lowest_cash", "money"),
    ("lifetime_value", "money"),
    ("payback_months", "months"),
)
_KINDS = {"mrr": "money", "customers": "people", "left": "money"}
_SHOWN = {"money": 0.5, "people": 0.05, "churn": 0.00005}  # a difference below this one shows as nothing
_LABEL, _AMOUNT, _DIFFERENCE, _CHART_ROWS = 36, 18, 14, 20
_COLOURS, _DASHES = (LOSS, GOAL, INK), ("solid", "dash")


def fill_band(book: WorkbookContext, months: MonthsSheet) -> str:
    """Fill the sheet of the band; returns the line that the first sheet says of it."""
    words, scenario, last = book.words["band"], book.scenario, book.scenario.months
    spread = spread_of(scenario)
    rests = words["ranges_and_chance" if ranges_of(scenario) else "chance_alone"]
    lines = [words["fixed"], words["rests"].replace("{what}", rests)]
    table, _, _ = book.month_table("band", title=words["title"], lines=lines)
    opening = float(book.forecast.opening_mrr[0])
    paths = {
        name: [opening, *(book.forecast.closing_mrr if share is None else spread.quantile(share)).tolist()]
        for name, (share, _) in BAND.items()
    }
    columns = table.named(words, dict.fromkeys(BAND, "money"), width=14)
    for name, path in paths.items():
        for month, value in enumerate(path):
            style = "opening" if not month else "strong" if name == "likely" else "cell"
            columns[name].put(month, value, style)
    table.finish()
    chart = MrrChart(book, months=months)
    for name, (_, line) in reversed(BAND.items()):
        cells = table.sheet.address(columns[name].span(0, last))
        chart.add(words[name], cells, line, at=last - max(last // 6, 1))
    chart.insert(table.sheet, FIRST, table.columns, size=(720, 400), described=words["chart_described"], x_offset=20)
    low, high = (money(float(f"{paths[name][-1]:.3g}"), scenario.currency, book.locale, 0) for name in ("low", "high"))
    told = words["told"].replace("{months}", str(last)).replace("{low}", low).replace("{high}", high)
    return f"{told} {words['where']}"


def fill_what_ifs(book: WorkbookContext, months: MonthsSheet) -> str:
    """Fill the sheet of the what-ifs; return the line that the first sheet says of it, "" where there are none."""
    scenario, words = book.scenario, book.words["what_ifs"]
    if not scenario.what_ifs:
        return ""
    title, base = book.messages["beside"]["title"], book.messages["calculator"]["unchanged"]
    forecasts = {base: book.forecast, **what_if_forecasts(scenario)}
    rows = len(closes(scenario.months)) * len(SERIES) + len(MEASURES)
    table = FormulaTable(book.sheets["what_ifs"], title=title, lines=[], last=rows)
    table.column("", width=_LABEL, left=True)
    columns = [table.column(base, width=_AMOUNT).index]
    for name in list(forecasts)[1:]:
        columns.append(table.column(name, width=_AMOUNT).index)
        table.column(words["difference"], width=_DIFFERENCE)
    _across(table, 1, book.words["band"]["fixed"])
    _across(table, 2, words["lead"].replace("{base}", base))
    row = _compare(book, table.sheet, list(forecasts.values()), columns)
    for name, note in what_if_notes(scenario).items():
        row += 1
        _across(table, row, cell_text(f"{name}: {note}"))
    last = _lines(book, table, forecasts, columns, row=row + 2, chart=MrrChart(book, months=months))
    table.sheet.print_setup(heads=(FIRST - 1, FIRST - 1), labels=1)
    table.sheet.worksheet.set_h_pagebreaks([row + 1])
    table.sheet.worksheet.print_area(0, 0, last, table.columns - 1)
    return str(words["where"])


def _across(table: FormulaTable, row: int, text: str) -> None:
    """Write a text across the table, in a row as high as its lines."""
    height = 15 * text_lines(text, width=table.width, size=11) + 3
    table.sheet.across(row, (0, table.columns - 1), text, "prose", height=height)


def _compare(book: WorkbookContext, sheet: Worksheet, forecasts: list[Forecast], columns: list[int]) -> int:
    """Write a row for each number that at least one of them has; return the row below the last."""
    months, words = book.scenario.months, book.messages["beside"]
    labels = month_labels(book.scenario.first_month, max(one.months for one in forecasts), book.locale)
    found = [amounts(one, months) for one in forecasts]
    lines = [(f"{name}.{close}", labels[close], _KINDS[name]) for name, _ in SERIES for close in closes(months)]
    lines += [(name, labels[months], kind) for name, kind in MEASURES]
    row = FIRST
    for key, calendar, kind in lines:
        values = [one[key] for one in found]
        free = key == "payback_months" and not any(value > 0 for value in values)
        if free or all(map(math.isnan, values)):
            continue
        sheet.put(row, 0, said(words[key.partition(".")[0]], calendar=calendar), "cell")
        base = None
        for value, column in zip(values, columns, strict=True):
            if math.isnan(value):
                sheet.put(row, column, DASH, "right")
            elif kind in ("month", "months"):
                text = labels[int(value)] if kind == "month" else month_count(value, book.locale)
                sheet.put(row, column, text, "right")
                _put_months(book, sheet, row, column + 1, value - values[0])
            else:
                cell = sheet.put(row, column, value, "cell", kind)
                base = cell if column == columns[0] else base
                if base is not None and abs(value - values[0]) >= _SHOWN[kind]:
                    _put_difference(book, sheet, row, column + 1, cell - base, kind)
        row += 1
    return row


def _put_months(book: WorkbookContext, sheet: Worksheet, row: int, column: int, difference: float) -> None:
    if abs(difference) >= 1:
        sign = "+" if difference > 0 else "\N{MINUS SIGN}"
        sheet.put(row, column, sign + month_count(abs(difference), book.locale), "right_soft")


def _put_difference(
    book: WorkbookContext, sheet: Worksheet, row: int, column: int, difference: Formula, kind: str
) -> None:
    if kind == "churn":
        before, after = (
            f'"{part}"' if part else "" for part in book.messages["beside"]["points"]["other"].split("{n}")
        )
        shown = f"{before}0.00{after}"
        sheet.put(row, column, difference * 100, "soft", f"+{shown};-{shown}")
    else:
        sheet.put(row, column, difference, "soft", book.styles.signed(kind))


def _lines(
    book: WorkbookContext,
    table: FormulaTable,
    forecasts: dict[str, Forecast],
    columns: list[int],
    *,
    row: int,
    chart: MrrChart,
) -> int:
    """Draw MRR of all on a chart from `row` on, with its numbers below; return the last row."""
    sheet, months = table.sheet, book.scenario.months
    first = row + _CHART_ROWS + 2
    title = book.messages["calculator"]["chart_title"]
    heads = max(text_lines(title, width=_LABEL - 2), *(text_lines(name, width=_AMOUNT - 2) for name in forecasts))
    sheet.worksheet.set_row(first - 1, 13 * heads + 5)
    sheet.put(first - 1, 0, title, "head_left")
    labels = month_labels(book.scenario.first_month, months, book.locale)
    for month, text in enumerate(labels):
        sheet.put(first + month, 0, text, "soft")
    span = (first, first + months)
    paths = [[float(one.opening_mrr[0]), *one.closing_mrr.tolist()][: months + 1] for one in forecasts.values()]
    for number, (name, path, column) in enumerate(zip(forecasts, paths, columns, strict=True)):
        sheet.put(first - 1, column, name, "head")
        for month, value in enumerate(path):
            sheet.put(first + month, column, value, "cell" if month else "opening", "money")
        line: dict[str, Any] = {"color": GAIN, "width": 2.5}
        if number:
            dash = _DASHES[(number - 1) // len(_COLOURS)]
            line = {"color": _COLOURS[(number - 1) % len(_COLOURS)], "width": 1.5, "dash_type": dash}
        cells = sheet.address(sheet.cells(span, (column, column), [0.0]))
        chart.add(name, cells, line, at=clearest(path, paths[:number] + paths[number + 1 :]))
    size = (min(round(7 * table.width), 800), _CHART_ROWS * 20)
    chart.insert(sheet, row, 0, size=size, described=book.words["what_ifs"]["chart_described"])
    return first + months


def clearest(path: list[float], others: list[list[float]]) -> int:
    """The month at whose point a name above a line is farthest from the other lines, and not at the chart's edge.

    >>> clearest([0, 1, 2, 3, 4, 5, 6], [[0, 4, 5, 5, 5, 5, 5]])
    1
    >>> clearest([0, 4, 5, 5, 5, 5, 5], [[0, 1, 2, 3, 4, 5, 6]])
    1
    """
    end = len(path) - 1

    def room(month: int) -> float:
        gaps = [other[month] - path[month] for other in others if month < len(other)]
        above = [gap for gap in gaps if gap >= 0]
        return min(above, default=min(map(abs, gaps), default=float(month)))

    return max(range(max(end // 6, 1), max(end - end // 6, 1) + 1), key=room) if end else 0
