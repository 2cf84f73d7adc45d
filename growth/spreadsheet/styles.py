"""How the workbook looks: warm paper and dark ink, a serif for prose, even figures, line charts without a legend."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from growth.calculator.number_words import money
from growth.giveaway.look import Look

if TYPE_CHECKING:
    import xlsxwriter
    from xlsxwriter.format import Format

    from growth.spreadsheet.context import WorkbookContext
    from growth.spreadsheet.months_sheet import MonthsSheet
    from growth.spreadsheet.worksheet import Worksheet

PAPER, WHITE = "#FBF7EF", "#FFFFFF"
INK, SOFT, RULE = "#2B2722", "#665D50", "#DDD3C1"
GAIN, LOSS, GOAL = "#1F5F8B", "#9C4F14", "#5B4A8A"
SERIF, SANS = "Georgia", "Arial"

PLAIN: dict[str, Any] = {"font_name": SANS, "font_size": 10, "font_color": INK, "bg_color": PAPER, "valign": "vcenter"}
STYLES: dict[str, dict[str, Any]] = {
    "paper": {},
    "cell": {},
    "strong": {"bold": True},
    "soft": {"font_color": SOFT},
    "left": {"align": "left"},
    "right": {"align": "right"},
    "right_soft": {"align": "right", "font_color": SOFT},
    "unit": {"font_color": SOFT, "indent": 1},
    "center": {"align": "center"},
    "title": {"font_name": SERIF, "font_size": 18},
    "question": {"font_name": SERIF, "font_size": 16, "text_wrap": True, "valign": "top"},
    "prose": {"font_name": SERIF, "font_size": 11, "text_wrap": True, "valign": "top"},
    "line": {"font_name": SERIF, "font_size": 11, "font_color": SOFT},
    "section": {"font_name": SERIF, "font_size": 13},
    "answer": {"font_name": SERIF, "font_size": 22, "text_wrap": True, "valign": "top"},
    "second": {"font_name": SERIF, "font_size": 13, "text_wrap": True, "valign": "top", "font_color": SOFT},
    "warning": {"font_name": SERIF, "font_size": 11, "text_wrap": True, "valign": "top", "font_color": LOSS},
    "group": {"font_name": SERIF, "font_size": 11, "italic": True, "font_color": SOFT, "top": 1, "top_color": RULE},
    "head": {"text_wrap": True, "align": "right", "valign": "bottom", "bottom": 1, "bottom_color": SOFT},
    "head_left": {"text_wrap": True, "valign": "bottom", "bottom": 1, "bottom_color": SOFT},
    "wrapped": {"text_wrap": True},
    "said": {"text_wrap": True, "align": "left", "indent": 1},
    "said_head": {"align": "left", "indent": 1, "valign": "bottom", "bottom": 1, "bottom_color": SOFT},
    "wrapped_soft": {"text_wrap": True, "font_color": SOFT, "font_size": 9},
    "input": {"bg_color": WHITE, "font_color": GAIN, "locked": False, "border": 1, "border_color": SOFT},
    "opening": {"font_color": SOFT, "italic": True},
    "sum_text": {"bold": True, "align": "left", "indent": 1, "top": 1, "top_color": SOFT, "text_wrap": True},
    "sum": {"bold": True, "top": 1, "top_color": SOFT},
}


class Styles:
    """Makes each format of one workbook once. Formats are asked for as a style and a kind of number."""

    def __init__(self, workbook: xlsxwriter.Workbook, *, currency: str, locale: str, look: Look | None = None):
        self._workbook, self._look = workbook, look or Look()
        self._made: dict[tuple[str, str], Format] = {}
        before, _, after = money(1, currency, locale, 0).partition("1")
        self.symbol = (before + after).strip()
        self._before, self._after = (f'"{sign}"' if sign else "" for sign in (before, after))
        self._numbers = {
            "": "General",
            "money": self._amount("#,##0"),
            "cents": self._amount("#,##0.00"),
            "people": "#,##0.0",
            "count": "0",
            "share": "0.0%",
            "churn": "0.00%",
            "ratio": "0.0000",
            "number": "#,##0.00",
            "check": "0.00;-0.00;0",
            "text": "@",
        }

    def __call__(self, style: str = "cell", kind: str = "") -> Format:
        """The format of a style for a kind of number: a key of the table above, or a number format of its own."""
        key = (style, kind)
        if key not in self._made:
            form = {**PLAIN, **STYLES[style]}
            if self._look.accent and style in ("input", "question"):
                form["font_color"] = self._look.accent.upper()
            if self._look.letters == "sans":
                form["font_name"] = SANS
            if kind:
                form["num_format"] = self._numbers.get(kind, kind)
            self._made[key] = self._workbook.add_format(form)
        return self._made[key]

    def number_format(self, kind: str) -> str:
        """The number format of a kind, as a chart's axis takes it."""
        return self._numbers[kind]

    def signed(self, kind: str) -> str:
        """The number format of a kind for a difference, with its sign."""
        shown = self._numbers[kind].partition(";")[0]
        return f"+{shown};-{shown}"

    def _amount(self, digits: str) -> str:
        """A number format with the currency where the locale has it."""
        amount = f"{self._before}{digits}{self._after}"
        return f"{amount};-{amount}"

    def exact(self, unit: str, value: float) -> str:
        """The number format of an input cell: as many decimals as the value has, at least those usual for its unit."""
        places = _places(value * 100 if unit == "share" else value)
        if unit == "share":
            return "0." + "0" * max(places, 1) + "%"
        decimals = "." + "0" * max(places, 2) if places or unit.startswith("money") else ""
        if unit.startswith("money"):
            return self._amount(f"#,##0{decimals}")
        return f"#,##0{decimals}"


