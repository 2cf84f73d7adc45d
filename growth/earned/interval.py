"""Intervals that stay right for small counts, and how sure one of two shares is the higher.

"Nineteen times in twenty" is LEVEL: an interval made this way holds the true value that often, over many pieces.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from growth.errors import MeasureError, Problem
from growth.records.intervals import wilson

LEVEL = 0.95
TAILS = ((1 - LEVEL) / 2, (1 + LEVEL) / 2)
_STEPS = 400


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
    """Share a less share b, from the Wilson intervals of both.

        low = d - sqrt((pa - la)^2 + (ub - pb)^2),  high = d + sqrt((ua - pa)^2 + (pb - lb)^2)

    Source: method 10 of Newcombe (1998), Statistics in Medicine 17, 873-890. -1 to 1 where one of the two is empty.

    >>> interval = difference(count_a=56, of_a=70, count_b=48, of_b=80)
    >>> round(interval.low, 4), round(interval.high, 4)
    (0.0524, 0.3339)
    """
    a, b = share(count=count_a, of=of_a), share(count=count_b, of=of_b)
    if a.value is None or b.value is None:
        return Interval(None, -1.0, 1.0)
    d = a.value - b.value
    low = d - np.hypot(a.value - a.low, b.high - b.value)
    return Interval(d, float(low), float(d + np.hypot(a.high - a.value, b.value - b.low)))


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
    products = np.outer(shares, mean_amount_slices(amounts, _STEPS))
    low, high = np.quantile(products, TAILS)
    return Interval(buyers / sign_ups * float(np.mean(amounts)), 0.0 if buyers == 0 else float(low), float(high))
