"""Plotly figures for the notebooks, in the workbook's own sober look.

A figure of a forecast takes a Forecast without draws (MeasureError otherwise) and gives a plotly Figure; its traces
hold the forecast's own numbers. What gains is blue, what is lost is ochre and hatched, so that the two are told apart
without colour; labels stand on the lines, there is no legend. Months are at their close: month 0 is the opening.
"""

from growth.charts.bridge import bridge_chart
from growth.charts.cohorts import cohort_chart, retention_triangle
from growth.charts.lines import cash_chart, comparison_chart, mrr_chart
from growth.charts.panels import heat_panels, line_panels, panels
from growth.charts.sheet import FAINT, GAIN, GOAL, INK, LOSS, PAPER, SHADES, use_in_notebooks

__all__ = [
    "FAINT",
    "GAIN",
    "GOAL",
    "INK",
    "LOSS",
    "PAPER",
    "SHADES",
    "bridge_chart",
    "cash_chart",
    "cohort_chart",
    "comparison_chart",
    "heat_panels",
    "line_panels",
    "mrr_chart",
    "panels",
    "retention_triangle",
    "use_in_notebooks",
]
