"""Intervals that stay right for small counts, and how sure one of two shares is the higher.

"Nineteen times in twenty" is LEVEL: an interval made this way holds the true value that often, over many pieces.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

from growth.errors import MeasureError, Problem
from growth.records.intervals import Z95, wilson

LEVEL = 0.95
TAILS = ((1 - LEVEL) / 2, (1 + LEVEL) / 2)
_STEPS = 400  # of the share; a quarter as many of the amount


@dataclass(frozen=True, slots=True)
class Interval:
    """value: the estimate; low, high: the ends, in the same unit. value is None where there is nothing to estimate
    from.
    """

    value: float | None
    low: float
    high: float


def share(*, count: int, of: int) -> Interval:
    """The Wilson score interval of a share (`growth.records.intervals.wilson`), at LEVEL.

    count: how many did, 0..of. of: how many could have; with 0 nothing is known and the interval is 0 to 1. Raises
    MeasureError.

    >>> interval = share(count=1, of=29)
    >>> round(interval.low, 4), round(interval.high, 4)
    (0.0061, 0.1718)
    """
    if not 0 <= count <= of:
        raise MeasureError([Problem("count", f"a whole number from 0 to {of}", str(count))])
    low, high = (float(end) for end in wilson(count, of))
    return Interval(count / of if of else None, low, high)


def difference(*, count_a: int, of_a: int, count_b: int, of_b: int) -> Interval:
    """Share a less share b: every difference that the counts do not contradict, by the score test.

        z(d) = (pa - pb - d) / sqrt((qa (1 - qa) / na + qb (1 - qb) / nb) N / (N - 1)),  N = na + nb,  z(d) = -+1.96

    qa, qb: the likeliest shares with qa - qb = d. -1 to 1 where one of the two is empty. Source: Miettinen and Nurminen
    (1985), Statistics in Medicine 4, 213-226, equations 8 and 9; qa, qb in closed form as in their appendix.

    Chosen by exact sums over both binomials, for shares of 1% to 20% in steps of 1 and 20 to 400 counted, alike and
    not: its mean coverage is 95.0% to 96.7% and the lowest of any pair 92.1%; the square-and-add interval of Wilson's
    ends (Newcombe, 1998) has 95.2% to 97.7%, too wide at 20.

    >>> interval = difference(count_a=56, of_a=70, count_b=48, of_b=80)
    >>> round(interval.low, 4), round(interval.high, 4)
    (0.0528, 0.3382)
    """
    a, b = share(count=count_a, of=of_a), share(count=count_b, of=of_b)
    if a.value is None or b.value is None:
        return Interval(None, -1.0, 1.0)
    d = a.value - b.value
    unbiased = (of_a + of_b) / (of_a + of_b - 1)

    def z_less(off: float, target: float) -> float:
        qa, qb = _likeliest(a.value, of_a, b.value, of_b, off)
        spread = math.sqrt(max((qa * (1 - qa) / of_a + qb * (1 - qb) / of_b) * unbiased, 1e-20))
        return (d - off) / spread - target

    low = optimize.brentq(z_less, -1.0, d, (Z95,)) if z_less(-1.0, Z95) > 0 else -1.0
    high = optimize.brentq(z_less, d, 1.0, (-Z95,)) if z_less(1.0, -Z95) < 0 else 1.0
    return Interval(d, low, high)


def _likeliest(pa: float, na: int, pb: float, nb: int, d: float) -> tuple[float, float]:
    """The likeliest pair of shares that differ by d: the root in range of a cubic, by cosines."""
    ratio = nb / na
    a = 1 + ratio
    b = -(a + pa + ratio * pb + d * (ratio + 2))
    c = d * d + d * (2 * pa + a) + pa + ratio * pb
    v = (b / (3 * a)) ** 3 - b * c / (6 * a * a) - pa * d * (1 + d) / (2 * a)
    u = math.copysign(math.sqrt(max((b / (3 * a)) ** 2 - c / (3 * a), 0.0)), v)
    turn = math.acos(min(max(v / u**3, -1.0), 1.0)) if u else 0.0
    qa = 2 * u * math.cos((math.pi + turn) / 3) - b / (3 * a)
    qa = min(max(qa, 0.0, d), 1.0, 1.0 + d)
    return qa, qa - d


def sure_higher(*, count_a: int, of_a: int, count_b: int, of_b: int) -> float:
    """How sure it is that share a is truly higher than share b: 0 to 1.

        P(A > B) = integral of F_B(x) f_A(x) dx,  A ~ Beta(count_a + 1/2, of_a - count_a + 1/2), B alike

    taken at the midpoints of 4,000 equally likely slices of A (Jeffreys prior, common practice).

    >>> sure_higher(count_a=5, of_a=100, count_b=5, of_b=100).__round__(6)
    0.5
    """
    slices = (np.arange(4_000) + 0.5) / 4_000
    a = stats.beta.ppf(slices, count_a + 0.5, of_a - count_a + 0.5)
    return float(np.mean(stats.beta.cdf(a, count_b + 0.5, of_b - count_b + 0.5)))


def mean_amount_slices(amounts: np.ndarray, count: int) -> np.ndarray:
    """Equally likely values of what a buyer pays on average, shape (count,): Student's t about the mean of `amounts`.

    One amount, or equal ones, give that amount: with a single price there is nothing to be unsure of, and from one
    buyer nothing can be told about it. Never below a tenth of the mean.
    """
    mean = float(np.mean(amounts))
    if len(amounts) < 2 or np.ptp(amounts) == 0:
        return np.full(count, mean)
    spread = np.std(amounts, ddof=1) / np.sqrt(len(amounts))
    return np.maximum(mean + spread * stats.t.ppf((np.arange(count) + 0.5) / count, len(amounts) - 1), mean / 10)


def sign_up_value(*, buyers: int, sign_ups: int, amounts: np.ndarray) -> Interval:
    """What a sign-up is worth: the share of sign-ups who buy x what a buyer pays.

    amounts: what each buyer paid in all, of this piece or, where it has few, of the whole ledger. The interval is that
    of the product of the two, each taken with its own uncertainty: the share's Beta(buyers + 1/2, sign_ups - buyers +
    1/2), and `mean_amount_slices`. With no buyer of this piece the low end is 0. With no amount at all there is no
    value to give.

    >>> interval = sign_up_value(buyers=12, sign_ups=60, amounts=np.full(12, 1000.0))
    >>> interval.value, round(interval.low), round(interval.high)
    (200.0, 115, 313)
    """
    amounts = np.asarray(amounts, dtype=float)
    if sign_ups == 0 or amounts.size == 0:
        return Interval(None, 0.0, np.inf)
    slices = (np.arange(_STEPS) + 0.5) / _STEPS
    shares = stats.beta.ppf(slices, buyers + 0.5, sign_ups - buyers + 0.5)
    products = np.outer(shares, mean_amount_slices(amounts, _STEPS // 4))
    low, high = np.quantile(products, TAILS)
    return Interval(buyers / sign_ups * float(np.mean(amounts)), 0.0 if buyers == 0 else float(low), float(high))
