"""The comparison's pieces as HTML: each is shown in the notebook and taken into the page as it is.

Pictures over two axes and by month are HTML and SVG for the page, and Plotly figures for the notebook.
"""

from __future__ import annotations

from html import escape
from pathlib import Path
from urllib.parse import quote

import numpy as np
import pandas as pd

from growth.calculator.words import money, number
from growth.charts import heat_panels, line_panels
from growth.giveaway.brief import CAUTIONS
from growth.giveaway.sections import Piece
from growth.sweep import small_charts
from growth.sweep.design import Design
from growth.sweep.evaluate import mrr_by_month
from growth.sweep.influence import Levels, axes_of, influences, levels_of, over_two, word_of

STYLE = Path(__file__).with_name("comparison_html.css")
MOST_ROWS = 500
MOST_PANELS = 6
MOST_FORECAST = 2000  # points of a sample whose months are drawn
HEADINGS = {
    "closing_mrr": "MRR at the end",
    "closing_customers": "customers at the end",
    "goal_month": "goal reached in month",
    "growth_ceiling": "MRR where growth stops",
    "lowest_cash": "lowest cash",
}


def look() -> Piece:
    """The pieces' style, for the notebook that shows them; their page brings it along."""
    return Piece(f"<style>\n{STYLE.read_text(encoding='utf-8')}</style>")


def heading(design: Design, points: pd.DataFrame) -> Piece:
    """The title, and the answer in a sentence."""
    sweep, base = design.plan.sweep, design.plan.base
    note = f'<p class="byline">{escape(sweep.note)}</p>' if sweep.note else ""
    invented = (
        '<p class="byline">The business and all its numbers are invented.</p>'
        if base.invented and not sweep.note
        else ""
    )
    mrr = points["closing_mrr"]
    low, high = (f"<strong>{escape(money(value, base.currency))}</strong>" for value in (mrr.min(), mrr.max()))
    ordered = influences(points, "closing_mrr")
    most = (
        f" What moves it most: <strong>{escape(ordered[0].levels.title)}</strong>."
        if ordered and ordered[0].share > 0
        else ""
    )
    reached = ""
    if base.goal_mrr is not None:
        share = int(points["goal_month"].notna().sum())
        reached = f" The goal of {escape(money(base.goal_mrr, base.currency))} is reached in {share:,} of them."
    text = (
        f"Over {len(points):,} sets of numbers, {escape(base.business)} ends month {base.months} "
        f"between {low} and {high} of monthly recurring revenue (MRR).{most}{reached}"
    )
    title = f"<h1>{escape(sweep.title)}</h1>{note}{invented}"
    return Piece(f'<header class="sweep">{title}<p class="answer">{text}</p></header>')


def which_moves_most(design: Design, points: pd.DataFrame) -> Piece:
    """A row an axis: the share of the spread it explains alone, and the answer at its two ends."""
    currency = design.plan.base.currency
    rows = "".join(
        f'<tr><th scope="row">{escape(one.levels.title)}</th>'
        f'<td><span class="bar" style="--share:{one.share:.3f}"></span>'
        f"{one.share:.0%}</td>"
        f"<td>{escape(money(one.low, currency))} <small>at {escape(one.low_word)}</small></td>"
        f"<td>{escape(money(one.high, currency))} <small>at {escape(one.high_word)}</small></td></tr>"
        for one in influences(points, "closing_mrr")
    )
    return Piece(
        _section(
            "Which number moves the answer most",
            "<p>The share of the spread in MRR at the end that each axis explains alone, "
            "over all points; what axes do together is in none of them. Measure the first row first.</p>"
            '<div class="wide" tabindex="0"><table><thead><tr><th scope="col">axis</th>'
            '<th scope="col">of the spread</th><th scope="col">lowest mean</th>'
            f'<th scope="col">highest mean</th></tr></thead><tbody>{rows}</tbody></table></div>',
        )
    )


