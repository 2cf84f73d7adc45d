"""How a piece's sign-ups fade: a half-life, from how they are spread over the days since it came out.

What is held likely before any count is seen decides how long a half-life a young piece may have. The prior is
Jeffreys': as likely as the days can tell it from its neighbours. A half-life much longer than the days cannot be told
from one longer still, and so gets little of it. For a piece seen for less than LEAST_SPAN days it is the prior of one
seen for so many, a weak assumption that is needed there: thirty days alone say next to nothing of a half-life of two
hundred. Source: Jeffreys (1946), Proceedings of the Royal Society A 186, 453-461; that intervals from it hold about
as often as they say: Welch and Peers (1963), Journal of the Royal Statistical Society B 25, 318-329.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from growth.earned.interval import TAILS, Interval

SHORTEST, LONGEST = 3.0, 1_460.0  # days of half-life looked at; the longest is as good as no fading
_GRID = np.geomspace(SHORTEST, LONGEST, 240)
YEAR = 365
LEAST_SPAN = 140  # days


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


def information(rate: np.ndarray, span: float | np.ndarray) -> np.ndarray:
    """What one event within 0..span tells of the rate at which such events thin out: Fisher's information.

        I(r) = 1/r^2 - span^2 e^(-r span) / (1 - e^(-r span))^2, and span^2 / 12 as r goes to 0

    That of an exponential cut off at `span`. rate: per day, above 0; span: days; shapes that
    broadcast.

    >>> information(np.array([1e-9, 10.0]), 12.0).round(4).tolist()
    [12.0, 0.01]
    """
    x = rate * span
    near_zero = 1 / 12 - x**2 / 240  # of the series; the difference below has no digits left there
    far = 1 / np.maximum(x, 1e-3) ** 2 - 1 / (4 * np.sinh(np.clip(x, 1e-3, 600) / 2) ** 2)
    return span**2 * np.where(x < 0.02, near_zero, far)


def prior(counts: list[float], spans: list[float]) -> np.ndarray:
    """log of Jeffreys' prior on the grid of half-lives, shape (240,). counts: events of each piece; spans: its days."""
    rate = np.log(2) / _GRID
    told = sum(max(n, 1.0) * information(rate, max(span, LEAST_SPAN)) for n, span in zip(counts, spans, strict=True))
    return np.log(rate) + np.log(told) / 2  # the grid's steps are even in log half-life: d rate = rate d log


def fit(pieces: list[np.ndarray]) -> Fading:
    """The half-life that the pieces share. pieces: for each its sign-ups by day since it came out.

    >>> counts = 64 * 2.0 ** (-np.arange(90) / 10)
    >>> fit([counts]).half_life.value.__round__()
    10
    """
    pieces = [np.asarray(counts, dtype=float) for counts in pieces]
    log = sum((log_likelihood(counts) for counts in pieces), np.zeros_like(_GRID))
    told = log + prior([counts.sum() for counts in pieces], [len(counts) for counts in pieces])
    weights = np.exp(told - told.max())
    weights /= weights.sum()
    below = np.cumsum(weights)
    low, high = (float(np.interp(part, below, _GRID)) for part in TAILS)
    seen = any(counts.sum() for counts in pieces)
    return Fading(weights, Interval(float(_GRID[np.argmax(log)]) if seen else None, low, high))


def next_year(half_life: np.ndarray, days: int) -> np.ndarray:
    """The year after the first `days` days, in units of the first day."""
    return total(half_life, days + YEAR) - total(half_life, days)
