"""The answer as one picture for sharing, 1200 x 630: question, answer, chart, and the name of the piece."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

import numpy as np

from growth.calculator.language import LOCALE, messages, said
from growth.calculator.words import answer, money
from growth.engine import Forecast
from growth.giveaway.brief import Giveaway

WIDTH, HEIGHT = 1200, 630
PAPER, INK, SOFT, RULE = "#fbf7ef", "#2b2722", "#665d50", "#ddd3c1"
GAIN, LOSS, GOAL = "#1f5f8b", "#9c4f14", "#5b4a8a"
SERIF = "'Iowan Old Style','Palatino Linotype',Palatino,'Noto Serif','DejaVu Serif',Georgia,serif"
SANS = "system-ui,'Segoe UI','Noto Sans','DejaVu Sans',sans-serif"
_NARROW, _WIDE = set("iljtf.,;:'!|()[] "), set("mwMWQGO%@€£$")


def told(giveaway: Giveaway, forecast: Forecast) -> str:
    """The answer in one text: the brief's, or the one that the calculator speaks."""
    return giveaway.answer or answer(forecast, giveaway.locale)


def picture_svg(giveaway: Giveaway, forecast: Forecast, *, what_ifs: Mapping[str, Forecast] | None = None) -> str:
    """The picture as SVG, of text and lines alone: no script, no link, nothing from elsewhere.

    what_ifs: forecasts to draw beside the first, by the words that stand on their lines.
    """
    text, words = told(giveaway, forecast), messages(giveaway.locale)["kit"]
    margin, inner = 64, WIDTH - 128
    question, question_size = fitted(giveaway.question, width=inner, most=2, sizes=(30, 27, 24, 22))
    said, size = fitted(text, width=inner, most=4, sizes=(46, 42, 38, 34, 30, 27))
    parts = [_lines(question, margin, 78, question_size, SOFT, italic=True)]
    top = 78 + (len(question) - 1) * question_size * 1.3 + size + 34
    parts.append(_lines(said, margin, top, size, INK))
    below = top + (len(said) - 1) * size * 1.3 + 30
    parts.append(_chart({"": forecast, **(what_ifs or {})}, margin, below, inner, HEIGHT - 84 - below, giveaway.locale))
    foot = words["picture_foot"]
    if forecast.scenario.invented:
        foot = f"{words['invented_numbers']} {foot}"
    parts.append(f'<line x1="{margin}" x2="{WIDTH - margin}" y1="{HEIGHT - 62}" y2="{HEIGHT - 62}" stroke="{RULE}"/>')
    parts.append(_lines([clipped(foot, width=inner * 0.62, size=18)], margin, HEIGHT - 32, 18, SOFT, family=SANS))
    name = clipped(giveaway.name, width=inner * 0.36, size=18)
    parts.append(_lines([name], WIDTH - margin, HEIGHT - 32, 18, SOFT, family=SANS, anchor="end"))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" viewBox="0 0 {WIDTH} '
        f'{HEIGHT}" role="img" '
        f'aria-labelledby="t d"><title id="t">{escape(giveaway.question)}</title><desc id="d">{escape(text)}</desc>'
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{PAPER}"/>{"".join(parts)}</svg>\n'
    )


def text_width(text: str, size: float) -> float:
    """About how wide a text is in a serif face of that size, in pixels: rather too wide than too narrow."""
    return size * sum(
        0.32 if c in _NARROW else 0.95 if c in _WIDE or ord(c) > 0x2E7F else 0.72 if c.isupper() else 0.62 for c in text
    )


def wrapped(text: str, *, width: float, size: float) -> list[str]:
    """A text in lines that fit; a word that is too long for a line is cut."""
    lines: list[str] = []
    for word in text.replace("\n", " ").split(" "):  # an amount stays in one piece
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size) <= width:
            lines[-1] = longer
        else:
            lines.append(clipped(word, width=width, size=size))
    return lines


def fitted(text: str, *, width: float, most: int, sizes: tuple[int, ...]) -> tuple[list[str], int]:
    """The lines of a text in the largest size in which they are at most `most`; the last is cut where there is none."""
    for size in sizes:
        lines = wrapped(text, width=width, size=size)
        if len(lines) <= most:
            return lines, size
    lines[most - 1] = clipped(f"{lines[most - 1]} ...", width=width, size=size, always=True)
    return lines[:most], size


