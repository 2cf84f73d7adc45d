"""How a piece's sign-ups fade: exponentially or by a power law, each with or without a steady trickle.

The mean number of sign-ups at age t (days since publishing) is a g(t), with

    exponential   g(t) = 2^(-t / h) + r              half-life h
    power law     g(t) = (1 + t / s)^(-alpha) + r    scale s, exponent alpha
    trickle       r >= 0, a share of the first day's level; r = 0 with prior probability 0.4

Given their number, the days that n sign-ups fall on are multinomial with the shares of G, the integral of g, so the
level a drops out of the likelihood. All shapes on a grid are weighed by prior x likelihood: the interval is that of the
mix, and no family has to be chosen. Days vary more than Poisson counts do: the log-likelihood is divided by the
dispersion phi (quasi-likelihood: Wedderburn 1974, Biometrika 61, 439-447), which is measured.

What is held likely beforehand is an assumption, no source: the two families equally; half-lives log-normal about 45
days (two in three between 17 and 122); exponents log-normal about 1 (0.6 to 1.6); scales from 1 to 60 days. Half of the
weight of that prior goes to shapes like those of the owner's other pieces, each as if it had brought at most thirty
sign-ups.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

YEAR = 365
LONGEST = 1_460.0  # days; a halving time from here on counts as none
_OTHERS = 30  # sign-ups at most that another piece counts for
_PHI_PRIOR = 10.0  # degrees of freedom with which a dispersion of 1.2 is held likely


@dataclass(frozen=True, slots=True, eq=False)
class Shapes:
    """The grid of shapes, one entry each, shape (shapes,).

    half_life: days, infinite for a power law. scale, exponent: of a power law, else 1 and 0. trickle: r. prior: adds
    to one.
    """

    half_life: np.ndarray
    scale: np.ndarray
    exponent: np.ndarray
    trickle: np.ndarray
    prior: np.ndarray

    @property
    def exponential(self) -> np.ndarray:
        """Which shapes fade exponentially, shape (shapes,)."""
        return np.isfinite(self.half_life)

    def rate(self, age: float | np.ndarray) -> np.ndarray:
        """g without the trickle at an age in days; broadcasts over a last axis of shapes."""
        age = np.asarray(age, dtype=float)
        return np.where(self.exponential, 2.0 ** (-age / self.half_life), (1 + age / self.scale) ** -self.exponent)

    def until(self, age: float | np.ndarray) -> np.ndarray:
        """Integral of g without the trickle from 0 to an age, in days of the first day's level.

        age: shape (n, 1) or a number. Returns shape (n, shapes) or (shapes,).
        """
        age = np.asarray(age, dtype=float)
        life = np.where(self.exponential, self.half_life, 1.0) / np.log(2)
        fading = life * -np.expm1(-age / life)
        power = np.where(np.abs(self.exponent - 1) < 1e-9, 1.0, 1 - self.exponent)
        grown = np.log1p(age / self.scale)
        by_power = self.scale * np.where(np.abs(self.exponent - 1) < 1e-9, grown, np.expm1(power * grown) / power)
        return np.where(self.exponential, fading, by_power)

    def total(self, age: float | np.ndarray) -> np.ndarray:
        """Integral of g with the trickle from 0 to an age; shapes as for `until`."""
        return self.until(age) + self.trickle * age

    def at(self, index: np.ndarray | slice) -> Shapes:
        """The shapes at these places of the grid."""
        return Shapes(*(getattr(self, name)[index] for name in self.__slots__))


@dataclass(frozen=True, slots=True, eq=False)
class Decay:
    """What the daily counts say about the shape of a piece's fading.

    weights: of each of `shapes()`, adding to one. dispersion: variance over mean of the counts, at least 1. sign_ups,
    days: what it was told from.
    """

    weights: np.ndarray
    dispersion: float
    sign_ups: float
    days: int

    def expected(self, edges: np.ndarray) -> np.ndarray:
        """Sign-ups between ages in days, by the mix of the shapes, scaled to the sign-ups seen; shape (edges - 1,)."""
        grid = shapes()
        whole = np.diff(grid.total(edges[:, None]), axis=0)
        found: np.ndarray = whole / grid.total(self.days) @ self.weights * self.sign_ups
        return found


@cache
def shapes() -> Shapes:
    """The grid: 60 half-lives and 170 power laws, each with a trickle of 0 or one of ten shares of the first day.

    >>> len(shapes().prior), round(float(shapes().prior.sum()), 9)
    (2530, 1.0)
    """
    half_lives = np.geomspace(3, LONGEST, 60)
    exponents, scales = np.geomspace(0.3, 3.5, 17), np.geomspace(1, 60, 10)
    trickles = np.concatenate([[0.0], np.geomspace(0.003, 0.5, 10)])
    power_exponent, power_scale = (part.ravel() for part in np.meshgrid(exponents, scales, indexing="ij"))
    fade = np.exp(-0.5 * np.log(half_lives / 45) ** 2)
    power = np.exp(-0.5 * (np.log(power_exponent) / 0.5) ** 2)
    family = np.concatenate([fade / fade.sum(), power / power.sum()]) / 2
    floor = np.concatenate([[0.4], np.full(10, 0.06)])
    one = {
        "half_life": np.concatenate([half_lives, np.full(power.size, np.inf)]),
        "scale": np.concatenate([np.ones(60), power_scale]),
        "exponent": np.concatenate([np.zeros(60), power_exponent]),
    }
    return Shapes(
        **{name: np.repeat(values, trickles.size) for name, values in one.items()},
        trickle=np.tile(trickles, family.size),
        prior=np.outer(family, floor).ravel(),
    )


def log_likelihood(counts: np.ndarray) -> np.ndarray:
    """Multinomial log-likelihood of each shape, Poisson-like (dispersion 1), shape (shapes,).

    counts: sign-ups by day since publishing, shape (days,). Days are put into weeks after the first four.

    >>> best = shapes().half_life[log_likelihood(640 * 2.0 ** (-np.arange(200) / 20)).argmax()]
    >>> bool(18 < best < 22)
    True
    """
    found = np.add.reduceat(counts, _edges(len(counts))[:-1])
    log_parts, log_whole = _log_parts(len(counts))
    log: np.ndarray = found @ log_parts - found.sum() * log_whole
    return log


def dispersion(pieces: Sequence[np.ndarray]) -> list[float]:
    """Variance over mean of each piece's counts about its likeliest shape, at least 1.

    Pearson's statistic over days, weeks and four-week spans, the largest of the three: a burst lasts longer than a day.
    Each piece's is drawn towards that of all pieces together, and that one towards 1.2 (ten degrees of freedom each).

    pieces: sign-ups by day of each piece.

    >>> steady = np.tile([3, 5, 4, 4], 30)
    >>> dispersion([steady]) < [1.5] < dispersion([10 * (np.arange(120) % 10 == 0)])
    True
    """
    scales = (1, 7, 28)
    sums = np.zeros((len(pieces), len(scales), 2))
    for number, counts in enumerate(pieces):
        if counts.sum() < 5:
            continue
        best = int((log_likelihood(counts) + np.log(shapes().prior)).argmax())
        edges = np.arange(len(counts) + 1)
        part = np.diff(shapes().at(slice(best, best + 1)).total(edges[:, None])[:, 0])
        mean = counts.sum() * part / part.sum()
        for place, width in enumerate(scales):
            starts = np.arange(0, len(counts) - width + 1, width)
            if len(starts) < 4:
                continue
            stop = starts[-1] + width
            seen = np.add.reduceat(counts[:stop], starts)
            expected = np.add.reduceat(mean[:stop], starts)
            kept = expected > 0.2
            # the statistic is capped: where little is expected one sign-up is not a burst
            sums[number, place] = ((seen - expected)[kept] ** 2 / expected[kept]).sum(), max(kept.sum() - 2, 0)
    pooled = (sums[..., 0].sum(axis=0) + 1.2 * _PHI_PRIOR) / (sums[..., 1].sum(axis=0) + _PHI_PRIOR)
    each = (sums[..., 0] + pooled * _PHI_PRIOR) / (sums[..., 1] + _PHI_PRIOR)
    return [max(1.0, float(found)) for found in each.max(axis=1)]


def fit(counts: np.ndarray, *, phi: float = 1.0, others: Sequence[np.ndarray] = ()) -> Decay:
    """The weights of the shapes, given one piece's sign-ups by day since publishing, shape (days,).

    phi: their dispersion, at least 1. others: the sign-ups by day of the owner's other pieces, which half of the prior
    follows.

    >>> found = fit(np.round(60 * (1 + np.arange(400) / 5) ** -1.2))
    >>> bool(found.weights[~shapes().exponential].sum() > 0.9)  # a power law
    True
    """
    prior = shapes().prior
    told = [_normal(np.log(prior) + _tempered(other)) for other in others if other.sum() > 0]
    if told:
        prior = (prior + np.mean(told, axis=0)) / 2
    weights = _normal(np.log(prior) + log_likelihood(counts) / phi)
    return Decay(weights, phi, float(counts.sum()), len(counts))


def halving(shape: np.ndarray, age: float) -> np.ndarray:
    """Days from an age until the sign-ups a day are half of what they are at that age; infinite where they never are.

    shape: indices into the grid, shape (n,). Returns shape (n,). For an exponential without a trickle: its half-life.

    >>> plain = np.flatnonzero((shapes().trickle == 0) & shapes().exponential)[:1]
    >>> halving(plain, 50.0).round(6).tolist()
    [3.0]
    """
    grid = shapes()
    now = grid.rate(age)[shape]
    target = (now - grid.trickle[shape]) / 2  # g without the trickle at that time
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        by_half_life = -grid.half_life[shape] * np.log2(target)
        by_power = grid.scale[shape] * (target ** (-1 / np.maximum(grid.exponent[shape], 1e-9)) - 1)
        then = np.where(grid.exponential[shape], by_half_life, by_power)
        return np.where(target > 0, then - age, np.inf)


def _tempered(counts: np.ndarray) -> np.ndarray:
    return log_likelihood(counts) * min(1.0, _OTHERS / max(float(counts.sum()), 1.0))


def _normal(log: np.ndarray) -> np.ndarray:
    weights = np.exp(log - log.max())
    total: np.ndarray = weights / weights.sum()
    return total


def _edges(days: int) -> np.ndarray:
    """Days up to the 28th, weeks after it, and the last day."""
    edges = [*range(min(days, 28)), *range(28, days, 7), days]
    return np.array(edges)


@lru_cache(maxsize=64)
def _log_parts(days: int) -> tuple[np.ndarray, np.ndarray]:
    """log of the integral of g between the edges, shape (edges - 1, shapes), and over all days, shape (shapes,)."""
    edges = _edges(days)[:, None]
    parts = np.maximum(np.diff(shapes().total(edges), axis=0), 1e-12)
    return np.log(parts), np.log(parts.sum(axis=0))
