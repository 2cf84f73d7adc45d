"""Plotly figures for the notebooks, in the workbook's own sober look.

Functions that take a Forecast need one without draws (MeasureError otherwise) and return a Plotly figure whose traces
hold the forecast's own numbers. Gains are blue, losses ochre and hatched, so that they differ without colour too.
Labels stand beside the lines; there is no legend. Values are those at the close of a month; month 0 is the opening.
"""

from growth.charts.bands import LineBand, add_band, band_of
from growth.charts.customers import bridge_chart, cohort_chart, retention_triangle
from growth.charts.lines import cash_chart, comparison_chart, mrr_chart
from growth.charts.panels import bars, heat_panels, line_panels, panels
from growth.charts.sheet import FAINT, GAIN, GOAL, INK, LOSS, PAPER, SHADES, use_in_notebooks

__all__ = [
    "FAINT",
    "GAIN",
    "GOAL",
    "INK",
    "LOSS",
    "PAPER",
    "SHADES",
    "LineBand",
    "add_band",
    "band_of",
    "bars",
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
