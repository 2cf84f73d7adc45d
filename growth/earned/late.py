"""Buyers come late: how many of the sign-ups will buy in the end, when those who have not yet may still.

A mixture cure model: a share c of the sign-ups buy in the end, after a delay that is exponential with rate r a day; the
rest never do. A sign-up seen for t days that has not bought says 1 - c + c exp(-r t); one that bought after d days says
c r exp(-r d). Source: Boag (1949), Journal of the Royal Statistical Society B 11, 15-53; here with an exponential
delay.

Before anything is seen, what can be told apart is as likely: the share m = c F who have bought by now and the delay
of those who did, each by Jeffreys' prior, p(m, r) ~ (m (1 - m))^(-1/2) I(r)^(1/2), where F is the chance that a delay
is no longer than the time watched (at least LEAST_SPAN days), and I what one delay tells of the rate. A mean delay
much longer than the time watched thus gets little: there nobody could tell many who buy late from few who buy.
Source: the reference prior of Berger and Bernardo (1992), Bayesian Statistics 4, 35-60, for two parameters that the
counts tell apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy import stats

from growth.earned.fading import LEAST_SPAN, information
from growth.earned.interval import TAILS, Interval

# shares whose angles are equally spaced: to Jeffreys' prior each is as likely as another, and the small ones lie close
_SHARES = np.sin((np.arange(300) + 0.5) / 300 * np.pi / 2) ** 2
_MEANS = np.geomspace(4.0, 365.0, 48)  # mean delay in days; each as likely as another on a ratio scale
WEEK = 7


@dataclass(frozen=True, slots=True, eq=False)
class Waiting:
    """Sign-ups of one piece, seen to the ledger's last day.

    delays:  days from sign-up to first purchase of each who bought, shape (buyers,).
    watched: days seen of those who have not bought, as the middle of their weeks, shape (weeks,); counts: how many of
    each.
    """

    delays: np.ndarray
    watched: np.ndarray
    counts: np.ndarray

    @classmethod
    def of(cls, delays: np.ndarray, waiting: dict[int, int]) -> Waiting:
        """waiting: days seen -> sign-ups that have not bought. Weeks, and four weeks at a time beyond the first 26."""
        days, counts = np.array(list(waiting), dtype=float), np.array(list(waiting.values()), dtype=float)
        width = np.where(days < 26 * WEEK, WEEK, 4 * WEEK)
        start = np.where(days < 26 * WEEK, 0, 26 * WEEK)
        middles = start + (days - start) // width * width + width / 2
        watched, which = np.unique(middles, return_inverse=True)
        return cls(np.asarray(delays, dtype=float), watched, np.bincount(which, counts, minlength=watched.size))


@dataclass(frozen=True, slots=True, eq=False)
class Conversion:
    """weights: how likely each pair of share (300) and mean delay (48) is, shape (300, 48), adding to one.
    share: of the sign-ups, who buy in the end; mean_delay: days to the purchase, of those who do."""

    weights: np.ndarray
    share: Interval
    mean_delay: Interval

    @property
    def shares(self) -> np.ndarray:
        return _SHARES

    @property
    def mean_delays(self) -> np.ndarray:
        return _MEANS


def log_likelihood(waiting: Waiting) -> np.ndarray:
    """Of every pair of share and mean delay, shape (300, 48)."""
    c, rate = _SHARES[:, None], 1 / _MEANS[None, :]
    log = len(waiting.delays) * (np.log(c) + np.log(rate)) - rate * (waiting.delays + 0.5).sum()
    for watched, count in zip(waiting.watched.tolist(), waiting.counts, strict=True):
        log = log + count * _not_yet(watched)
    return log


@cache
def _not_yet(watched: float) -> np.ndarray:
    """log of the chance that a sign-up watched for so many days has not bought, shape (300, 48)."""
    return np.log1p(_SHARES[:, None] * np.expm1(-watched / _MEANS))


def fit(piece: Waiting, others: np.ndarray | None = None) -> Conversion:
    """The conversion of one piece. others: the other pieces' `delay_evidence` in sum, shape (2, 48)."""
    told = _information(piece) if others is None else _information(piece) + others[1]
    log = log_likelihood(piece) + _share_prior(piece) + np.log(told) / 2 - np.log(_MEANS)  # d rate = rate d log
    log = log if others is None else log + others[0]
    weights = np.exp(log - log.max())
    weights /= weights.sum()
    shares, means = weights.sum(axis=1), weights.sum(axis=0)
    none = len(piece.delays) == 0
    seen = bool(piece.counts.sum() or not none)
    return Conversion(
        weights,
        Interval(
            float(shares @ _SHARES) if seen else None,
            0.0 if none else _quantile(shares, _SHARES, TAILS[0]),
            _quantile(shares, _SHARES, TAILS[1]),
        ),
        Interval(
            float(means @ _MEANS) if not none or others is not None else None,
            _quantile(means, _MEANS, TAILS[0]),
            _quantile(means, _MEANS, TAILS[1]),
        ),
    )


