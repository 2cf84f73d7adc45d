"""The comparison's table of points."""

from __future__ import annotations

from html import escape
from urllib.parse import quote

import numpy as np
import pandas as pd

from growth.calculator.number_words import number
from growth.giveaway.sections import Piece
from growth.sweep import comparison_words
from growth.sweep.comparison_words import ComparisonWords, labelled, row, section, shown_texts, words_for
from growth.sweep.design import Design
from growth.sweep.influence import axes_of

MOST_ROWS = 500
OPEN_ROWS = 60  # of the table of points; a longer one is folded, with a summary above it
MONEY = ("closing_mrr", "growth_ceiling", "lowest_cash")


def table(design: Design, points: pd.DataFrame) -> Piece:
    """The points with a report, then others, up to five hundred. A click on a heading sorts, if scripts run.

    A long table is folded, with the middle and the outer tenths of each measure above it.
    """
    words, points = words_for(design), labelled(design, points)
    shown = pd.concat([points[points["report"] != ""], points[points["report"] == ""]]).head(MOST_ROWS)
    axes, headings = axes_of(points), {name: text for name, text in words.words["headings"].items() if name in points}
    texts = shown_texts(design)
    values = {title: [_brief(text) for text in texts[title](shown[title].tolist())] for title in axes}
    has_reports = bool((shown["report"] != "").any())
    body = ""
    for place, point in enumerate(shown.to_dict("records")):
        cells = [
            f'<td class="axis" data-value="{escape(_sorted_by(point[title]))}">{escape(values[title][place])}</td>'
            for title in axes
        ]
        cells += [
            f'<td data-value="{_sorted_by(point[name])}">{_measure(words, name, point[name])}</td>' for name in headings
        ]
        body += f"<tr>{''.join(cells)}{f'<td>{_links(point, words)}</td>' if has_reports else ''}</tr>"
    left = len(points) - len(shown)
    more = " " + words.html("others", count=words.count(left)) if left else ""
    text = f"<p>{words.html('none_there')}{more}</p>"
    reports = [words.plain("report")] * has_reports
    whole = comparison_words.table((*axes, *headings.values(), *reports), body, "sortable")
    if len(shown) > OPEN_ROWS:
        summary = f"<summary>{words.html('table_of', count=words.count(len(shown)))}</summary>"
        text += _summary(words, points, headings) + f"<details>{summary}{whole}</details>"
    else:
        text += whole
    return Piece(section(words.html("points"), text))


def _summary(words: ComparisonWords, points: pd.DataFrame, headings: dict[str, str]) -> str:
    """The middle and the outer tenths of each measure over all points."""
    rows = ""
    for name, text in headings.items():
        values = points[name].dropna()
        tenths = np.quantile(values, (0.1, 0.5, 0.9), method="nearest") if len(values) else [np.nan] * 3
        counted = words.html("count_of", count=words.count(len(values)), all=words.count(len(points)))
        missing = f" <small>({counted})</small>" if len(values) < len(points) else ""
        rows += row(escape(text) + missing, [_measure(words, name, value) for value in tenths])
    return comparison_words.table(("", *(words.plain(key) for key in ("tenth_below", "median", "tenth_above"))), rows)


def _links(point: dict[str, object], words: ComparisonWords) -> str:
    notebook = str(point["report"])
    if not notebook:
        return ""
    page = notebook.removesuffix(".ipynb") + ".html"
    return (
        f'<a href="reports/{escape(quote(page))}">{words.html("read")}</a> '
        f'<small><a href="reports/{escape(quote(notebook))}">{words.html("notebook")}</a></small>'
    )


def _measure(words: ComparisonWords, name: str, value: float) -> str:
    """Format a measure of one point."""
    if np.isnan(value):
        return "–"
    if name in MONEY:
        return escape(words.amount(value))
    return number(value, words.locale) if name == "closing_customers" else words.count(value)


def _sorted_by(value: object) -> str:
    """The sort key of a cell, a number or a word; "" sorts last."""
    if isinstance(value, (int, float, np.number)) and not isinstance(value, bool):
        return "" if np.isnan(value) else f"{value:.10g}"
    return str(value)


def _brief(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:59]}…"
