"""How customers join: level, growth, season and bursts are found again, and told apart."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import f as fisher
from scipy.stats import norm

from growth.records.joining import _by_chance, _there_is_growth, joining_notes, measure_joining

JANUARY = np.datetime64("2024-01")


def test_growth_counts_as_far_as_it_is_sure():
    """Bayes' rule by hand: odds 3 to 1, densities of the estimate with and without growth of spread 5%."""
    value, error = 0.02, 0.015
    odds = 3 * norm.pdf(value, 0, np.hypot(error, 0.05)) / norm.pdf(value, 0, error)
    assert _there_is_growth(value, error) == pytest.approx(odds / (1 + odds))
    sure = measure_joining(np.round(1000 * 1.08 ** np.arange(24)), JANUARY)
    assert sure.steady_growth[0] == pytest.approx(0.08, abs=0.001) and sure.sure > 0.999
    assert measure_joining(np.full(24, 12.0), JANUARY).steady_growth[0] == pytest.approx(0, abs=1e-9)


def test_a_steady_business_starts_where_it_is_and_a_growing_one_where_it_has_come_to():
    assert measure_joining(np.full(24, 12.0), JANUARY).first(0.0) == pytest.approx(12)
    growing = measure_joining(100 * 1.05 ** np.arange(24), JANUARY)
    assert growing.first(0.05) == pytest.approx(100 * 1.05**24)


def test_a_season_is_told_apart_from_growth():
    """Two years of one wave and no growth: the wave is found, with its peak in month 4, and no growth is."""
    wave = 1 + 0.5 * np.sin(2 * np.pi * np.arange(24) / 12)
    joining = measure_joining(np.round(200 * wave), JANUARY)
    assert joining.season is not None and np.argmax(joining.season) == 3
    assert abs(joining.steady_growth[0]) < 0.005 and np.mean(joining.season) == pytest.approx(1, abs=1e-3)
    assert "a season: most in month 04" in joining_notes(joining)[0]
    assert measure_joining(np.round(200 * wave[:17]), JANUARY).season is None  # too short to tell


def test_a_season_is_seen_by_chance_as_seldom_as_it_should():
    """400 businesses without a season: 5% and 2 binomial errors is 7.2%; a little rarer by the bound of dispersion."""
    counts = np.random.default_rng(1).poisson(20, (400, 24)).astype(float)
    found = [measure_joining(one, JANUARY).season is not None for one in counts]
    assert 0.01 <= np.mean(found) <= 0.072
    assert _by_chance(2.7, 20) == pytest.approx(fisher.sf(2.7, 2, 20))


def test_bursts_are_named_and_make_the_interval_wide():
    """Four months of 24 bring half of all: variance over mean is far above 1, and the interval as much wider."""
    counts = np.full(24, 4.0)
    counts[[3, 9, 14, 20]] = 24
    joining, steady = (measure_joining(one, JANUARY) for one in (counts, np.full(24, counts.mean())))
    assert joining.dispersion == pytest.approx(9, rel=0.15)
    assert joining.level.high - joining.level.low > 2 * (steady.level.high - steady.level.low)
    assert "4 of the last 24 months brought half of all who joined" in joining_notes(joining)[0]
    assert joining_notes(steady) == []


@pytest.mark.parametrize("burst", [1, 10])
def test_the_interval_of_the_level_holds_what_it_says(burst):
    """Poisson counts, or bursts of ten at once: in 400 businesses 95% intervals hold the mean in at least 90%."""
    random = np.random.default_rng(2)
    counts = burst * random.poisson(20 / burst, (400, 24)).astype(float)
    levels = [measure_joining(one, JANUARY).level for one in counts]
    assert 0.9 <= np.mean([rate.low <= 20 <= rate.high for rate in levels]) <= 0.985


def test_nobody_joins():
    joining = measure_joining(np.zeros(24), JANUARY)
    assert joining.level.value == 0 and joining.growth is None and joining.season is None
    first, growth = joining.draw(np.random.default_rng(1), 10)
    assert not first.any() and not growth.any()
