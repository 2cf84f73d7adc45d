"""Wilson's interval and the Poisson mean against printed tables."""

from __future__ import annotations

import numpy as np
import pytest

from growth.records.intervals import count_interval, wilson

# Newcombe, R. G. (1998), Statistics in Medicine 17, 857-872, Table I, Wilson score without continuity correction;
# from memory,
# recomputed from the closed form.
NEWCOMBE = [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]


@pytest.mark.parametrize(("count", "of", "low", "high"), NEWCOMBE)
def test_wilson_as_printed(count, of, low, high):
    assert [float(end) for end in wilson(count, of)] == pytest.approx([low, high], abs=5e-5)


def test_wilson_equals_statsmodels():
    proportion = pytest.importorskip("statsmodels.stats.proportion")
    count, of = np.array([1, 7, 30, 299]), np.array([9, 20, 31, 1000])
    np.testing.assert_allclose(wilson(count, of), proportion.proportion_confint(count, of, method="wilson"), rtol=1e-12)


def test_nothing_counted_tells_nothing():
    assert [float(end) for end in wilson(0, 0)] == [0, 1]


def test_the_mean_of_poisson_counts():
    # Garwood (1936): for 10 events the exact 95% ends are 4.795 and 18.390; from memory. Thirty events in bursts of
    # three are ten bursts.
    assert count_interval(10) == pytest.approx((4.795, 18.390), abs=1e-3)
    assert count_interval(30, 3) == pytest.approx((3 * 4.795, 3 * 18.390), abs=3e-3)
