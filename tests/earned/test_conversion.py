"""Who buys in the end: closed forms where everybody has been watched for long, late buyers, robots, and coverage."""

from __future__ import annotations

import numpy as np
import pytest

from growth.earned import decay
from growth.earned.conversion import SignUps, draw, interval_of


def drawn(sign_ups: SignUps, counts: np.ndarray | None = None, seed: int = 0, **given):
    found = decay.fit(np.array([sign_ups.total]) if counts is None else counts)
    return draw(sign_ups, found, size=4_000, rng=np.random.default_rng(seed), **given)


def watched(buyers: int, delay: float, waiting: int, days: float) -> SignUps:
    """So many buyers after a delay, and so many who have not bought after so many days."""
    return SignUps(
        np.full(buyers, 0.5), np.full(buyers, delay), np.array([0.5]), np.array([days]), np.array([float(waiting)])
    )


def test_where_everybody_has_been_watched_for_years_the_share_is_beta():
    """Beta(20 + 0.7, 80 + 5): 2.5%, 50% and 97.5% points by SciPy."""
    from scipy import stats

    all_on_one_day = np.concatenate([[100.0], np.zeros(1_999)])  # so there is no trickle
    found = interval_of(drawn(watched(20, 10.0, 80, 2_000.0), all_on_one_day).share)
    low, middle, high = stats.beta.ppf([0.025, 0.5, 0.975], 20.7, 85)
    assert (found.low, found.value, found.high) == (
        pytest.approx(low, abs=0.01),
        pytest.approx(middle, abs=0.01),
        pytest.approx(high, abs=0.012),
    )


def test_the_mean_delay_is_that_of_the_buyers_where_no_more_will_come():
    found = interval_of(drawn(watched(200, 29.5, 10, 2_000.0)).delay)
    assert found.value == pytest.approx(30, rel=0.05)  # delays are counted in whole days: half a day is added
    assert found.low > 25 and found.high < 36  # 30 / sqrt(200) = 2.1, twice


def test_sign_ups_of_yesterday_hardly_lower_the_share():
    old = watched(10, 30.0, 90, 300.0)
    fresh = SignUps(old.age, old.delay, np.array([0.5, 299.5]), np.array([300.0, 0.5]), np.array([90.0, 100.0]))
    before, after = (float(np.median(drawn(one).share)) for one in (old, fresh))
    assert after > 0.9 * before  # a plain share would have halved


def test_without_a_buyer_the_share_may_be_next_to_nothing_and_not_everything():
    none = interval_of(drawn(watched(0, 0.0, 40, 100.0)).share)
    assert none.low < 0.005 and none.high < 0.2


def test_a_trickle_that_never_buys_is_taken_for_robots():
    """150 people on the first days, a fifth of whom buy; and one sign-up a day until day 300, none of whom does."""
    counts = np.concatenate([np.round(30 * 2.0 ** (-np.arange(25) / 4)), np.ones(275)])
    people = np.repeat(np.arange(12), 3) + 0.5
    waiting = counts.copy()
    for age in people:
        waiting[int(age)] -= 1
    sign_ups = SignUps.of(people, np.full(people.size, 5.0), waiting, 300)
    found = drawn(sign_ups, counts)
    assert np.mean(found.robots) > 0.95
    # where the trickle buys as all do it is people
    alike = np.arange(2, 300, 5) + 0.5
    waiting = counts.copy()
    for age in (*people, *alike):
        waiting[int(age)] -= 1
    buyers = np.concatenate([people, alike])
    found = drawn(SignUps.of(buyers, np.full(buyers.size, 5.0), np.maximum(waiting, 0), 300), counts)
    assert np.mean(found.robots) < 0.05


def test_other_pieces_say_what_is_usual():
    little = watched(0, 0.0, 3, 5.0)
    low = np.median(drawn(little, others=(5.0, 400.0)).share)
    high = np.median(drawn(little, others=(120.0, 400.0)).share)
    assert low < 0.08 < high


def test_what_is_held_likely_before_anything_is_known():
    """Shares as Beta(0.7, 5), of mean 0.7 / 5.7; a trickle in 0.6, and 0.6 of those robots; delays of 30 days."""
    nothing = SignUps(*(np.zeros(0) for _ in range(5)))
    found = draw(nothing, decay.fit(np.zeros(30)), size=40_000, rng=np.random.default_rng(0))
    assert np.mean(found.robots) == pytest.approx(0.6 * 0.6, abs=0.01)
    assert np.mean(found.share) == pytest.approx(0.7 / 5.7, abs=0.005)
    assert np.median(found.delay) == pytest.approx(30, rel=0.05)
