"""Band: between which amounts MRR lies in so many cases, as computed when the workbook was made.

It takes a whole forecast for either end of each range, and the variances of chance: too much to repeat as formulas. So
its numbers are plain ones, and the sheet says that they do not follow the white cells.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from growth.calculator.words import money
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula_table import FIRST
from growth.spreadsheet.styles import GAIN, INK, PAPER, RULE, SANS, SERIF, SOFT
from growth.uncertainty import ranges_of, spread_of

if TYPE_CHECKING:
    import xlsxwriter

SHARES = {"low": 0.05, "lower": 0.25, "upper": 0.75, "high": 0.95}


def fill_band(book: WorkbookContext, workbook: xlsxwriter.Workbook) -> str:
    """Fills the sheet of the band; returns the line that the first sheet says of it."""
    words, scenario, last = book.words["band"], book.scenario, book.scenario.months
    spread = spread_of(scenario)
    rests = words["ranges_and_chance" if ranges_of(scenario) else "chance_alone"]
    lines = [words["fixed"], words["rests"].replace("{what}", rests)]
    table, _, labels = book.month_table("band", title=words["title"], lines=lines)
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
    chart = workbook.add_chart({"type": "line"})
    lines_of: dict[str, dict[str, Any]] = {
        "high": {"color": SOFT, "width": 1, "dash_type": "dash"},
        "upper": {"color": GAIN, "width": 1, "dash_type": "square_dot"},
        "likely": {"color": GAIN, "width": 2.5},
        "lower": {"color": GAIN, "width": 1, "dash_type": "square_dot"},
        "low": {"color": SOFT, "width": 1, "dash_type": "dash"},
    }
    for name, line in lines_of.items():
        on_points: list[dict[str, Any] | None] = [{"delete": True}] * (last + 1)
        on_points[last - max(last // 6, 1)] = None  # the one that stays shows the name of the line
        font = {"name": SANS, "size": 9, "color": line["color"]}
        chart.add_series(
            {
                "name": words[name],
                "categories": table.sheet.address(labels.span(0, last)),
                "values": table.sheet.address(columns[name].span(0, last)),
                "line": line,
                "marker": {"type": "none"},
                "data_labels": {"series_name": True, "position": "above", "custom": on_points, "font": font},
            }
        )
    small = {"name": SANS, "size": 9, "color": INK, "bold": False}
    title = {"name": SERIF, "size": 12, "color": INK, "bold": False}
    chart.set_title({"name": book.messages["calculator"]["chart_title"], "name_font": title, "overlay": False})
    chart.set_legend({"none": True})
    every = max(1, -(-last // 8))
    chart.set_x_axis({"num_font": small, "line": {"color": INK}, "interval_unit": every, "interval_tick": every})
    grid = {"visible": True, "line": {"color": RULE, "width": 0.75}}
    amounts = book.styles.number_format("money")
    chart.set_y_axis(
        {"num_font": small, "min": 0, "line": {"none": True}, "major_gridlines": grid, "num_format": amounts}
    )
    chart.set_chartarea({"fill": {"color": PAPER}, "border": {"none": True}})
    chart.set_plotarea({"fill": {"none": True}})
    chart.set_size({"width": 720, "height": 400})
    place = {"object_position": 2, "description": words["chart_described"], "x_offset": 20}
    table.sheet.worksheet.insert_chart(FIRST, table.columns, chart, place)
    low, high = (money(float(f"{paths[name][-1]:.3g}"), scenario.currency, book.locale, 0) for name in ("low", "high"))
    told = words["told"].replace("{months}", str(last)).replace("{low}", low).replace("{high}", high)
    return f"{told} {words['where']}"
