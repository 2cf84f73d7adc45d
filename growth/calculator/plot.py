"""The parts of a picture as SVG: scales, lines, axes, marks at a month, and labels that keep their distance.

`plot.js` draws the same in the page; a test holds the two together. Text is measured by its number of characters, since
nobody knows the reader's fonts here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from html import escape

TEXT = 0.56  # the width of a character of the sans face, in em
ROW = 1.25  # the height of a row of text, in em
_WIDE = re.compile(r"[A-Z\d]", re.ASCII)


@dataclass(frozen=True, slots=True)
class Plot:
    """A plot of months 0..to and amounts least..most: its picture's size, its edges, and the amounts of its axis."""

    width: float
    height: float
    em: float
    left: float
    right: float
    top: float
    bottom: float
    to: int
    most: float
    amounts: list[tuple[float, str]]
    least: float = 0.0

    def x(self, month: float) -> float:
        """The place of a month."""
        return self.left + ((self.right - self.left) * month) / self.to

    def y(self, amount: float) -> float:
        """The place of an amount."""
        return self.bottom - ((self.bottom - self.top) * (amount - self.least)) / (self.most - self.least)


@dataclass(frozen=True, slots=True)
class Beside:
    """A label beside the end of a line: its rows, the first of them bold."""

    amount: float
    rows: list[str]
    look: str


@dataclass(frozen=True, slots=True)
class Noted:
    """A point of note: a dot on a line, and what it says below the calendar."""

    month: int
    amount: float
    says: str
    look: str


def width_of(text: str, em: float) -> float:
    """About how wide a text is; capitals and digits are wider by a sixth."""
    return (len(text) + len(_WIDE.findall(text)) / 6) * em * TEXT


def widest(texts: Iterable[str], em: float) -> float:
    """The width of the widest of some texts."""
    return max((width_of(text, em) for text in texts), default=0.0)


def plot(
    *, width: float, height: float, em: float, sides: tuple[float, float], to: int, most: float,
    money: Callable[..., str], least: float = 0.0,
) -> Plot:  # fmt: skip
    """A plot with so much room at its left and right for the texts there."""
    left, right = 8 + sides[0], width - sides[1] - em
    top, bottom = em * 0.8, height - (em * 2 * ROW + 8)
    return Plot(width, height, em, left, right, top, bottom, to, most, amounts_up_to(most, money, least), least)


def amounts_up_to(most: float, money: Callable[..., str], least: float = 0.0) -> list[tuple[float, str]]:
    """About four round amounts, 0 among them, with their words by `money(amount, decimals=...)`: as many in each.

    >>> from functools import partial
    >>> from growth.calculator.number_words import money
    >>> euro = partial(money, currency="EUR")
    >>> [text for _, text in amounts_up_to(3_900, euro)], [text for _, text in amounts_up_to(150, euro)]
    (['€0', '€1,000', '€2,000', '€3,000'], ['€0', '€50', '€100', '€150'])
    >>> [text for _, text in amounts_up_to(1_500, euro, -700)]
    ['€0', '€1,000']
    """
    quarter = (most - least) / 4
    power = 10.0 ** math.floor(math.log10(quarter))
    step = next(digit for digit in (1, 2, 5, 10) if digit * power >= quarter) * power
    first, last = math.ceil(least / step - 1e-9), math.floor(most / step + 1e-9)
    decimals = None if step < 1 else 0
    return [(i * step, money(i * step, decimals=decimals)) for i in range(first, last + 1)]


def text(content: str, x: float, y: float, look: str, anchor: str = "start") -> str:
    """A text at a place."""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" class="{look}">{escape(content)}</text>'


def straight(x1: float, y1: float, x2: float, y2: float, look: str) -> str:
    """A straight line."""
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{look}"></line>'


def _points(frame: Plot, values: Sequence[float], first: int) -> list[str]:
    there = enumerate(values[: frame.to - first + 1], start=first)
    return [f"{frame.x(month):.1f} {frame.y(min(value, frame.most)):.1f}" for month, value in there]