def heat_maps(design: Design, points: pd.DataFrame) -> Piece:
    """MRR at the end over the two axes that move it most, for each level of the third: numbers in tinted cells."""
    ordered = [one.levels for one in influences(points, "closing_mrr")]
    if len(ordered) < 2:
        return Piece("")
    rows, columns = ordered[0], ordered[1]
    panels = []
    if len(ordered) > 2 and len(ordered[2].words) <= MOST_PANELS and not rows.cut and not columns.cut:
        third = ordered[2]
        for code, word in enumerate(third.words):
            panels.append(
                (f"{third.title}: {word}", over_two(points, "closing_mrr", rows, columns, third.codes == code))
            )
    else:
        panels.append(("all points", over_two(points, "closing_mrr", rows, columns)))
    low, high = (edge([edge(grid) for _, grid in panels]) for edge in (np.nanmin, np.nanmax))
    maps = "".join(_heat_map(title, grid, rows, columns, low, high) for title, grid in panels)
    others = (
        f" Means over {escape(', '.join(one.title for one in ordered[3 if len(panels) > 1 else 2 :]))}."
        if len(ordered) > 2 + (len(panels) > 1)
        else ""
    )
    title = f"MRR at the end, by {rows.title} and {columns.title}"
    figure = heat_panels(
        {name: grid.round(2) for name, grid in panels},
        title=title,
        unit=f"{design.plan.base.currency} a month",
        rows=(rows.title, rows.words),
        columns=(columns.title, columns.words),
    )
    text = (
        f"<p>In {escape(design.plan.base.currency)} a month; the deeper the colour, the more.{others}</p>"
        f'<div class="panels">{maps}</div>'
    )
    return Piece(_section(escape(title), text), figure=figure)


