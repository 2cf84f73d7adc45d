"""Band: between which amounts MRR lies in so many cases, as computed when the workbook was made.

It takes a whole forecast for either end of each range, and the variances of chance: too much to repeat as formulas. So
its numbers are plain ones, and the sheet says that they do not follow the white cells.
"""

from __future__ import annotations

from typing import Any

from growth.calculator.words import money
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.months_sheet import MonthsSheet
from growth.spreadsheet.styles import GAIN, SOFT, MrrChart
from growth.spreadsheet.worksheet import FIRST
from growth.uncertainty import ranges_of, spread_of

SHARES = {"low": 0.05, "lower": 0.25, "upper": 0.75, "high": 0.95}


def fill_band(book: WorkbookContext, months: MonthsSheet) -> str:
    """Fill the sheet of the band; returns the line that the first sheet says of it."""
    words, scenario, last = book.words["band"], book.scenario, book.scenario.months
    spread = spread_of(scenario)
    rests = words["ranges_and_chance" if ranges_of(scenario) else "chance_alone"]
    lines = [words["fixed"], words["rests"].replace("{what}", rests)]
    table, _, _ = book.month_table("band", title=words["title"], lines=lines)
    opening = float(book.forecast.opening_mrr[0])
    paths = {name: [opening, *spread.quantile(share).tolist()] for name, share in SHARES.items()}
    paths = {
        **{name: paths[name] for name in ("low", "lower")},
        "likely": [opening, *book.forecast.closing_mrr.tolist()],
        **{name: paths[name] for name in ("upper", "high")},
    }
    columns = {name: table.column(words[name], "money", width=14) for name in paths}
    for name, path in paths.items():
        for month, value in enumerate(path):
            style = "opening" if not month else "strong" if name == "likely" else "cell"
            columns[name].put(month, value, style)
    book.finish(table)
    chart = MrrChart(book, months=months)
    lines_of: dict[str, dict[str, Any]] = {
        "high": {"color": SOFT, "width": 1, "dash_type": "dash"},
        "upper": {"color": GAIN, "width": 1, "dash_type": "square_dot"},
        "likely": {"color": GAIN, "width": 2.5},
        "lower": {"color": GAIN, "width": 1, "dash_type": "square_dot"},
        "low": {"color": SOFT, "width": 1, "dash_type": "dash"},
    }
    for name, line in lines_of.items():
        cells = table.sheet.address(columns[name].span(0, last))
        chart.add(words[name], cells, line, at=last - max(last // 6, 1))
    chart.dress()
    chart.chart.set_size({"width": 720, "height": 400})
    place = {"object_position": 2, "description": words["chart_described"], "x_offset": 20}
    table.sheet.worksheet.insert_chart(FIRST, table.columns, chart.chart, place)
    low, high = (money(float(f"{paths[name][-1]:.3g}"), scenario.currency, book.locale, 0) for name in ("low", "high"))
    told = words["told"].replace("{months}", str(last)).replace("{low}", low).replace("{high}", high)
    return f"{told} {words['where']}"
