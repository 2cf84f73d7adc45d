"""How a piece's sign-ups fade: a half-life, from how they are spread over the days since it came out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.earned.interval import TAILS, Interval

SHORTEST, LONGEST = 3.0, 1_460.0  # days of half-life looked at; the longest is as good as no fading
_GRID = np.geomspace(SHORTEST, LONGEST, 240)
YEAR = 365


@dataclass(frozen=True, slots=True, eq=False)
class Fading:
    """What the days tell of the half-life, in days.

    weights: how likely each half-life of `half_lives` is, shape (240,), adding to one.
    half_life: the likeliest, with its interval; value None where there was no sign-up to tell it from.
    """

    weights: np.ndarray
    half_life: Interval

    @property
    def half_lives(self) -> np.ndarray:
        return _GRID

    @property
    def is_fading(self) -> bool:
        """Whether fading can be told from none: the interval ends before the longest half-life looked at."""
        return self.half_life.value is not None and self.half_life.high < LONGEST * 0.95


def total(half_life: np.ndarray, days: int | np.ndarray) -> np.ndarray:
    """Sum of q^t over t = 0..days-1, q = 2^(-1/half_life): the first `days` days in units of the first day."""
    q = 2.0 ** (-1.0 / np.asarray(half_life))
    return (1 - q**days) / (1 - q)


def log_likelihood(counts: np.ndarray) -> np.ndarray:
    """Of each half-life, for one piece, shape (240,). counts: sign-ups on day 0, 1, 2, ... since it came out.

    Sign-ups of day t are Poisson with mean a q^t. Given their number n, the days they fall on have
    log L = sum of t log q - n log(sum of q^t), free of the level a: a truncated geometric.
    """
    n, days = counts.sum(), len(counts)
    if n == 0:
        return np.zeros_like(_GRID)
    return -(counts @ np.arange(days)) * np.log(2) / _GRID - n * np.log(total(_GRID, days))


def fit(pieces: list[np.ndarray]) -> Fading:
    """The half-life that the pieces share. pieces: for each its sign-ups by day since it came out.

    Every half-life on a ratio scale is as likely as another before the counts are seen.

    >>> counts = 64 * 2.0 ** (-np.arange(90) / 10)
    >>> fit([counts]).half_life.value.__round__()
    10
    """
    log = sum((log_likelihood(np.asarray(counts, dtype=float)) for counts in pieces), np.zeros_like(_GRID))
    weights = np.exp(log - log.max())
    weights /= weights.sum()
    below = np.cumsum(weights)
    low, high = (float(np.interp(part, below, _GRID)) for part in TAILS)
    seen = any(np.sum(counts) for counts in pieces)
    return Fading(weights, Interval(float(_GRID[np.argmax(log)]) if seen else None, low, high))


def next_year(half_life: np.ndarray, days: int) -> np.ndarray:
    """The year after the first `days` days, in units of the first day."""
    return total(half_life, days + YEAR) - total(half_life, days)
