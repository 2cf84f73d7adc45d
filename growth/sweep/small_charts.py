"""The comparison's small charts as SVG: lines by month, a fan of many points by month, and points over an axis.

All are drawn on one scale from 0 to `top`; each says in its label what it shows, for those who do not see it.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Any

import numpy as np

from growth.sweep.influence import short

WIDTH, HEIGHT = 200, 120
FLOOR = HEIGHT - 14


def lines(title: str, axis: str, series: list[tuple[str, np.ndarray]], *, top: float) -> str:
    """A line for each (word, MRR by month), its word at its end."""
    series = sorted(series, key=lambda one: -one[1][-1])
    end = _end(word for word, _ in series)
    paths = "".join(
        f'<polyline points="{_path(_across(values, end), _height(values, top))}" class="line{index % 3}"/>'
        for index, (_, values) in enumerate(series)
    )
    labels = _labels([(word, values[-1]) for word, values in series], end, top)
    words = "; ".join(f"{axis} {word}: {values[-1]:,.0f} at the end" for word, values in series)
    return _figure(title, words, paths + labels, end, "month 0", f"{len(series[0][1]) - 1 if series else 0}")


def fan(title: str, by_month: np.ndarray, *, top: float) -> str:
    """The middle half and the middle nine tenths of many points by month, and their median.

    by_month: shape (points, months).
    """
    shares = (5, 25, 50, 75, 95)
    low, lower, middle, upper, high = edges = np.nanpercentile(by_month, shares, axis=0)
    ends = [(f"{values[-1]:,.0f}", values[-1]) for values in (high, middle, low)]
    end = _end(word for word, _ in ends)
    x = _across(middle, end)
    bands = "".join(
        f'<polygon points="{_path(x, _height(above, top))} {_path(x[::-1], _height(below, top)[::-1])}" class="band"/>'
        for below, above in ((low, high), (lower, upper))
    )
    line = f'<polyline points="{_path(x, _height(middle, top))}" class="middle"/>'
    words = "; ".join(f"{share}% end below {edge[-1]:,.0f}" for share, edge in zip(shares, edges, strict=True))
    return _figure(title, words, bands + line + _labels(ends, end, top), end, "month 0", f"{len(middle) - 1}")


def scatter(title: str, x: np.ndarray, y: np.ndarray, *, top: float, most: int = 300) -> str:
    """Points over an axis, up to `most` of them, and the median along it, of all; x, y: (points,)."""
    order = np.argsort(x, kind="stable")
    low, high = float(x[order[0]]), float(x[order[-1]])

    def across(values: np.ndarray) -> np.ndarray:
        return 2 + (WIDTH - 4) * (values - low) / ((high - low) or 1.0)

    shown = some(len(x), most)
    dots = "".join(f"M{a:.1f},{b:.1f}h0" for a, b in zip(across(x[shown]), _height(y[shown], top), strict=True))
    parts = np.array_split(order, min(12, max(1, len(x) // 8)))
    middles = [(np.median(x[part]), np.median(y[part])) for part in parts]
    at, value = (np.array(column) for column in zip(*middles, strict=True))
    line = f'<polyline points="{_path(across(at), _height(value, top))}" class="middle"/>' if len(parts) > 1 else ""
    words = f"{title}: median {value[0]:,.0f} where it is low, {value[-1]:,.0f} where it is high"
    return _figure(title, words, f'<path d="{dots}" class="dots"/>{line}', WIDTH - 2, *short([low, high]))


def some(count: int, most: int) -> np.ndarray:
    """Up to `most` of the numbers 0..count - 1, ascending: drawn at random, always the same.

    >>> some(3, 5), len(set(some(10_000, 300)))
    (array([0, 1, 2]), 300)
    """
    if count <= most:
        return np.arange(count)
    return np.sort(np.random.default_rng(0).choice(count, most, replace=False))


def _figure(title: str, words: str, paths: str, end: float, left: str, right: str) -> str:
    """A figure with its title, its ground line up to `end`, and what stands at the two ends of it."""
    return (
        f"<figure><figcaption>{escape(title)}</figcaption>"
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(words)}">'
        f'<line x1="2" x2="{end}" y1="{FLOOR}" y2="{FLOOR}" class="ground"/>{paths}'
        f'<text x="2" y="{HEIGHT - 2}">{left}</text>'
        f'<text x="{end}" y="{HEIGHT - 2}" text-anchor="end">{right}</text></svg></figure>'
    )


def _end(words: Iterable[str]) -> int:
    """Where lines end, so that these words have room on the right of them."""
    return WIDTH - max(48, 8 + max((5 * len(word) for word in words), default=0))


def _labels(ends: list[tuple[str, float]], end: float, top: float) -> str:
    """Words at the ends of lines, the highest first; where there is no room for all, as near to them as can be."""
    from scipy.optimize import isotonic_regression

    if not ends:
        return ""
    gaps = 11.0 * np.arange(len(ends))
    wanted = _height(np.array([value for _, value in ends]), top) + 4
    placed = isotonic_regression(wanted - gaps).x + gaps  # of all places at least a gap apart, the nearest in squares
    return "".join(
        f'<text x="{end + 4}" y="{y:.1f}">{escape(word)}</text>' for (word, _), y in zip(ends, placed, strict=True)
    )


def _across(values: np.ndarray, end: float) -> np.ndarray:
    return np.linspace(2, end, len(values))


def _height(values: Any, top: float) -> Any:
    return FLOOR - (HEIGHT - 26) * values / top


def _path(x: np.ndarray, y: np.ndarray) -> str:
    return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
