"""Which axis moves an answer most, in sentences that say no more than the points can tell."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from itertools import pairwise

from growth.sweep.influence import Influence, leaders


def most_moving(ordered: Sequence[Influence]) -> str:
    """Which axis moves the answer most, where the points can tell."""
    first = [_strong(one.levels.title) for one in leaders(ordered)]
    if len(first) == 1:
        return f"What moves it most: {first[0]}."
    if first:
        return f"What moves it most: {_listed(first)}; these points cannot tell which of them is ahead."
    return "None of the axes moves it by more than chance would make it seem."


def how_sure(ordered: Sequence[Influence]) -> str:
    """How far the order of the rows can be trusted, and what follows."""
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


def _strong(text: str) -> str:
    return f"<strong>{escape(text)}</strong>"


def _listed(words: Sequence[str]) -> str:
    """Words as a list in a sentence.

    >>> _listed(["a"]), _listed(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
