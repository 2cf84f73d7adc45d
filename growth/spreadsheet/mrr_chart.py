"""A line chart of MRR in the workbook's look: names stand on the lines, and there is no legend."""

from __future__ import annotations

from typing import Any

from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.styles import INK, PAPER, RULE, SANS, SERIF


class MrrChart:
    """The chart (`chart`, of xlsxwriter) in the making; categories: the cells of its months, from month 0 on."""

    def __init__(self, book: WorkbookContext, *, categories: Any) -> None:
        self._book, self._categories = book, categories
        self.chart = book.workbook.add_chart({"type": "line"})

    def add(self, name: Any, values: Any, line: dict[str, Any], *, at: int) -> None:
        """A line with its cells; at: the month at whose point its name stands."""
        font = {"name": SANS, "size": 9, "color": line["color"]}
        on_points: list[dict[str, Any] | None] = [{"delete": True}] * (self._book.scenario.months + 1)
        on_points[at] = None  # the one that stays shows the name of the line
        labels = {"series_name": True, "position": "above", "custom": on_points, "font": font}
        series = {"name": name, "categories": self._categories, "values": values, "line": line}
        self.chart.add_series({**series, "marker": {"type": "none"}, "data_labels": labels})

    def dress(self, *, labels: int, **axis: Any) -> None:
        """Title, axes and colours; labels: how many months at most are written below; axis: more of that axis."""
        small = {"name": SANS, "size": 9, "color": INK, "bold": False}
        title = {"name": SERIF, "size": 12, "color": INK, "bold": False}
        text = self._book.messages["calculator"]["chart_title"]
        self.chart.set_title({"name": text, "name_font": title, "overlay": False})
        self.chart.set_legend({"none": True})
        every = max(1, -(-self._book.scenario.months // labels))
        steps = {"interval_unit": every, "interval_tick": every, **axis}
        self.chart.set_x_axis({"num_font": small, "line": {"color": INK}, **steps})
        grid = {"visible": True, "line": {"color": RULE, "width": 0.75}}
        amounts = self._book.styles.number_format("money")
        self.chart.set_y_axis(
            {"num_font": small, "min": 0, "line": {"none": True}, "major_gridlines": grid, "num_format": amounts}
        )
        self.chart.set_chartarea({"fill": {"color": PAPER}, "border": {"none": True}})
        self.chart.set_plotarea({"fill": {"none": True}})