def _heat_map(title: str, grid: np.ndarray, rows: Levels, columns: Levels, low: float, high: float) -> str:
    head = "".join(f'<th scope="col">{escape(word)}</th>' for word in columns.words)
    body = ""
    for word, line in zip(rows.words, grid, strict=True):
        cells = "".join(
            "<td>–</td>"
            if np.isnan(value)
            else f'<td style="--heat:{45 * (value - low) / ((high - low) or 1):.0f}%">{value:,.0f}</td>'
            for value in line
        )
        body += f'<tr><th scope="row">{escape(word)}</th>{cells}</tr>'
    corner = f'<th class="corner">{escape(rows.title)}&nbsp;↓ {escape(columns.title)}&nbsp;→</th>'
    return (
        f'<div class="wide" tabindex="0"><table class="heat"><caption>{escape(title)}</caption>'
        f"<thead><tr>{corner}{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def small_multiples(design: Design, points: pd.DataFrame) -> Piece:
    """MRR by month: a panel for each level of the second axis, a line for each of the first, others at their first.

    Where axes are sampled no two points share a level: then the answer against each axis, and all points by month.
    """
    ordered = [one.levels for one in influences(points, "closing_mrr")]
    if not ordered:
        return Piece("")
    if any(levels.cut for levels in ordered):
        return Piece(_against_each_axis(design, points, ordered) + _all_by_month(design, ordered[0]))
    lines, panels = ordered[0], ordered[1] if len(ordered) > 1 else Levels("", ("",), np.zeros(len(points), int))
    rest = np.ones(len(points), bool)
    for levels in ordered[2:]:
        rest &= levels.codes == 0
    found = []
    for panel in _spread(len(panels.words), MOST_PANELS):
        series = []
        for line in _spread(len(lines.words), 5):
            places = np.flatnonzero(rest & (panels.codes == panel) & (lines.codes == line))
            if places.size:
                number = int(points["point"].iloc[places[0]])
                series.append((lines.words[line], mrr_by_month(design, np.array([number]))[0]))
        found.append((panels.words[panel], series))
    top = max((values.max() for _, series in found for _, values in series), default=1.0) or 1.0
    named = [(f"{panels.title} {word}".strip(), series) for word, series in found]
    charts = [small_charts.lines(name, lines.title, series, top=top) for name, series in named]
    figure = line_panels(
        {name: {word: values.round(2) for word, values in series} for name, series in named},
        title="MRR month by month" + (f", a line for each {lines.title}" if lines.title else ""),
        unit=f"{design.plan.base.currency} a month",
    )
    others = ", ".join(f"{levels.title} {levels.words[0]}" for levels in ordered[2:])
    fixed = f" Other axes: {escape(others)}." if others else ""
    by = (
        f" by {escape(panels.title)}, a line for each {escape(lines.title)}"
        if panels.title
        else f", a line for each {escape(lines.title)}"
    )
    text = f"MRR{by}; {_scale(design, top)}.{fixed}"
    return Piece(_charts("MRR month by month", text, charts), figure=figure)


def _against_each_axis(design: Design, points: pd.DataFrame, ordered: list[Levels]) -> str:
    """MRR at the end against every sampled axis, the one that moves it most first."""
    values = points["closing_mrr"].to_numpy(float)
    top = float(values.max()) or 1.0
    charts = [
        small_charts.scatter(levels.title, points[levels.title].to_numpy(float), values, top=top)
        for levels in ordered
        if levels.cut
    ]
    text = (
        "A dot for each set of numbers, and the line of their median along the axis. The steeper the line, the more "
        "the axis moves the answer; the wider the dots lie about it, the more the others do. "
        f"{_scale(design, top).capitalize()}."
    )
    return _charts("MRR at the end, against each axis", text, charts)


def _all_by_month(design: Design, most: Levels) -> str:
    """MRR by month: how all points spread, and the median of each level of the axis that moves the answer most."""
    numbers = small_charts.some(design.count, MOST_FORECAST)
    values = mrr_by_month(design, numbers)
    codes = most.codes[numbers]
    series = [
        (word, np.nanmedian(values[codes == code], axis=0))
        for code, word in enumerate(most.words)
        if (codes == code).any()
    ]
    top = float(max(np.nanpercentile(values, 95, axis=0).max(), *(line.max() for _, line in series))) or 1.0
    charts = [
        small_charts.fan("all sets of numbers", values, top=top),
        small_charts.lines(f"medians by {most.title}", most.title, series, top=top),
    ]
    of = f"{len(numbers):,} of the" if len(numbers) < design.count else "the"
    text = (
        f"Half of {of} sets of numbers lie in the inner band, nine in ten within the outer one; then the median for "
        f"each range of {escape(most.title)}. {_scale(design, top).capitalize()}."
    )
    return _charts("MRR month by month", text, charts)


def _charts(title: str, text: str, charts: list[str]) -> str:
    return _section(title, f'<p>{text}</p><div class="panels small">{"".join(charts)}</div>')


def _scale(design: Design, top: float) -> str:
    return f"all on one scale, up to {escape(money(top, design.plan.base.currency))}"


def table(design: Design, points: pd.DataFrame) -> Piece:
    """The points that have a report, then others up to five hundred; a click on a heading sorts where scripts run."""
    shown = pd.concat([points[points["report"] != ""], points[points["report"] == ""]]).head(MOST_ROWS)
    axes, headings = axes_of(points), {name: text for name, text in HEADINGS.items() if name in points}
    sampled = {title: levels_of(points, title).cut for title in axes}
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in (*axes, *headings.values(), "report"))
    body = []
    for row in shown.to_dict("records"):
        cells = [f'<td class="axis">{escape(f"{row[t]:.4g}" if sampled[t] else word_of(row[t]))}</td>' for t in axes]
        for name in headings:
            value = row[name]
            text = "–" if np.isnan(value) else f"{value:,.0f}" if name != "closing_customers" else number(value)
            cells.append(f'<td data-value="{"" if np.isnan(value) else f"{value:.10g}"}">{text}</td>')
        link = _links(row["report"]) if row["report"] else ""
        body.append(f"<tr>{''.join(cells)}<td>{link}</td></tr>")
    left = len(points) - len(shown)
    more = f" The other {left:,} are in points.parquet." if left else ""
    return Piece(
        _section(
            "All points",
            f"<p>– where there is none, such as a goal that is not reached.{more}</p>"
            f'<div class="wide" tabindex="0"><table class="sortable"><thead><tr>{head}</tr></thead>'
            f"<tbody>{''.join(body)}</tbody></table></div>",
        )
    )


def _links(notebook: str) -> str:
    page = f"{notebook.removesuffix('.ipynb')}.html"
    return (
        f'<a href="reports/{escape(quote(page))}">read</a> '
        f'<small><a href="reports/{escape(quote(notebook))}">notebook</a></small>'
    )


def cautions() -> Piece:
    """What a comparison cannot know."""
    own = "A sweep moves the numbers it was told to move, as far as it was told. What it holds still may matter more."
    items = "".join(f"<li>{escape(text)}</li>" for text in (*CAUTIONS, own))
    return Piece(_section("What this cannot know", f"<ul>{items}</ul>"))


def _section(title: str, inner: str) -> str:
    return f'<section class="sweep"><h2>{title}</h2>{inner}</section>'


def _spread(count: int, most: int) -> list[int]:
    """Up to `most` of 0..count - 1, the first and the last among them."""
    return list(range(count)) if count <= most else sorted({round(i * (count - 1) / (most - 1)) for i in range(most)})
