"""Whole customers, drawn at random, come on average to the expected values that the engine gives.

Bound: every mean lies within 4.5 of its own standard errors. That leaves 7e-6 of a normal distribution outside, about
1 in 100 for the some 1,200 means compared here, were the seed not fixed; and the runs are so many that an error of
one per cent of closing MRR would show.
"""

from __future__ import annotations

import numpy as np
import pytest
from whole_customers import CASES, COMPARED, RUNS, draw

import growth

BOUND = 4.5


@pytest.mark.parametrize("name", CASES)
def test_the_mean_of_whole_customers_is_the_expected_value(name):
    scenario = CASES[name]
    runs, expected = draw(scenario, np.random.default_rng(1)), growth.forecast(scenario)
    for series in COMPARED:
        mean, error = runs[series].mean(axis=1), runs[series].std(axis=1, ddof=1) / np.sqrt(RUNS)
        value = getattr(expected, series)
        off = np.abs(mean - value)
        assert (off <= BOUND * error + 1e-9 * np.abs(value)).all(), (series, np.max(off / np.maximum(error, 1e-300)))
    closing = runs["closing_mrr"][-1]
    # an error of one per cent stands outside the bound
    assert BOUND * closing.std() / np.sqrt(RUNS) < 0.01 * closing.mean()
