"""Charts as SVG, drawn in Python so that a page needs no chart library: lines, a fan of many points, and a scatter.

Each has an axis of amounts with round steps, an optional line for the goal, labels at the ends of its lines, and a text
alternative that says what it shows. Charts that are compared share one scale (`top`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from html import escape
from math import floor, log10

import numpy as np

from growth.calculator.language import LOCALE, said
from growth.calculator.number_words import money
from growth.scenario import Scenario
from growth.sweep.comparison_words import ComparisonWords
from growth.sweep.influence import short

LETTER = 6.0  # width of a letter in the drawing's units
GAP = 11.0  # between the lines of two labels
FAN = (5, 25, 50, 75, 95)  # per cent of the cases that lie below the lines of a fan
Text = Callable[[float], str]
Series = tuple[str, np.ndarray]


@dataclass(frozen=True, slots=True)
class ChartScale:
    """What charts on the same scale share.

    low, high: the ends of the axis of amounts, in the scenario's money.
    text: an amount in words, such as money. words: of the charts, in the language of the page.
    goal: a level to draw a line at; None for none.
    width, height: of the drawing, in its own units.
    """

    low: float
    high: float
    text: Text
    goal: float | None
    width: int
    height: int
    words: ComparisonWords = field(default_factory=ComparisonWords)

    def said(self, key: str, /, **values: str) -> str:
        """A text of the charts with its places filled."""
        return said(self.words.words["charts"][key], **values)

    def steps(self) -> list[float]:
        """Round amounts along the axis, about four of them.

        >>> ChartScale(0, 7448, str, None, 240, 150).steps(), ChartScale(-300, 900, str, None, 240, 150).steps()
        ([0.0, 2000.0, 4000.0, 6000.0], [0.0, 500.0])
        """
        rough = (self.high - self.low) / 3.5
        power = 10.0 ** floor(log10(rough))
        step = next(size * power for size in (1, 2, 5, 10) if size * power >= rough * 0.7)
        first = np.ceil(self.low / step)
        return [float(n * step) + 0.0 for n in np.arange(first, floor(self.high / step) + 1)]


def scale_over(
    scenario: Scenario,
    values: Iterable[np.ndarray],
    *,
    goal: bool = True,
    width: int = 240,
    height: int = 150,
    locale: str = LOCALE,
) -> ChartScale:
    """A scale in the scenario's currency on which all the values fit.

    goal: whether to draw a line at its goal, unless that is more than three times as high as any of the values.
    """
    arrays = [np.asarray(value, float) for value in values]
    low = min([0.0, *(float(np.nanmin(value)) for value in arrays if value.size)])
    high = max([0.0, *(float(np.nanmax(value)) for value in arrays if value.size)])
    level = float(scenario.goal_mrr) if goal and scenario.goal_mrr is not None else None
    if level is not None and level > 3 * high:
        level = None
    high = max(high, level or 0.0)
    text = partial(money, currency=scenario.currency, locale=locale, decimals=0)
    words = ComparisonWords(locale, scenario.currency)
    return ChartScale(low, high if high > low else low + 1.0, text, level, width, height, words)


def lines(
    title: str,
    axis: str,
    series: Sequence[Series],
    scale: ChartScale,
    *,
    first_month: int = 0,
    kinds: Mapping[str, str] | None = None,
    bands: Sequence[tuple[np.ndarray, np.ndarray, str]] = (),
) -> str:
    """A line for each (word, amount by month), its word at its end.

    axis: what the words are values of. kinds: word -> how its line is drawn, "lost" or "limit". bands: below the lines,
    the wider first, each with its low and its high end by month and what it is, such as "in 9 of 10 cases".
    """
    series = sorted(series, key=lambda one: -_last(one[1]))
    frame = _Frame(scale, [word for word, _ in series])
    paths = "".join(frame.between(low, high) for low, high, _ in bands)
    for index, (word, values) in enumerate(series):
        kind = (kinds or {}).get(word, f"line{index % 3}")
        paths += f'<polyline points="{frame.path(values)}" class="{kind}"/>'
    labels = frame.labels([(word, _last(values)) for word, values in series])
    told = "; ".join(
        scale.said(
            "line", name=f"{axis} {word}".strip(), first=scale.text(float(values[0])), last=scale.text(_last(values))
        )
        for word, values in series
    )
    told += "".join(
        f"; {scale.said('band', low=scale.text(float(low[-1])), high=scale.text(float(high[-1])), what=what)}"
        for low, high, what in bands
    )
    last = first_month + max(len(values) for _, values in series) - 1
    return frame.figure(title, told, paths + labels, (scale.said("month", n=str(first_month)), str(last)))


def fan(title: str, edges: Sequence[np.ndarray], scale: ChartScale) -> str:
    """The middle half and the middle nine tenths of many cases by month, and their median.

    edges: the values by month below which FAN of every hundred cases lie.
    """
    low, lower, middle, upper, high = edges
    ends = [(scale.text(float(values[-1])), float(values[-1])) for values in (high, middle, low)]
    frame = _Frame(scale, [word for word, _ in ends])
    bands = frame.between(low, high) + frame.between(lower, upper)
    line = f'<polyline points="{frame.path(middle)}" class="middle"/>'
    told = "; ".join(
        scale.said("below", share=scale.words.percent(share / 100), amount=scale.text(float(edge[-1])))
        for share, edge in zip(FAN, edges, strict=True)
    )
    months = (scale.said("month", n="0"), str(len(middle) - 1))
    return frame.figure(title, told, bands + line + frame.labels(ends), months)


def scatter(
    title: str, x: np.ndarray, y: np.ndarray, scale: ChartScale, *, ends: tuple[str, str] | None = None, most: int = 300
) -> str:
    """Points over an axis, up to `most` of them, and the median along it, of all; x, y: (points,)."""
    order = np.argsort(x, kind="stable")
    low, high = float(x[order[0]]), float(x[order[-1]])
    frame = _Frame(scale, [])
    shown = some(len(x), most)

    def across(values: np.ndarray) -> np.ndarray:
        return frame.across((values - low) / ((high - low) or 1.0))

    dots = "".join(f"M{a:.1f},{b:.1f}h0" for a, b in zip(across(x[shown]), frame.up(y[shown]), strict=True))
    parts = np.array_split(order, min(12, max(1, len(x) // 8)))
    at = np.array([np.median(x[part]) for part in parts])
    value = np.array([np.median(y[part]) for part in parts])
    line = f'<polyline points="{_path(across(at), frame.up(value))}" class="middle"/>' if len(parts) > 1 else ""
    told = scale.said("scatter", name=title, low=scale.text(value[0]), high=scale.text(value[-1]))
    words = ends or (short([low, high])[0], short([low, high])[1])
    return frame.figure(title, told, f'<path d="{dots}" class="dots"/>{line}', words)


def some(count: int, most: int) -> np.ndarray:
    """Up to `most` of the numbers 0..count - 1, ascending, drawn at random with a fixed seed.

    >>> some(3, 5), len(set(some(10_000, 300)))
    (array([0, 1, 2]), 300)
    """
    if count <= most:
        return np.arange(count)
    return np.sort(np.random.default_rng(0).choice(count, most, replace=False))


class _Frame:
    """The axes of one chart, with room for amounts on the left and for labels at the ends of lines on the right."""

    def __init__(self, scale: ChartScale, words: Sequence[str]) -> None:
        self._scale = scale
        self._steps = [(step, scale.text(step)) for step in scale.steps()]
        self._left = 6 + LETTER * max(len(text) for _, text in self._steps)
        self._right = scale.width - max(6.0, 8 + LETTER * max((len(word) for word in words), default=0))
        self._floor = scale.height - 16
        self._drawn: list[tuple[np.ndarray, np.ndarray]] = []

    def across(self, share: np.ndarray) -> np.ndarray:
        return self._left + (self._right - self._left) * share

    def up(self, values: np.ndarray) -> np.ndarray:
        scale = self._scale
        return self._floor - (self._floor - 10) * (np.asarray(values) - scale.low) / (scale.high - scale.low)

    def path(self, values: np.ndarray) -> str:
        """Amounts by month as the points of a line; months without one are left out."""
        here = ~np.isnan(values)
        x = self.across(np.linspace(0, 1, len(values))) if len(values) > 1 else self.across(np.array([0.0]))
        self._drawn.append((x[here], self.up(values[here])))
        return _path(x[here], self.up(values[here]))

    def _clear(self, word: str, y: float) -> tuple[float, float]:
        """Where a word stands at a line across the chart: above or below, left or right, clear of what is drawn."""
        wide = LETTER * len(word)
        places = [(x, y + off) for off in (-3.0, 10.0) for x in (self._left + 3, self._right - 3 - wide)]
        points = [np.concatenate(part) for part in zip(*self._drawn, strict=True)] if self._drawn else [np.zeros(0)] * 2

        def met(place: tuple[float, float]) -> int:
            across, down = points[0] - place[0], place[1] - points[1]
            return int(np.sum((across > -4) & (across < wide + 4) & (down > -3) & (down < 10)))

        return min(places, key=met)

    def between(self, below: np.ndarray, above: np.ndarray) -> str:
        """The area between two lines."""
        back = " ".join(reversed(self.path(below).split()))
        return f'<polygon points="{self.path(above)} {back}" class="band"/>'

    def labels(self, ends: Sequence[tuple[str, float]]) -> str:
        """Labels at the ends of lines, the highest first; without room for all, as close as possible."""
        from scipy.optimize import isotonic_regression

        if not ends:
            return ""
        gaps = GAP * np.arange(len(ends))
        wanted = self.up(np.array([value for _, value in ends])) + 3
        placed = isotonic_regression(wanted - gaps).x + gaps  # the nearest in squares of all places a gap apart
        placed -= max(0.0, placed[-1] - self._floor)
        return "".join(
            f'<text x="{self._right + 4:.1f}" y="{y:.1f}">{escape(word)}</text>'
            for (word, _), y in zip(ends, placed, strict=True)
        )

    def figure(self, title: str, told: str, inner: str, ends: tuple[str, str]) -> str:
        scale = self._scale
        grid = "".join(
            f'<line x1="{self._left:.1f}" x2="{self._right:.1f}" y1="{y:.1f}" y2="{y:.1f}" '
            f'class="{"ground" if step == 0 else "step"}"/>'
            f'<text x="{self._left - 4:.1f}" y="{y + 3:.1f}" text-anchor="end">{escape(text)}</text>'
            for step, text in self._steps
            for y in [float(self.up(np.array(step)))]
        )
        goal = ""
        if scale.goal is not None:
            y = float(self.up(np.array(scale.goal)))
            told += f"; {scale.said('goal_said', goal=scale.text(scale.goal))}"
            word = scale.said("goal", goal=scale.text(scale.goal))
            place = self._clear(word, y)
            goal = (
                f'<line x1="{self._left:.1f}" x2="{self._right:.1f}" y1="{y:.1f}" y2="{y:.1f}" class="goal"/>'
                f'<text x="{place[0]:.1f}" y="{place[1]:.1f}" class="goal-word">{escape(word)}</text>'
            )
        bottom = scale.height - 3
        caption = f"<figcaption>{escape(title)}</figcaption>" if title else ""
        return (
            f'<figure>{caption}<svg viewBox="0 0 {scale.width} {scale.height}" role="img" aria-label="{escape(told)}">'
            f'{grid}{inner}{goal}<text x="{self._left:.1f}" y="{bottom}">{escape(ends[0])}</text>'
            f'<text x="{self._right:.1f}" y="{bottom}" text-anchor="end">{escape(ends[1])}</text></svg></figure>'
        )


def _last(values: np.ndarray) -> float:
    """The last amount of a line; a line may end before others do."""
    return float(values[~np.isnan(values)][-1])


def _path(x: np.ndarray, y: np.ndarray) -> str:
    return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
