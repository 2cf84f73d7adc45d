"""The comparison's table of points."""

from __future__ import annotations

from html import escape
from urllib.parse import quote

import numpy as np
import pandas as pd

from growth.calculator.words import money, number
from growth.giveaway.sections import Piece
from growth.sweep.design import Design
from growth.sweep.influence import axes_of, axis_texts
from growth.sweep.notebook_page import section, table_html

MOST_ROWS = 500
OPEN_ROWS = 60  # of the table of points; a longer one is folded, with a summary above it
HEADINGS = {
    "closing_mrr": "MRR at the end",
    "closing_customers": "customers at the end",
    "goal_month": "goal reached in month",
    "left_month": "enough left from month on",
    "growth_ceiling": "MRR where growth stops",
    "lowest_cash": "lowest cash",
}
MONEY = ("closing_mrr", "growth_ceiling", "lowest_cash")


def table(design: Design, points: pd.DataFrame) -> Piece:
    """The points with a report, then others, up to five hundred. A click on a heading sorts, if scripts run.

    A long table is folded, with the middle and the outer tenths of each measure above it.
    """
    shown = pd.concat([points[points["report"] != ""], points[points["report"] == ""]]).head(MOST_ROWS)
    axes, headings = axes_of(points), {name: text for name, text in HEADINGS.items() if name in points}
    texts = axis_texts(design)
    words = {title: [_brief(text) for text in texts[title](shown[title].tolist())] for title in axes}
    has_reports = bool((shown["report"] != "").any())
    body = ""
    for place, row in enumerate(shown.to_dict("records")):
        cells = [
            f'<td class="axis" data-value="{escape(_sorted_by(row[title]))}">{escape(words[title][place])}</td>'
            for title in axes
        ]
        cells += [
            f'<td data-value="{_sorted_by(row[name])}">{_measure(design, name, row[name])}</td>' for name in headings
        ]
        body += f"<tr>{''.join(cells)}{f'<td>{_links(row)}</td>' if has_reports else ''}</tr>"
    left = len(points) - len(shown)
    more = f" The other {left:,} are in points.parquet." if left else ""
    text = f"<p>– where there is none, such as a goal that is not reached.{more}</p>"
    whole = table_html((*axes, *headings.values(), *["report"] * has_reports), body, "sortable")
    if len(shown) > OPEN_ROWS:
        summary = f"<summary>The table of {len(shown):,} points</summary>"
        text += _summary(design, points, headings) + f"<details>{summary}{whole}</details>"
    else:
        text += whole
    return Piece(section("All points", text))


def _summary(design: Design, points: pd.DataFrame, headings: dict[str, str]) -> str:
    """The middle and the outer tenths of each measure over all points."""
    rows = ""
    for name, text in headings.items():
        values = points[name].dropna()
        tenths = np.quantile(values, (0.1, 0.5, 0.9), method="nearest") if len(values) else [np.nan] * 3
        cells = "".join(f"<td>{_measure(design, name, value)}</td>" for value in tenths)
        missing = f" <small>({len(values):,} of {len(points):,})</small>" if len(values) < len(points) else ""
        rows += f'<tr><th scope="row">{escape(text)}{missing}</th>{cells}</tr>'
    return table_html(("", "a tenth is below", "median", "a tenth is above"), rows)


def _links(row: dict[str, object]) -> str:
    notebook = str(row["report"])
    if not notebook:
        return ""
    page = notebook.removesuffix(".ipynb") + ".html"
    return (
        f'<a href="reports/{escape(quote(page))}">read</a> '
        f'<small><a href="reports/{escape(quote(notebook))}">notebook</a></small>'
    )


def _measure(design: Design, name: str, value: float) -> str:
    """Format a measure of one point."""
    if np.isnan(value):
        return "–"
    if name in MONEY:
        return escape(amount(design, value))
    return number(value) if name == "closing_customers" else f"{value:,.0f}"


def _sorted_by(value: object) -> str:
    """The sort key of a cell, a number or a word; "" sorts last."""
    if isinstance(value, (int, float, np.number)) and not isinstance(value, bool):
        return "" if np.isnan(value) else f"{value:.10g}"
    return str(value)


def _brief(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:59]}…"


def amount(design: Design, value: float) -> str:
    """An amount in the scenario's currency."""
    return money(value, design.loaded.base.currency)
