"""95% intervals: Wilson's for shares, the bootstrap by customer, chi-squared for counts and for sums of changes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

Z95 = 1.959963984540054  # 97.5% point of the normal distribution
GROUPS = 1_000  # of customers that are resampled; more customers than this are put into so many groups at random
DRAWS = 1_000


@dataclass(frozen=True, slots=True)
class Rate:
    """A measured number with its 95% interval. source: what it was measured from, and the method, in words."""

    value: float
    low: float
    high: float
    source: str

    @classmethod
    def share(cls, count: float, of: float, source: str) -> Rate:
        """The share count / of, 0 where `of` is 0, with Wilson's interval."""
        low, high = wilson(count, of)
        return cls(float(count / of) if of else 0.0, float(low), float(high), f"{source}; Wilson")

    def draw(self, random: np.random.Generator, draws: int) -> np.ndarray:
        """Draw a share, shape (draws,): normal with the width of its interval on each side, from 0 to 1."""
        z = random.standard_normal(draws)
        width = np.where(z < 0, self.value - self.low, self.high - self.value)
        return np.clip(self.value + width / 1.96 * z, 0, 1)


def wilson(count: ArrayLike, of: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Compute Wilson's score interval for the share count / of, without continuity correction; 0 to 1 where `of` is 0.

    (p + z^2/2n +- z sqrt(p(1-p)/n + z^2/4n^2)) / (1 + z^2/n).
    Source: Wilson (1927), J. Amer. Statist. Assoc. 22, 209-212; Newcombe (1998), Statistics in Medicine 17, method 3.

    >>> [round(float(end), 4) for end in wilson(81, 263)]
    [0.2553, 0.3662]
    """
    count, of = np.asarray(count, float), np.asarray(of, float)
    n = np.where(of > 0, of, 1.0)
    share = count / n
    middle = (share + Z95**2 / (2 * n)) / (1 + Z95**2 / n)
    half = Z95 * np.sqrt(share * (1 - share) / n + Z95**2 / (4 * n**2)) / (1 + Z95**2 / n)
    low = np.where(count <= 0, 0.0, middle - half)
    high = np.where(count >= of, 1.0, middle + half)
    return np.where(of > 0, low, 0.0), np.where(of > 0, high, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Resampled:
    """Bootstrap samples of customers; above 1,000 customers whole random groups of them are drawn.

    group: index of each customer's group, shape (customers,). weights: how often each sample holds each group, shape
    (draws, groups).
    Source: Efron and Tibshirani, "An Introduction to the Bootstrap" (1993), chapters 6 and 13.
    """

    group: np.ndarray
    weights: np.ndarray

    @classmethod
    def of(cls, paying: np.ndarray, *, seed: int) -> Resampled:
        """Draw the samples. paying: whether a customer ever paid, shape (customers,); the others are never drawn."""
        random = np.random.default_rng(seed)
        payers = np.flatnonzero(paying)
        number = payers.size
        groups = max(min(number, GROUPS), 1)
        group = np.zeros(paying.size, np.int16)
        group[payers] = np.arange(number) if number <= GROUPS else random.integers(0, GROUPS, number)
        cell = random.integers(0, groups, (DRAWS, groups)) + groups * np.arange(DRAWS)[:, None]
        return cls(group, np.bincount(cell.ravel(), minlength=DRAWS * groups).reshape(DRAWS, groups).astype(float))

    def rate(self, customer: np.ndarray, above: np.ndarray, below: np.ndarray, source: str) -> Rate:
        """sum(above) / sum(below) over customers' months, with the 2.5% and 97.5% quantiles of the samples.

        The arrays are of one shape. A sample in which the denominator is 0 tells nothing: it counts as the whole.
        """
        group, size = self.group[customer], self.weights.shape[1]
        parts = [np.bincount(group, part, minlength=size) for part in (above, below)]
        value = float(parts[0].sum() / parts[1].sum()) if parts[1].any() else 0.0
        # einsum, as a matrix product would wake all threads of the linear algebra library for a millisecond's work
        tops, bottoms = (np.einsum("dg,g->d", self.weights, part) for part in parts)
        drawn = np.divide(tops, bottoms, out=np.full(tops.size, value), where=bottoms != 0)
        low, high = np.quantile(drawn, [0.025, 0.975])
        return Rate(value, float(low), float(high), f"{source}; bootstrap by customer")


def count_interval(count: float, dispersion: float = 1.0) -> tuple[float, float]:
    """Compute an interval for the mean of a count whose variance is so many times its mean.

    Chi-squared limits for a Poisson mean (Garwood, 1936, Biometrika 28, 437-442) of count / dispersion, times the
    dispersion, so that a count that comes in bursts of b counts as its bursts.

    >>> [round(end / 4, 3) for end in count_interval(16)]
    [2.286, 6.496]
    """
    from scipy.special import gammaincinv  # quicker to import than scipy.stats

    seen = count / dispersion
    low = gammaincinv(seen, 0.025) if seen else 0.0
    return float(low * dispersion), float(gammaincinv(seen + 1, 0.975) * dispersion)


def sum_interval(parts: np.ndarray, squares: float | None = None) -> tuple[float, float, float]:
    """Compute an interval for the expectation of a sum of rare changes of different sizes, and how many it counts as.

    Gamma limits: the sum is taken for Poisson events of different weights, with one more of average weight for the
    upper end, and nothing below 0. Source: Fay and Feuer (1997), Statistics in Medicine 16, 791-801, who add one of
    the largest weight. squares: the variance of the sum, if it is not that of independent parts.

    >>> low, high, events = sum_interval(np.ones(16))
    >>> round(low, 2), round(high, 2), events
    (9.15, 25.98, 16.0)
    """
    total, squares = float(parts.sum()), float((parts**2).sum()) if squares is None else squares
    if not total:
        return 0.0, 0.0, 0.0
    return *count_interval(total, squares / total), total**2 / squares
