"""Intervals for small counts: sensible at the edges, and holding the truth as often as they say."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from growth.earned.interval import difference, share, sign_up_value, sure_higher
from growth.errors import MeasureError


def test_nothing_counted_says_nothing():
    assert (share(count=0, of=0).value, share(count=0, of=0).low, share(count=0, of=0).high) == (None, 0.0, 1.0)
    assert difference(count_a=0, of_a=0, count_b=3, of_b=9).value is None
    assert sign_up_value(amounts=np.array([]), sign_ups=0) is None
    assert sign_up_value(amounts=np.array([]), sign_ups=4) == 0
    assert sure_higher(count_a=0, of_a=0, count_b=0, of_b=0) == pytest.approx(0.5)


def test_none_and_all_reach_the_ends_and_no_further():
    none, every = share(count=0, of=20), share(count=20, of=20)
    assert none.low == 0 and 0 < none.high < 0.2
    assert every.high == 1 and 0.8 < every.low < 1


def test_more_than_there_were_is_refused():
    with pytest.raises(MeasureError, match="from 0 to 3"):
        share(count=4, of=3)


def test_how_sure_adds_up_and_matches_the_closed_form_of_two_single_trials():
    a, b = sure_higher(count_a=9, of_a=40, count_b=5, of_b=60), sure_higher(count_a=5, of_a=60, count_b=9, of_b=40)
    assert a + b == pytest.approx(1, abs=1e-6) and a > 0.95
    # A ~ Beta(3/2, 1/2), B ~ Beta(1/2, 3/2): draws of the two, a million of each, standard error 0.0003
    rng = np.random.default_rng(0)
    drawn = np.mean(rng.beta(1.5, 0.5, 1_000_000) > rng.beta(0.5, 1.5, 1_000_000))
    assert sure_higher(count_a=1, of_a=1, count_b=0, of_b=1) == pytest.approx(drawn, abs=0.0015)


SHARES = np.linspace(0.01, 0.2, 20)


@pytest.mark.parametrize("of", [20, 30, 120, 400])
def test_the_share_is_held_as_often_as_said(of):
    """Exactly: the binomial chances of all counts whose interval holds the share, over shares from 1% to 30%."""
    shares, counts = np.linspace(0.01, 0.3, 59), np.arange(of + 1)
    intervals = [share(count=count, of=of) for count in counts.tolist()]
    low, high = (np.array([getattr(one, end) for one in intervals]) for end in ("low", "high"))
    held = [stats.binom.pmf(counts, of, p)[(low <= p) & (p <= high)].sum() for p in shares]
    assert np.mean(held) == pytest.approx(0.95, abs=0.02)


@pytest.mark.parametrize(("of_a", "of_b"), [(20, 20), (20, 100), (40, 40)])
def test_the_difference_is_held_as_often_as_said(of_a, of_b):
    """Exactly: over all pairs of shares from 1% to 20%. Counts rarer than one in a million are left out; they could add
    no more than that.
    """
    of = (of_a, of_b)
    counts = [np.arange(stats.binom.ppf(1 - 1e-6, n, SHARES[-1]) + 1).astype(int).tolist() for n in of]
    found = [[difference(count_a=x, of_a=of_a, count_b=y, of_b=of_b) for y in counts[1]] for x in counts[0]]
    low, high = (np.array([[getattr(one, end) for one in row] for row in found]) for end in ("low", "high"))
    held = []
    for p in SHARES:
        for q in SHARES:
            chance = np.outer(stats.binom.pmf(counts[0], of_a, p), stats.binom.pmf(counts[1], of_b, q))
            held.append(chance[(low <= p - q) & (p - q <= high)].sum())
    assert np.mean(held) == pytest.approx(0.95, abs=0.02)
    assert min(held) > 0.92


def test_how_sure_is_as_sure_as_said():
    """Exactly, of the pairs of which it says 80 to 95 in 100: before the counts every share is as likely as another, so
    each pair of counts is as likely too, and given the counts the shares are Beta(count + 1, of - count + 1). (What it
    says rests on Jeffreys' prior; the two differ a little.)
    """
    of, said, true = 14, [], []
    x = (np.arange(2_000) + 0.5) / 2_000
    density = [stats.beta.pdf(x, a + 1, of - a + 1) / 2_000 for a in range(of + 1)]
    below = [stats.beta.cdf(x, a + 1, of - a + 1) for a in range(of + 1)]
    for a in range(of + 1):
        for b in range(a):
            said.append(sure_higher(count_a=a, of_a=of, count_b=b, of_b=of))
            true.append(density[a] @ below[b])
    inside = (np.array(said) > 0.8) & (np.array(said) < 0.95)
    assert inside.sum() > 20
    assert np.mean(np.array(true)[inside]) == pytest.approx(np.mean(np.array(said)[inside]), abs=0.02)
