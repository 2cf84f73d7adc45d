"""Intervals for small counts: sensible at the edges, and holding the truth as often as they say."""

from __future__ import annotations

import numpy as np
import pytest

from growth.earned.interval import difference, share, sign_up_value, sure_higher
from growth.errors import MeasureError

PRICES = np.array([240.0, 240.0, 480.0, 900.0])


def test_nothing_counted_says_nothing():
    assert (share(count=0, of=0).value, share(count=0, of=0).low, share(count=0, of=0).high) == (None, 0.0, 1.0)
    assert difference(count_a=0, of_a=0, count_b=3, of_b=9).value is None
    assert sign_up_value(buyers=0, sign_ups=0, amounts=np.array([])).value is None
    assert sure_higher(count_a=0, of_a=0, count_b=0, of_b=0) == pytest.approx(0.5)


def test_none_and_all_reach_the_ends_and_no_further():
    none, every = share(count=0, of=20), share(count=20, of=20)
    assert none.low == 0 and 0 < none.high < 0.2
    assert every.high == 1 and 0.8 < every.low < 1


def test_more_than_there_were_is_refused():
    with pytest.raises(MeasureError, match="from 0 to 3"):
        share(count=4, of=3)


def test_one_buyer_gives_a_wide_interval_about_the_one_amount():
    value = sign_up_value(buyers=1, sign_ups=50, amounts=np.array([500.0]))
    assert value.value == pytest.approx(10.0)  # 500 / 50
    assert 0 < value.low < 5 and 30 < value.high < 60


def test_no_buyer_of_its_own_is_worth_at_most_what_the_others_allow():
    value = sign_up_value(buyers=0, sign_ups=50, amounts=PRICES)
    assert value.value == 0 and value.low == 0 and 0 < value.high < 100


def test_how_sure_adds_up_and_matches_the_closed_form_of_two_single_trials():
    a, b = sure_higher(count_a=9, of_a=40, count_b=5, of_b=60), sure_higher(count_a=5, of_a=60, count_b=9, of_b=40)
    assert a + b == pytest.approx(1, abs=1e-6) and a > 0.95
    # A ~ Beta(3/2, 1/2), B ~ Beta(1/2, 3/2): draws of the two, a million of each, standard error 0.0003
    rng = np.random.default_rng(0)
    drawn = np.mean(rng.beta(1.5, 0.5, 1_000_000) > rng.beta(0.5, 1.5, 1_000_000))
    assert sure_higher(count_a=1, of_a=1, count_b=0, of_b=1) == pytest.approx(drawn, abs=0.0015)


@pytest.mark.parametrize("of", [30, 120])
def test_the_share_is_held_as_often_as_said(of):
    """Expected coverage over shares from 1% to 30%; standard error 0.0015 with 20,000 runs."""
    rng = np.random.default_rng(of)
    p = rng.uniform(0.01, 0.3, 20_000)
    intervals = [share(count=count, of=of) for count in range(of + 1)]
    held = [intervals[x].low <= q <= intervals[x].high for x, q in zip(rng.binomial(of, p), p, strict=True)]
    assert np.mean(held) == pytest.approx(0.95, abs=0.02)


def test_the_difference_is_held_as_often_as_said():
    """Standard error 0.004 with 3,000 runs."""
    rng = np.random.default_rng(1)
    held = []
    for p, q in rng.uniform(0.01, 0.3, (3_000, 2)):
        found = difference(count_a=int(rng.binomial(80, p)), of_a=80, count_b=int(rng.binomial(60, q)), of_b=60)
        held.append(found.low <= p - q <= found.high)
    assert np.mean(held) == pytest.approx(0.95, abs=0.02)


def test_the_value_of_a_sign_up_is_held_as_often_as_said():
    """A price list of four; few buyers borrow the amounts of thirty others. Standard error 0.007 with 1,000 runs."""
    rng = np.random.default_rng(2)
    held = []
    for p in rng.uniform(0.02, 0.3, 1_000):
        buyers = int(rng.binomial(60, p))
        found = sign_up_value(
            buyers=buyers, sign_ups=60, amounts=rng.choice(PRICES, buyers + (30 if buyers < 5 else 0))
        )
        held.append(found.low <= p * PRICES.mean() <= found.high)
    assert np.mean(held) == pytest.approx(0.95, abs=0.02)


def test_how_sure_is_as_sure_as_said():
    """Of the pairs of which it said 80 to 95 in 100, that many are truly higher; 600 pairs or so, standard error
    0.014.
    """
    rng = np.random.default_rng(3)
    p, q = rng.uniform(0, 1, (2, 4_000))
    counts = rng.binomial(30, p), rng.binomial(30, q)
    known: dict[tuple[int, int], float] = {}
    said = np.array(
        [
            known.setdefault((a, b), sure_higher(count_a=a, of_a=30, count_b=b, of_b=30))
            if (a, b) not in known
            else known[a, b]
            for a, b in zip(*(side.tolist() for side in counts), strict=True)
        ]
    )
    inside = (said > 0.8) & (said < 0.95)
    assert inside.sum() > 300
    assert np.mean((p > q)[inside]) == pytest.approx(said[inside].mean(), abs=0.045)
