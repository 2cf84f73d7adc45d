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

from growth.calculator.language import messages
from growth.charts import heat_panels, line_panels
from growth.giveaway.sections import Piece
from growth.sweep import comparison_words, range_draws, small_charts
from growth.sweep.comparison_words import (
    ComparisonWords,
    labelled,
    row,
    section,
    shown_texts,
    strong,
    wide,
    words_for,
)
from growth.sweep.design import Design
from growth.sweep.evaluate import mrr_by_month
from growth.sweep.influence import Influence, Levels, influences, leaders, over_two
from growth.sweep.points_table import table as table
from growth.sweep.small_charts import scale_over

STYLE = Path(__file__).with_name("comparison_html.css")
MOST_PANELS = 6
MOST_FORECAST = 2000  # points of a sample whose months are drawn


def look() -> Piece:
    """The stylesheet of the sections, for the notebook that shows them; the page has its own copy.

    Returns
    -------
    Piece
        A style element.

    Examples
    --------
    >>> look().html[:7]
    '<style>'
    """
    return Piece(f"<style>\n{STYLE.read_text(encoding='utf-8')}</style>")


def heading(design: Design, points: pd.DataFrame) -> Piece:
    """The title, and the answer in a sentence."""
    sweep, base, words = design.loaded.sweep, design.loaded.base, words_for(design)
    note = sweep.note or (messages(words.locale)["page"]["invented"] if base.invented else "")
    byline = f'<p class="byline">{escape(note)}</p>' if note else ""
    low, high = (words.strong_amount(value) for value in (points["closing_mrr"].min(), points["closing_mrr"].max()))
    reached = ""
    if base.goal_mrr is not None:
        share = words.count(points["goal_month"].notna().sum())
        reached = " " + words.html("goal", goal=escape(words.amount(float(base.goal_mrr))), count=share)
    business, month, count = escape(base.business), str(base.months), words.count(len(points))
    text = words.html("answer", count=count, business=business, month=month, low=low, high=high)
    if design.loaded.over_ranges:
        text, reached = range_draws.answer_over_draws(design), range_draws.goal_over_draws(design)
    text += f" {_most_moving(_ordered(design, points), words)}{reached}"
    return Piece(f'<header class="sweep"><h1>{escape(sweep.title)}</h1>{byline}<p class="answer">{text}</p></header>')


def which_moves_most(design: Design, points: pd.DataFrame) -> Piece:
    """A row for each axis: the share of the spread that it explains alone, and the answer at its two ends."""
    ordered, over_ranges, words = _ordered(design, points), design.loaded.over_ranges, words_for(design)
    chance = range_draws.share_of_chance(design) if over_ranges else 0.0
    rows = "".join(
        row(
            escape(one.levels.title),
            [
                _bar(one.share * (1 - chance), words)
                + (f" <small>± {words.count(100 * one.error * (1 - chance))}</small>" if one.error else ""),
                f"{escape(words.amount(one.low))} <small>{words.html('at', value=escape(one.low_word))}</small>",
                f"{escape(words.amount(one.high))} <small>{words.html('at', value=escape(one.high_word))}</small>",
            ],
        )
        for one in ordered
    )
    if over_ranges:
        rows += row(words.html("chance"), [_bar(chance, words), "–", "–"])
    keys = ("range" if over_ranges else "axis", "of_spread", "lowest_mean", "highest_mean")
    shares = comparison_words.table(map(words.plain, keys), rows)
    parts = [words.html("share"), words.html("share_chance") if over_ranges else "", _how_sure(ordered, words)]
    text = f"<p>{' '.join(filter(None, parts))}</p>"
    return Piece(section(words.html("influence"), text + shares))


def heat_maps(design: Design, points: pd.DataFrame) -> Piece:
    """MRR at the end over the two axes that move it most, for each level of the third: numbers in tinted cells."""
    words, points = words_for(design), labelled(design, points)
    ordered = [one.levels for one in _ordered(design, points)]
    if len(ordered) < 2:
        return Piece("")
    rows, columns = ordered[0], ordered[1]
    third = ordered[2] if len(ordered) > 2 and len(ordered[2].words) <= MOST_PANELS else None
    if third is None or rows.cut or columns.cut:
        panels, rest = [(words.plain("all_points"), over_two(points, "closing_mrr", rows, columns))], ordered[2:]
    else:
        panels = [
            (f"{third.title}: {word}", over_two(points, "closing_mrr", rows, columns, third.codes == code))
            for code, word in enumerate(third.words)
        ]
        rest = ordered[3:]
    low, high = (edge([edge(grid) for _, grid in panels]) for edge in (np.nanmin, np.nanmax))
    maps = "".join(_heat_map(title, grid, rows, columns, (low, high), words) for title, grid in panels)
    others = " " + words.html("means_over", axes=escape(", ".join(one.title for one in rest))) if rest else ""
    title = words.plain("heat", rows=rows.title, columns=columns.title)
    figure = heat_panels(
        {name: grid.round(2) for name, grid in panels},
        title=title,
        unit=words.plain("a_month", currency=design.loaded.base.currency),
        rows=(rows.title, rows.words),
        columns=(columns.title, columns.words),
    )
    text = (
        f"<p>{words.html('heat_lead', currency=escape(design.loaded.base.currency))}{others}</p>"
        f'<div class="panels">{maps}</div>'
    )
    return Piece(section(escape(title), text), figure=figure)