def clipped(text: str, *, width: float, size: float, always: bool = False) -> str:
    """A text cut, with dots, to what fits."""
    if text_width(text, size) <= width and not always:
        return text
    text = text.removesuffix(" ...")
    while text and text_width(text + " ...", size) > width:
        text = text[:-1]
    return f"{text.rstrip()} ..."


def chart_path(forecast: Forecast, x: float, y: float, width: float, height: float, *, top: float) -> str:
    """MRR from month 0 on as the path of a line within a box; `top` is the amount at its upper edge."""
    values = np.concatenate([forecast.opening_mrr[:1], forecast.closing_mrr])
    across = x + width * np.arange(values.size) / (values.size - 1)
    down = y + height * (1 - values / (top or 1))
    return "M" + " L".join(f"{a:.1f} {b:.1f}" for a, b in zip(across, down, strict=True))


def chart_lines(
    forecasts: Mapping[str, Forecast],
    x: float,
    y: float,
    width: float,
    height: float,
    *,
    size: float,
    locale: str = LOCALE,
) -> str:
    """The MRR of each forecast as a line in a box, its name and last amount beside its end; the first is as things
    stand.

    The lines are told apart by their dashes too. A goal within sight is a dotted line.
    """
    first, words = next(iter(forecasts.values())), messages(locale)["kit"]
    currency, goal = first.scenario.currency, first.scenario.goal_mrr
    top = 1.05 * max(max(one.closing_mrr.max(), one.opening_mrr[0]) for one in forecasts.values()) or 1.0
    foot, marks = y + height, []
    parts = [f'<line x1="{x:g}" x2="{x + width:.1f}" y1="{foot:.1f}" y2="{foot:.1f}" stroke="{SOFT}"/>']
    if goal and goal < top and len(forecasts) == 1:
        level = y + height * (1 - goal / top)
        parts.append(
            f'<line x1="{x:g}" x2="{x + width:.1f}" y1="{level:.1f}" y2="{level:.1f}" stroke="{GOAL}" '
            f'stroke-dasharray="2 6"/>'
        )
        marks.append((level, said(words["picture_goal"], goal=money(goal, currency, locale)), GOAL))
    for (name, one), (colour, dash) in zip(forecasts.items(), _LOOKS, strict=False):
        line = chart_path(one, x, y, width, height, top=top)
        parts.append(
            f'<path d="{line}" fill="none" stroke="{colour}" stroke-width="{size / 5:.1f}" stroke-dasharray="{dash}"/>'
        )
        end = float(one.closing_mrr[-1])
        named = name or (words["as_things_stand"] if len(forecasts) > 1 else "")
        marks.append((y + height * (1 - end / top), f"{named} {money(end, currency, locale)}".strip(), colour))
    lowest = -np.inf
    for at, words, colour in sorted(marks):  # labels keep their distance
        lowest = max(at, lowest + size * 1.25)
        parts.append(_lines([words], x + width + size * 0.7, lowest + size / 3, size, colour, family=SANS))
    return "".join(parts)


_LOOKS = ((INK, "none"), (GAIN, "none"), (LOSS, "9 5"), (GOAL, "3 4"), (SOFT, "12 4 3 4"), (GAIN, "5 5"), (LOSS, "2 3"))


def _chart(forecasts: Mapping[str, Forecast], x: float, y: float, width: float, height: float, locale: str) -> str:
    if height < 60:
        return ""
    return chart_lines(forecasts, x, y, width - (310 if len(forecasts) > 1 else 150), height, size=17, locale=locale)


def _lines(
    lines: list[str],
    x: float,
    y: float,
    size: float,
    colour: str,
    *,
    family: str = SERIF,
    italic: bool = False,
    anchor: str = "start",
) -> str:
    style = ' font-style="italic"' if italic else ""
    return "".join(
        f'<text x="{x:g}" y="{y + n * size * 1.3:.1f}" font-family="{family}" font-size="{size}" '
        f'fill="{colour}" text-anchor="{anchor}"{style}>'
        f"{escape(line)}</text>"
        for n, line in enumerate(lines)
    )