def line(frame: Plot, values: Sequence[float], first: int, look: str) -> str:
    """A line through amounts by month, the first of them of month `first`."""
    return f'<path d="M{"L".join(_points(frame, values, first))}" class="{look}"></path>'


def between(frame: Plot, above: Sequence[float], below: Sequence[float], first: int, look: str) -> str:
    """What lies between two lines."""
    there, back = _points(frame, above, first), _points(frame, below, first)[::-1]
    return f'<path d="M{"L".join(there)}L{"L".join(back)}Z" class="{look}"></path>'


def axes(frame: Plot, labels: Sequence[str]) -> str:
    """The rules and amounts of the left axis, and the calendar below."""
    left, right, bottom, em, to = frame.left, frame.right, frame.bottom, frame.em, frame.to
    parts = [
        straight(left, frame.y(amount), right, frame.y(amount), "growth-rule") for amount, _ in frame.amounts if amount
    ]
    parts.append(straight(left, frame.y(0), right, frame.y(0), "growth-zero"))
    parts += [
        text(said, left - 6, frame.y(amount) + em * 0.35, "growth-faint", "end") for amount, said in frame.amounts
    ]
    apart = width_of(labels[to], em) + em
    every = next((step for step in (1, 2, 3, 6, 12, 24, 48) if frame.x(step) - frame.x(0) >= apart), 48)
    for month in range(to, -1, -every):
        x = frame.x(month)
        parts.append(straight(x, bottom, x, bottom + 4, "growth-zero"))
        if x - apart / 2 >= 0:
            parts.append(text(labels[month], x, bottom + 6 + em, "growth-faint", "middle"))
    return "".join(parts)


def marks(frame: Plot, noted: Iterable[Noted]) -> str:
    """Points of note, with a plumb line to what each says; where two would touch the later one stays unsaid."""
    parts, taken, em = [], frame.left - frame.em, frame.em
    for one in sorted(noted, key=lambda one: one.month):
        x, y = frame.x(one.month), frame.y(one.amount)
        parts.append(straight(x, y, x, frame.bottom, f"growth-plumb {one.look}"))
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{em * 0.36:.1f}" class="growth-dot {one.look}"></circle>')
        wide = width_of(one.says, em)
        start = min(max(x - wide / 2, taken + em, 0), frame.width - wide)
        if one.says and start >= taken:
            taken = start + wide
            parts.append(text(one.says, start, frame.bottom + 6 + em * (1 + ROW), f"growth-note {one.look}"))
    return "".join(parts)


def labels_beside(frame: Plot, labels: Iterable[Beside]) -> str:
    """Labels beside the ends of their lines, in the order of their amounts and clear of each other."""
    em = frame.em
    placed = sorted(labels, key=lambda label: -label.amount)
    high = [len(label.rows) * em * ROW for label in placed]
    at = [frame.y(min(label.amount, frame.most)) - tall / 2 for label, tall in zip(placed, high, strict=True)]
    lowest = frame.top - em
    for i, tall in enumerate(high):
        at[i] = max(at[i], lowest)
        lowest = at[i] + tall + 2
    highest = frame.bottom + em * 0.6
    for i in range(len(high) - 1, -1, -1):
        at[i] = min(at[i], highest - high[i])
        highest = at[i] - 2
    return "".join(
        text(row, frame.right + em * 0.6, place + em * (1 + i * ROW) - em * 0.05,
             f"{'growth-name' if i else 'growth-end'} {label.look}")
        for label, place in zip(placed, at, strict=True)
        for i, row in enumerate(label.rows)
    )  # fmt: skip


def in_rows(name: str, most: int) -> list[str]:
    """A name in rows of at most so many characters, broken between words.

    >>> in_rows("twice as many sign-ups", 14)
    ['twice as many', 'sign-ups']
    """
    rows: list[str] = []
    for word in name.split(" "):
        longer = f"{rows[-1]} {word}" if rows else word
        if rows and len(longer) <= most:
            rows[-1] = longer
        else:
            rows.append(word)
    return rows
