"""The comparison's sections as HTML: each is shown in the notebook and taken into the page as it is.

Pictures over two axes and by month are HTML and SVG for the page, and Plotly figures for the notebook.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd

from growth.charts import heat_panels, line_panels
from growth.giveaway.sections import Piece
from growth.sweep import range_draws, small_charts
from growth.sweep.design import Design
from growth.sweep.evaluate import mrr_by_month
from growth.sweep.influence import Influence, Levels, axis_texts, influences, leaders, over_two
from growth.sweep.notebook_page import cannot_know, section, strong, table_html, wide
from growth.sweep.points_table import amount, table
from growth.sweep.small_charts import scale_over

__all__ = ["cautions", "heading", "heat_maps", "look", "small_multiples", "table", "which_moves_most"]

STYLE = Path(__file__).with_name("comparison_html.css")
MOST_PANELS = 6
MOST_FORECAST = 2000  # points of a sample whose months are drawn


def look() -> Piece:
    """The stylesheet of the sections, for the notebook that shows them; the page has its own copy."""
    return Piece(f"<style>\n{STYLE.read_text(encoding='utf-8')}</style>")


def heading(design: Design, points: pd.DataFrame) -> Piece:
    """The title, and the answer in a sentence."""
    sweep, base = design.loaded.sweep, design.loaded.base
    note = sweep.note or ("The business and all its numbers are invented." if base.invented else "")
    byline = f'<p class="byline">{escape(note)}</p>' if note else ""
    low, high = (strong(amount(design, value)) for value in (points["closing_mrr"].min(), points["closing_mrr"].max()))
    reached = ""
    if base.goal_mrr is not None:
        share = int(points["goal_month"].notna().sum())
        reached = f" The goal of {escape(amount(design, float(base.goal_mrr)))} is reached in {share:,} of them."
    text = (
        f"Over {len(points):,} sets of numbers, {escape(base.business)} ends month {base.months} "
        f"between {low} and {high} of monthly recurring revenue (MRR)."
    )
    if design.loaded.over_ranges:
        text, reached = range_draws.answer_over_draws(design), range_draws.goal_over_draws(design)
    text += f" {_most_moving(_ordered(design, points))}{reached}"
    return Piece(f'<header class="sweep"><h1>{escape(sweep.title)}</h1>{byline}<p class="answer">{text}</p></header>')


def which_moves_most(design: Design, points: pd.DataFrame) -> Piece:
    """A row for each axis: the share of the spread that it explains alone, and the answer at its two ends."""
    ordered, over_ranges = _ordered(design, points), design.loaded.over_ranges
    chance = range_draws.share_of_chance(design) if over_ranges else 0.0
    rows = "".join(
        f'<tr><th scope="row">{escape(one.levels.title)}</th>{_bar(one.share * (1 - chance))}'
        f"{f' <small>± {100 * one.error * (1 - chance):.0f}</small>' if one.error else ''}</td>"
        f"<td>{escape(amount(design, one.low))} <small>at {escape(one.low_word)}</small></td>"
        f"<td>{escape(amount(design, one.high))} <small>at {escape(one.high_word)}</small></td></tr>"
        for one in ordered
    )
    if over_ranges:
        rows += f'<tr><th scope="row">chance</th>{_bar(chance)}</td><td>–</td><td>–</td></tr>'
    axis = "range" if over_ranges else "axis"
    shares = table_html((axis, "of the spread", "lowest mean", "highest mean"), rows)
    own = " Chance is single customers who come and go: knowing the ranges better leaves it as it is." * over_ranges
    text = (
        f"<p>The share of the spread in MRR at the end that each {axis} explains alone, over all points; "
        f"what they do together is in none of them.{own} {_how_sure(ordered)}</p>"
    )
    return Piece(section("Which number moves the answer most", text + shares))


def heat_maps(design: Design, points: pd.DataFrame) -> Piece:
    """MRR at the end over the two axes that move it most, for each level of the third: numbers in tinted cells."""
    ordered = [one.levels for one in _ordered(design, points)]
    if len(ordered) < 2:
        return Piece("")
    rows, columns = ordered[0], ordered[1]
    third = ordered[2] if len(ordered) > 2 and len(ordered[2].words) <= MOST_PANELS else None
    if third is None or rows.cut or columns.cut:
        panels, rest = [("all points", over_two(points, "closing_mrr", rows, columns))], ordered[2:]
    else:
        panels = [
            (f"{third.title}: {word}", over_two(points, "closing_mrr", rows, columns, third.codes == code))
            for code, word in enumerate(third.words)
        ]
        rest = ordered[3:]
    low, high = (edge([edge(grid) for _, grid in panels]) for edge in (np.nanmin, np.nanmax))
    maps = "".join(_heat_map(title, grid, rows, columns, low, high) for title, grid in panels)
    others = f" Means over {escape(', '.join(one.title for one in rest))}." if rest else ""
    title = f"MRR at the end, by {rows.title} and {columns.title}"
    figure = heat_panels(
        {name: grid.round(2) for name, grid in panels},
        title=title,
        unit=f"{design.loaded.base.currency} a month",
        rows=(rows.title, rows.words),
        columns=(columns.title, columns.words),
    )
    text = (
        f"<p>In {escape(design.loaded.base.currency)} a month; the deeper the colour, the more.{others}</p>"
        f'<div class="panels">{maps}</div>'
    )
    return Piece(section(escape(title), text), figure=figure)


def small_multiples(design: Design, points: pd.DataFrame) -> Piece:
    """MRR by month: a panel for each level of the second axis, a line for each of the first, other axes fixed.

    Where axes are sampled no two points share a level: then the answer against each axis, and all points by month.
    """
    ordered = [one.levels for one in _ordered(design, points)]
    if not ordered:
        return Piece("")
    if any(levels.cut for levels in ordered):
        return Piece(_against_each_axis(design, points, ordered) + _all_by_month(design, ordered[0]))
    lines, panels = ordered[0], ordered[1] if len(ordered) > 1 else Levels("", ("",), np.zeros(len(points), int))
    rest = np.all([levels.codes == 0 for levels in ordered[2:]], axis=0) if ordered[2:] else np.ones(len(points), bool)
    found: list[tuple[str, list[small_charts.Series]]] = []
    for panel in _spread(len(panels.words), MOST_PANELS):
        series = []
        for line in _spread(len(lines.words), 5):
            places = np.flatnonzero(rest & (panels.codes == panel) & (lines.codes == line))
            if places.size:
                number_of = int(points["point"].iloc[places[0]])
                series.append((lines.words[line], mrr_by_month(design, np.array([number_of]))[0]))
        found.append((f"{panels.title} {panels.words[panel]}".strip(), series))
    scale = scale_over(design.loaded.base, [values for _, series in found for _, values in series])
    charts = [small_charts.lines(name, lines.title, series, scale) for name, series in found if series]
    figure = line_panels(
        {name: {word: values.round(2) for word, values in series} for name, series in found},
        title="MRR month by month" + (f", a line for each {lines.title}" if lines.title else ""),
        unit=f"{design.loaded.base.currency} a month",
    )
    others = ", ".join(f"{levels.title} {levels.words[0]}" for levels in ordered[2:])
    fixed = f" Other axes: {escape(others)}." if others else ""
    by = f" by {escape(panels.title)}" if panels.title else ""
    text = f"MRR{by}, a line for each {escape(lines.title)}; all on one scale.{fixed}"
    return Piece(_charts("MRR month by month", text, charts), figure=figure)


def cautions() -> Piece:
    """The limits of a comparison."""
    own = "A sweep moves only the numbers it was told to move, and only so far. What it holds still may matter more."
    return cannot_know(own)


def _most_moving(ordered: Sequence[Influence]) -> str:
    """Which axis moves the answer most, if the points can tell."""
    first = [strong(one.levels.title) for one in leaders(ordered)]
    if len(first) == 1:
        return f"What moves it most: {first[0]}."
    if first:
        return f"What moves it most: {_listed(first)}; these points cannot tell which of them is ahead."
    return "None of the axes moves it by more than chance would make it seem."


def _how_sure(ordered: Sequence[Influence]) -> str:
    """How reliable the order of the rows is, and what to do about it."""
    first = leaders(ordered)
    parts = []
    if any(one.error for one in ordered):
        parts.append("The points are a sample, so shares are estimates: ± is one standard error.")
    close = [(a.levels.title, b.levels.title) for a, b in pairwise(ordered) if b.tied]
    if close:
        pairs = _listed([f"{escape(b)} below {escape(a)}" for a, b in close])
        parts.append(f"Too close to rank: {pairs}.")
    if len(first) == 1:
        parts.append("Measure the first row first.")
    weak = [escape(one.levels.title) for one in ordered if one.share <= one.chance]
    if weak:
        parts.append(f"No more than chance would give: {', '.join(weak)}.")
    return " ".join(parts)


def _listed(words: Sequence[str]) -> str:
    """Join words into a list within a sentence.

    >>> _listed(["a"]), _listed(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _ordered(design: Design, points: pd.DataFrame) -> list[Influence]:
    return influences(points, "closing_mrr", sampled=design.sampled, texts=axis_texts(design))


def _bar(share: float) -> str:
    """The beginning of a table cell: a bar as long as the share, and the share itself."""
    return f'<td><span class="bar" style="--share:{share:.3f}"></span>{share:.0%}'


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
    return wide(
        f'<table class="heat"><caption>{escape(title)}</caption>'
        f"<thead><tr>{corner}{head}</tr></thead><tbody>{body}</tbody></table>"
    )


def _against_each_axis(design: Design, points: pd.DataFrame, ordered: list[Levels]) -> str:
    """MRR at the end against each sampled axis, the most influential first."""
    values, texts = points["closing_mrr"].to_numpy(float), axis_texts(design)
    scale = scale_over(design.loaded.base, [values])
    charts = []
    for levels in ordered:
        if levels.cut:
            x = points[levels.title].to_numpy(float)
            low, high = (float(f"{edge:.2g}") for edge in (x.min(), x.max()))
            first, last = texts[levels.title]([low, high])
            charts.append(small_charts.scatter(levels.title, x, values, scale, ends=(first, last)))
    text = (
        "A dot for each set of numbers, and the line of their median along the axis. The steeper the line, the more "
        "the axis moves the answer; the wider the dots lie about it, the more the others do. All on one scale."
    )
    return _charts("MRR at the end, against each axis", text, charts)


def _all_by_month(design: Design, most: Levels) -> str:
    """MRR by month: the spread of all points, and the median for each level of the most influential axis."""
    numbers = small_charts.some(design.count, MOST_FORECAST)
    values = mrr_by_month(design, numbers)
    codes = most.codes[numbers]
    series = [(most.words[code], np.nanmedian(values[codes == code], axis=0)) for code in np.unique(codes)]
    edges = list(np.nanpercentile(values, small_charts.FAN, axis=0))
    of = f"{len(numbers):,} of the" if len(numbers) < design.count else "the"
    title = "all sets of numbers"
    text = f"Half of {of} sets of numbers lie in the inner band, nine in ten within the outer"
    if design.loaded.over_ranges:
        edges, title = range_draws.edges(design), "your ranges and chance"
        text = "In 1 of 2 cases MRR lies in the inner band, in 9 of 10 within the outer"
    scale = scale_over(design.loaded.base, [edges[-1], *(line for _, line in series)])
    charts = [
        small_charts.fan(title, edges, scale),
        small_charts.lines(f"medians by {most.title}", most.title, series, scale),
    ]
    text += f" one; then the median for each range of {escape(most.title)}. All on one scale."
    return _charts("MRR month by month", text, charts)


def _charts(title: str, text: str, charts: list[str]) -> str:
    return section(title, f'<p>{text}</p><div class="panels small">{"".join(charts)}</div>')


def _spread(count: int, most: int) -> list[int]:
    """Up to `most` of 0..count - 1, the first and the last among them."""
    return list(range(count)) if count <= most else sorted({round(i * (count - 1) / (most - 1)) for i in range(most)})
