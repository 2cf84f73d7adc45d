"""The half-life of sign-ups, and buyers who come late: closed forms, edges, and coverage."""

from __future__ import annotations

import numpy as np
import pytest

from growth.earned import fading, late


def test_a_year_without_fading_is_as_long_as_its_days():
    assert fading.total(np.array([1e9]), 365) == pytest.approx(365, rel=1e-4)
    # q + q^2 + ... from day 10 on, summed by hand
    q = 2 ** (-1 / 20)
    assert fading.next_year(np.array([20.0]), 10)[0] == pytest.approx(sum(q**t for t in range(10, 375)))


@pytest.mark.parametrize("rate", [1e-6, 0.01, 0.3])
def test_what_an_event_tells_of_a_rate_is_the_variance_of_its_time(rate):
    """Fisher's information of an exponential cut off at 40: the variance of the time, by sums over a fine grid."""
    t = (np.arange(400_000) + 0.5) / 10_000
    density = np.exp(-rate * t) / np.exp(-rate * t).sum()
    variance = density @ t**2 - (density @ t) ** 2
    assert fading.information(np.array([rate]), 40.0)[0] == pytest.approx(variance, rel=1e-6)


def test_even_counts_show_no_fading_and_no_counts_show_nothing():
    steady = fading.fit([np.full(200, 3.0)])
    assert not steady.is_fading and steady.half_life.low > 100
    nothing = fading.fit([np.zeros(50)])
    assert nothing.half_life.value is None and not nothing.is_fading


def test_the_half_life_is_held_as_often_as_said():
    """Half-lives from 10 to 150 days, 120 days seen; standard error 0.007 with 1,000 runs."""
    rng = np.random.default_rng(0)
    held = []
    for half_life in np.exp(rng.uniform(np.log(10), np.log(150), 1_000)):
        found = fading.fit([rng.poisson(4 * 2 ** (-np.arange(120) / half_life))]).half_life
        held.append(found.low <= half_life <= found.high)
    assert np.mean(held) == pytest.approx(0.95, abs=0.02)


def test_where_everybody_has_been_watched_for_years_the_final_share_is_the_share():
    found = late.fit(late.Waiting.of(np.full(20, 10.0), {2_000: 80}))
    assert found.share.value == pytest.approx(20.5 / 101, rel=0.02)  # the mean of Beta(20 + 1/2, 80 + 1/2)
    assert found.share.low == pytest.approx(0.1308, abs=0.005)  # its 2.5% and 97.5% points
    assert found.share.high == pytest.approx(0.2863, abs=0.005)


def test_sign_ups_of_yesterday_lower_the_share_hardly():
    old = late.fit(late.Waiting.of(np.full(10, 30.0), {300: 90})).share.value
    fresh = late.fit(late.Waiting.of(np.full(10, 30.0), {300: 90, 0: 100})).share.value
    assert fresh > 0.9 * old  # a plain share would have halved


def test_without_a_buyer_or_a_sign_up_there_is_no_false_precision():
    none = late.fit(late.Waiting.of(np.array([]), {100: 40}))
    assert none.share.low == 0 and none.share.high < 0.2 and none.mean_delay.value is None
    assert late.fit(late.Waiting.of(np.array([]), {})).share.value is None


def test_the_final_share_is_held_as_often_as_said():
    """Shares of 2% to 30%, delays of 10 to 120 days, half of them unseen; standard error 0.005 with 1,600 runs."""
    rng = np.random.default_rng(5)
    held = []
    for _ in range(1_600):
        c, mean = rng.uniform(0.02, 0.3), np.exp(rng.uniform(np.log(10), np.log(120)))
        seen, delay = rng.uniform(0, 200, 200), rng.exponential(mean, 200)
        done = (rng.random(200) < c) & (delay <= seen)
        days, counts = np.unique(seen[~done].astype(int), return_counts=True)
        found = late.fit(late.Waiting.of(np.floor(delay[done]), dict(zip(days.tolist(), counts.tolist(), strict=True))))
        held.append(found.share.low <= c <= found.share.high)
    assert np.mean(held) == pytest.approx(0.95, abs=0.02)