def small_multiples(design: Design, points: pd.DataFrame) -> Piece:
    """MRR by month: a panel for each level of the second axis, a line for each of the first, other axes fixed.

    Where axes are sampled no two points share a level: then the answer against each axis, and all points by month.
    """
    words, points = words_for(design), labelled(design, points)
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
    every = [values for _, series in found for _, values in series]
    scale = scale_over(design.loaded.base, every, locale=words.locale)
    charts = [small_charts.lines(name, lines.title, series, scale) for name, series in found if series]
    by = {"panels": panels.title, "lines": lines.title}
    lead = words.plain("lines_by" if panels.title else "lines", **by)
    figure = line_panels(
        {name: {word: values.round(2) for word, values in series} for name, series in found},
        title=lead,
        unit=words.plain("a_month", currency=design.loaded.base.currency),
    )
    others = ", ".join(f"{levels.title} {levels.words[0]}" for levels in ordered[2:])
    fixed = " " + words.html("other_axes", axes=escape(others)) if others else ""
    return Piece(_charts(words.html("by_month"), escape(lead, quote=False) + fixed, charts), figure=figure)


def cautions(design: Design | None = None) -> Piece:
    """What a comparison cannot know, in the language of its page; English without a design."""
    words = words_for(design) if design else ComparisonWords()
    return comparison_words.cannot_know(words.plain("caution"), locale=words.locale)


def _most_moving(ordered: Sequence[Influence], words: ComparisonWords) -> str:
    """Which axis moves the answer most, if the points can tell."""
    first = [strong(one.levels.title) for one in leaders(ordered)]
    if not first:
        return words.html("most_none")
    axes = words.listed(first)
    return words.html("most", axis=axes) if len(first) == 1 else words.html("most_several", axes=axes)


def _how_sure(ordered: Sequence[Influence], words: ComparisonWords) -> str:
    """How reliable the order of the rows is, and what to do about it."""
    parts = []
    if any(one.error for one in ordered):
        parts.append(words.html("sample"))
    close = [(escape(a.levels.title), escape(b.levels.title)) for a, b in pairwise(ordered) if b.tied]
    if close:
        parts.append(words.html("close", pairs=words.listed([words.html("below", a=a, b=b) for a, b in close])))
    if len(leaders(ordered)) == 1:
        parts.append(words.html("first_row"))
    weak = [escape(one.levels.title) for one in ordered if one.share <= one.chance]
    if weak:
        parts.append(words.html("weak", axes=", ".join(weak)))
    return " ".join(parts)


def _ordered(design: Design, points: pd.DataFrame) -> list[Influence]:
    words, points = words_for(design), labelled(design, points)
    texts, span = shown_texts(design), words.words["from_to"]
    return influences(points, "closing_mrr", sampled=design.sampled, texts=texts, span=span)


def _bar(share: float, words: ComparisonWords) -> str:
    """A bar as long as the share, and the share itself."""
    return f'<span class="bar" style="--share:{share:.3f}"></span>{escape(words.percent(share))}'


def _heat_map(
    title: str, grid: np.ndarray, rows: Levels, columns: Levels, ends: tuple[float, float], words: ComparisonWords
) -> str:
    low, high = ends
    head = "".join(f'<th scope="col">{escape(word)}</th>' for word in columns.words)
    body = ""
    for word, line in zip(rows.words, grid, strict=True):
        cells = "".join(
            "<td>–</td>"
            if np.isnan(value)
            else f'<td style="--heat:{45 * (value - low) / ((high - low) or 1):.0f}%">{words.count(value)}</td>'
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
    words = words_for(design)
    values, texts = points["closing_mrr"].to_numpy(float), shown_texts(design)
    scale = scale_over(design.loaded.base, [values], locale=words.locale)
    charts = []
    for levels in ordered:
        if levels.cut:
            x = points[levels.title].to_numpy(float)
            low, high = (float(f"{edge:.2g}") for edge in (x.min(), x.max()))
            first, last = texts[levels.title]([low, high])
            charts.append(small_charts.scatter(levels.title, x, values, scale, ends=(first, last)))
    return _charts(words.html("against"), words.html("against_lead"), charts)


def _all_by_month(design: Design, most: Levels) -> str:
    """MRR by month: the spread of all points, and the median for each level of the most influential axis."""
    words, axis = words_for(design), most.title
    numbers = small_charts.some(design.count, MOST_FORECAST)
    values = mrr_by_month(design, numbers)
    codes = most.codes[numbers]
    series = [
        (word, np.nanmedian(values[codes == code], axis=0))
        for code, word in enumerate(most.words)
        if (codes == code).any()
    ]
    edges = list(np.nanpercentile(values, small_charts.FAN, axis=0))
    title, text = words.plain("all_sets"), words.html("half", axis=escape(axis))
    if len(numbers) < design.count:
        text += " " + words.html("some", count=words.count(len(numbers)))
    if design.loaded.over_ranges:
        edges = range_draws.edges(design)
        title, text = words.plain("ranges_and_chance"), words.html("half_draws", axis=escape(axis))
    scale = scale_over(design.loaded.base, [edges[-1], *(line for _, line in series)], locale=words.locale)
    charts = [
        small_charts.fan(title, edges, scale),
        small_charts.lines(words.plain("medians", axis=axis), axis, series, scale),
    ]
    return _charts(words.html("by_month"), text, charts)


def _charts(title: str, text: str, charts: list[str]) -> str:
    return section(title, f'<p>{text}</p><div class="panels small">{"".join(charts)}</div>')


def _spread(count: int, most: int) -> list[int]:
    """Up to `most` of 0..count - 1, the first and the last among them."""
    return list(range(count)) if count <= most else sorted({round(i * (count - 1) / (most - 1)) for i in range(most)})