def delay_evidence(piece: Waiting) -> np.ndarray:
    """What a piece says of the mean delay, whatever its share is, shape (2, 48): the log of how likely it makes each,
    up to a constant, and how much it tells there, for the prior.
    """
    found = np.logaddexp.reduce(log_likelihood(piece) + _share_prior(piece), axis=0)
    return np.array([found - found.max(), _information(piece)])


def _followed(piece: Waiting) -> tuple[np.ndarray, np.ndarray]:
    """(days, how many sign-ups were watched for so long), for the prior; where all have bought, their delays stand for
    it.
    """
    days, counts = (piece.watched, piece.counts) if piece.counts.sum() else (piece.delays, np.ones(len(piece.delays)))
    return (np.maximum(days, LEAST_SPAN), counts) if counts.size else (np.array([LEAST_SPAN]), np.ones(1))


def _share_prior(piece: Waiting) -> np.ndarray:
    """log of the prior of the share who have bought by now, on the grid of shares, shape (300, 48)."""
    days, counts = _followed(piece)
    by_now = -np.expm1(-days[:, None] / _MEANS).T @ counts / counts.sum()
    c = _SHARES[:, None]  # dm = F dc, and dc = (c (1 - c))^(1/2) on the grid
    return (np.log(by_now) + np.log1p(-c) - np.log1p(-c * by_now)) / 2


def _information(piece: Waiting) -> np.ndarray:
    """What the delays of a piece's buyers tell of the rate, shape (48,): a delay's, the longer watched the likelier."""
    days, counts = _followed(piece)
    each = counts[:, None] * -np.expm1(-days[:, None] / _MEANS)
    told = information(1 / _MEANS, days[:, None])
    return max(len(piece.delays), 1) * (each * told).sum(axis=0) / each.sum(axis=0)


def bought_by(delays: np.ndarray, waiting: dict[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """Kaplan-Meier: days since the sign-up, and the share of the sign-ups who had bought by then. Needs one sign-up.

    Source: Kaplan and Meier (1958), Journal of the American Statistical Association 53, 457-481, as SciPy has it.

    >>> days, shares = bought_by(np.array([1.0, 4.0]), {2: 1, 9: 2})
    >>> shares.round(3).tolist()
    [0.2, 0.2, 0.467, 0.467]
    """
    right = np.repeat(list(waiting), list(waiting.values())).astype(float)
    data = stats.CensoredData(uncensored=np.asarray(delays, dtype=float), right=right)
    curve = stats.ecdf(data).cdf
    return curve.quantiles, curve.probabilities


def _quantile(weights: np.ndarray, values: np.ndarray, part: float) -> float:
    middles = np.cumsum(weights) - weights / 2
    return float(np.interp(part, middles, values))
