"""MRR by month as lines in SVG, for the social picture and the handout: dates below, the goal month marked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from growth.calculator.language import LOCALE, messages, said
from growth.calculator.number_words import money, month_labels
from growth.engine import Forecast
from growth.measures import goal_month
from growth.uncertainty import spread_of

PAPER, INK, SOFT, RULE = "#fbf7ef", "#2b2722", "#665d50", "#ddd3c1"
GAIN, LOSS, GOAL = "#1f5f8b", "#9c4f14", "#5b4a8a"
SERIF = "'Iowan Old Style','Palatino Linotype',Palatino,'Noto Serif','DejaVu Serif',Georgia,serif"
SANS = "system-ui,'Segoe UI','Noto Sans','DejaVu Sans',sans-serif"

_STROKES = (  # colour and dashes of each line, so that lines differ in print too
    (INK, "none"),
    (GAIN, "none"),
    (LOSS, "9 5"),
    (GOAL, "3 4"),
    (SOFT, "12 4 3 4"),
    (GAIN, "5 5"),
    (LOSS, "2 3"),
)
_HEADROOM = 1.08  # of the highest amount
_MOST_OF_A_BAND = 1.6  # of the highest amount of a line: what goes beyond is cut off, so that the line keeps its room


@dataclass(frozen=True, slots=True)
class Box:
    """Where the lines are drawn, in pixels; labels stand to its right and below."""

    x: float
    y: float
    width: float
    height: float


def line_chart(forecasts: Mapping[str, Forecast], box: Box, *, size: float, locale: str = LOCALE) -> str:
    """SVG elements of the chart: a line for each forecast, years on the axis, the goal and the month that reaches it.

    Around the first line lie the bands of nine and of five in ten cases.

    Parameters
    ----------
    forecasts : forecasts of the same length, without draws, by the label that stands at the end of their line. The
        first is the base: the goal mark is its own. An empty label stands for "as things stand" where there are
        several.
    box : the area of the lines.
    size : size of the labels in pixels; strokes and distances follow it.
    locale : for amounts and months.

    Returns
    -------
    str
        SVG elements without the enclosing `svg`.
    """
    base, words = next(iter(forecasts.values())), messages(locale)["kit"]
    currency = base.scenario.currency
    goal = None if base.scenario.goal_mrr is None else float(base.scenario.goal_mrr)
    highest = max(max(one.closing_mrr.max(), one.opening_mrr[0]) for one in forecasts.values())
    spread = spread_of(base.scenario)
    bands = [spread.band(share) for share in (0.9, 0.5)] if spread.varies else []
    wide = min(max((high.max() for _, high in bands), default=0.0), _MOST_OF_A_BAND * highest)
    top = _HEADROOM * max(highest, wide, goal if goal and goal <= 1.3 * highest else 0) or 1.0

    def level(amount: float) -> float:
        return box.y + box.height * (1 - amount / top)

    parts = [_band(base, ends, box, top) for ends in bands]
    parts.append(_axis(base, box, size, locale))
    labels: list[tuple[float, str, str]] = []
    if goal and goal < top:
        parts.append(_rule(box.x, level(goal), box.x + box.width, level(goal), GOAL, "2 6"))
        labels.append((level(goal), said(words["picture_goal"], goal=money(goal, currency, locale)), GOAL))
    for (name, one), (colour, dash) in zip(forecasts.items(), _STROKES, strict=False):
        parts.append(
            f'<path d="{_path(one, box, top)}" fill="none" stroke="{colour}" stroke-width="{size / 5:.1f}" '
            f'stroke-dasharray="{dash}"/>'
        )
        end = float(one.closing_mrr[-1])
        named = name or (words["as_things_stand"] if len(forecasts) > 1 else "")
        labels.append((level(end), f"{named} {money(end, currency, locale)}".strip(), colour))
    parts.append(_goal_mark(base, box, level(goal) if goal else 0, size, locale, low=len(forecasts) > 1))
    parts += [
        text_lines([text], box.x + box.width + size * 0.7, at + size / 3, size, colour, family=SANS)
        for at, text, colour in _apart(labels, size * 1.25)
    ]
    return "".join(parts)


def text_lines(
    lines: Sequence[str],
    x: float,
    y: float,
    size: float,
    colour: str,
    *,
    family: str = SERIF,
    italic: bool = False,
    bold: bool = False,
    anchor: str = "start",
) -> str:
    """Lines of text as SVG, the first with its baseline at `y`; bold text is set off from lines behind it."""
    style = ' font-style="italic"' if italic else ""
    if bold:
        style += f' font-weight="bold" paint-order="stroke" stroke="{PAPER}" stroke-width="{size / 4:g}"'
    return "".join(
        f'<text x="{x:g}" y="{y + n * size * 1.3:.1f}" font-family="{family}" font-size="{size:g}" fill="{colour}" '
        f'text-anchor="{anchor}"{style}>{escape(line)}</text>'
        for n, line in enumerate(lines)
    )


def _path(forecast: Forecast, box: Box, top: float) -> str:
    """MRR from month 0 on; `top` is the amount at the upper edge."""
    return "M" + " L".join(_points(forecast, forecast.closing_mrr, box, top))


def _points(forecast: Forecast, closing: np.ndarray, box: Box, top: float) -> list[str]:
    """Points of today's MRR and of amounts at the close of each month; amounts above the upper edge lie on it."""
    values = np.minimum(np.concatenate([forecast.opening_mrr[:1], closing]), top)
    across = box.x + box.width * np.arange(values.size) / (values.size - 1)
    down = box.y + box.height * (1 - values / top)
    return [f"{a:.1f} {b:.1f}" for a, b in zip(across, down, strict=True)]