def _places(value: float) -> int:
    """How many decimals a number as written has, six at most."""
    return next((places for places in range(6) if abs(value - round(value, places)) < 1e-9 * max(abs(value), 1e-3)), 6)


def label_every(months: int) -> int:
    """Every how many months a chart has a label of its calendar: about twelve in all."""
    return max(1, -(-months // 12))


class MrrChart:
    """The chart (`chart`, of xlsxwriter) in the making; its calendar is that of the sheet of months, where a month
    between two labels has none: not every program leaves out labels by itself.
    """

    def __init__(self, book: WorkbookContext, *, months: MonthsSheet) -> None:
        last = book.scenario.months
        self._book, self._categories = book, months.sheet.address(months.columns["chart_label"].span(0, last))
        self.chart = book.workbook.add_chart({"type": "line"})

    def add(self, name: Any, values: Any, line: dict[str, Any], *, at: int) -> None:
        """A line with its cells; at: the month at whose point its name stands."""
        font = {"name": SANS, "size": 9, "color": line["color"]}
        on_points: list[dict[str, Any] | None] = [{"delete": True}] * (self._book.scenario.months + 1)
        on_points[at] = None  # the one that stays shows the name of the line
        labels = {"series_name": True, "position": "above", "custom": on_points, "font": font}
        series = {"name": name, "categories": self._categories, "values": values, "line": line}
        self.chart.add_series({**series, "marker": {"type": "none"}, "data_labels": labels})

    def insert(
        self, sheet: Worksheet, row: int, column: int, *, size: tuple[int, int], described: str, x_offset: int = 0
    ) -> None:
        """Give it title, axes and colours, and put it on a sheet, so many pixels wide and high."""
        small = {"name": SANS, "size": 9, "color": INK, "bold": False}
        title = {"name": SERIF, "size": 12, "color": INK, "bold": False}
        text = self._book.messages["calculator"]["chart_title"]
        self.chart.set_title({"name": text, "name_font": title, "overlay": False})
        self.chart.set_legend({"none": True})
        every = label_every(self._book.scenario.months)
        steps = {"interval_unit": every, "interval_tick": every, "major_tick_mark": "outside"}
        self.chart.set_x_axis({"num_font": small, "line": {"color": INK}, **steps})
        grid = {"visible": True, "line": {"color": RULE, "width": 0.75}}
        amounts = self._book.styles.number_format("money")
        self.chart.set_y_axis(
            {"num_font": small, "min": 0, "line": {"none": True}, "major_gridlines": grid, "num_format": amounts}
        )
        self.chart.set_chartarea({"fill": {"color": PAPER}, "border": {"none": True}})
        self.chart.set_plotarea({"fill": {"none": True}})
        self.chart.set_size({"width": size[0], "height": size[1]})
        place = {"object_position": 2, "description": described, "x_offset": x_offset}
        sheet.worksheet.insert_chart(row, column, self.chart, place)
