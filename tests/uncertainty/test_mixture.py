"""Bands from draws: all draws and the chance within each of them as one distribution."""

from __future__ import annotations

import numpy as np
import pytest
from plain import NOBODY, business
from scipy import stats

import growth
from growth.uncertainty import Mixture, mixture_of

SHARES = (0.05, 0.25, 0.5, 0.75, 0.95)


def test_one_draw_is_a_gamma_distribution_of_its_two_moments():
    mean, variance = 150.0, 750.0
    one = Mixture(np.array([[mean]]), np.array([[variance]]))
    gamma = stats.gamma(mean**2 / variance, scale=variance / mean)  # textbook: mean k s, variance k s^2
    assert [one.quantile(share).item() for share in SHARES] == pytest.approx(list(gamma.ppf(SHARES)), rel=1e-7)
    assert one.below(np.array([160.0])).item() == pytest.approx(gamma.cdf(160.0))


def test_without_chance_it_is_the_draws_themselves():
    values = np.arange(1.0, 101.0)[:, None]
    draws = Mixture(values, np.zeros((100, 1)))
    assert draws.quantile(0.045).item() == pytest.approx(5, rel=1e-6)  # the fifth of a hundred steps
    assert draws.below(np.array([42.0])).item() == pytest.approx(0.42)
    assert draws.share_of_chance().tolist() == [0.0]


def test_two_draws_far_apart_have_their_middle_between_them():
    both = Mixture(np.array([[100.0], [1000.0]]), np.array([[1.0], [1.0]]))
    assert both.below(np.array([500.0])).item() == pytest.approx(0.5)
    # half of the cases are each draw's: its own 10% and 90% points are the 5% and 95% points of both
    normal = stats.norm(0, 1).ppf(0.9)
    assert both.band(0.9)[0].item() == pytest.approx(100 - normal, abs=0.02)
    assert both.band(0.9)[1].item() == pytest.approx(1000 + normal, abs=0.02)


def test_the_variance_splits_into_ranges_and_chance():
    # law of total variance, by hand: means 100 and 200, so 2,500 between the draws, and 2,500 within each of them
    both = Mixture(np.array([[100.0], [200.0]]), np.array([[2500.0], [2500.0]]))
    assert both.share_of_chance().item() == pytest.approx(0.5)


def test_nobody_on_board_is_sure_and_reaches_nothing():
    empty = mixture_of(growth.forecast(business(months=3, arrive=NOBODY)))
    assert empty.quantile(0.95).tolist() == [0, 0, 0] and empty.reach(100).tolist() == [0, 0, 0]


def test_the_goal_is_reached_in_the_share_of_cases_that_stand_above_it():
    opening = {"customers": 40, "mrr": 800}
    churn = {"curve": "constant", "monthly_churn_rate": {"low": 0.05, "likely": 0.1, "high": 0.2}}
    scenario = business(months=24, opening=opening, churn=churn)
    drawn = mixture_of(growth.forecast(growth.sample(scenario, draws=512)))
    reach = drawn.reach(1500.0)
    assert np.all(np.diff(reach) >= 0)
    assert reach[-1] == pytest.approx(1 - min(drawn.below(np.full(24, 1500.0))), abs=1e-6)
    assert reach == pytest.approx(growth.spread_of(scenario).reach(1500.0), abs=0.04)  # the quick method