def _band(forecast: Forecast, ends: tuple[np.ndarray, np.ndarray], box: Box, top: float) -> str:
    """The area between the two ends; overlapping areas are darker."""
    low, high = (_points(forecast, end, box, top) for end in ends)
    return f'<path d="M{" L".join([*high, *low[::-1]])}Z" fill="{GAIN}" fill-opacity="0.13"/>'


def _axis(forecast: Forecast, box: Box, size: float, locale: str) -> str:
    """The base line, the first and the last month below its ends, and a tick with the year at each January between."""
    labels, foot = month_labels(forecast.scenario.first_month, forecast.months, locale), box.y + box.height
    parts = [_rule(box.x, foot, box.x + box.width, foot, SOFT)]
    first_year, first_month = int(forecast.scenario.first_month[:4]), int(forecast.scenario.first_month[5:])
    clear = 5 * size  # the labels at the ends need this much room
    januaries = range((1 - first_month) % 12 + 1, forecast.months + 1, 12)
    for month in januaries:
        x, year = box.x + box.width * month / forecast.months, first_year + (first_month + month - 2) // 12
        if box.x + clear < x < box.x + box.width - clear:
            parts.append(_rule(x, foot, x, foot + size * 0.4, SOFT))
            parts.append(text_lines([str(year)], x, foot + size * 1.5, size, SOFT, family=SANS, anchor="middle"))
    parts.append(text_lines([labels[0]], box.x, foot + size * 1.5, size, SOFT, family=SANS))
    end = box.x + box.width
    parts.append(text_lines([labels[forecast.months]], end, foot + size * 1.5, size, SOFT, family=SANS, anchor="end"))
    return "".join(parts)


def _goal_mark(forecast: Forecast, box: Box, level: float, size: float, locale: str, *, low: bool) -> str:
    """A dot where the base line reaches the goal, with the calendar month beside it; low: just above the axis."""
    month = goal_month(forecast).value
    if month is None:
        return ""
    at = int(month)
    x = box.x + box.width * at / forecast.months
    label = month_labels(forecast.scenario.first_month, forecast.months, locale)[at]
    right = at > forecast.months / 2  # the label stands where the rising line is not
    dot = f'<circle cx="{x:.1f}" cy="{level:.1f}" r="{size * 0.35:.1f}" fill="{GOAL}"/>'
    drop = _rule(x, level, x, box.y + box.height, GOAL, "2 6")
    where = x - size * 0.6 if right else x + size * 0.6
    y = level - size * 0.7 if right else level + size * 1.4
    y = box.y + box.height - size * 0.6 if low else y
    anchor = "end" if right else "start"
    return drop + dot + text_lines([label], where, y, size, GOAL, family=SANS, bold=True, anchor=anchor)


def _apart(labels: list[tuple[float, str, str]], distance: float) -> list[tuple[float, str, str]]:
    """Labels from top to bottom, moved down where they would touch."""
    placed: list[tuple[float, str, str]] = []
    for at, text, colour in sorted(labels):
        placed.append((max(at, placed[-1][0] + distance) if placed else at, text, colour))
    return placed


def _rule(x1: float, y1: float, x2: float, y2: float, colour: str, dash: str = "none") -> str:
    return (
        f'<line x1="{x1:.1f}" x2="{x2:.1f}" y1="{y1:.1f}" y2="{y2:.1f}" stroke="{colour}" stroke-dasharray="{dash}"/>'
    )
