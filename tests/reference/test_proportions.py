"""Shares of small counts and what a piece earns, against published values and a reference library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, special, stats

from growth.earned.conversion import bought_by
from growth.earned.interval import difference, share, sign_up_value


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0000, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_newcombe_1998(count, of, low, high):
    """Newcombe (1998), Statistics in Medicine 17, 857-872, Table I, method 3. From memory, recomputed."""
    found = share(count=count, of=of)
    assert (found.low, found.high) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


@pytest.mark.parametrize(("count", "of"), [(0, 7), (1, 29), (81, 263), (12, 12), (3, 5_000)])
def test_wilson_against_statsmodels(count, of):
    proportion = pytest.importorskip("statsmodels.stats.proportion")
    found = share(count=count, of=of)
    low, high = proportion.proportion_confint(count, of, method="wilson")
    assert (found.low, found.high) == (pytest.approx(low, abs=1e-12), pytest.approx(high, abs=1e-12))


# Newcombe, R. G. (1998), "Interval estimation for the difference between independent proportions", Statistics in
# Medicine 17, 873-890, Table II, method 6 (Miettinen and Nurminen); from memory.
TWO_SHARES = [
    ((56, 70, 48, 80), 0.0528, 0.3382),
    ((9, 10, 3, 10), 0.1700, 0.8406),
    ((5, 56, 0, 29), -0.0326, 0.1933),
    ((0, 10, 0, 20), -0.1658, 0.2844),
    ((10, 10, 0, 20), 0.7156, 1.0000),
]


@pytest.mark.parametrize(("counts", "low", "high"), TWO_SHARES)
def test_two_shares_newcombe_1998(counts, low, high):
    a, n, b, m = counts
    found = difference(count_a=a, of_a=n, count_b=b, of_b=m)
    assert (found.low, found.high) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


@pytest.mark.parametrize("counts", [(3, 20, 1, 40), (56, 70, 48, 80), (1, 20, 30, 400), (0, 9, 2, 300)])
def test_two_shares_are_where_the_score_test_turns(counts):
    """At either end, the likeliest shares that differ by so much, found by SciPy's search, give |z| = 1.96.
    (statsmodels 0.14 is no reference here: with unequal counts its shares under the constraint are not the
    likeliest.)
    """
    a, n, b, m = counts
    found = difference(count_a=a, of_a=n, count_b=b, of_b=m)
    for d in (found.low, found.high):
        least, most = max(0.0, d), min(1.0, 1.0 + d)

        def unlikely(q, d=d):
            return -(special.xlogy(a, q) + special.xlog1py(n - a, -q) + special.xlogy(b, q - d)
                     + special.xlog1py(m - b, d - q))  # fmt: skip

        q = optimize.minimize_scalar(unlikely, bounds=(least, most), method="bounded", options={"xatol": 1e-12}).x
        variance = (q * (1 - q) / n + (q - d) * (1 - q + d) / m) * (n + m) / (n + m - 1)
        assert abs(a / n - b / m - d) / variance**0.5 == pytest.approx(stats.norm.ppf(0.975), rel=1e-5)


def test_a_prospects_value_marketing_metrics():
    """Farris et al., "Marketing Metrics" (2nd ed. 2010), chapter 5; from memory. 60,000 reach 75,000 readers, 0.80
    each; a customer brings 10 at first and 100 later; at 1.2% won a prospect is worth 0.52, and 0.727% break even.
    """
    readers, cost, customer = 75_000, 60_000, 10 + 100
    won = 900  # 1.2% of the readers
    value = sign_up_value(amounts=np.full(won, float(customer)), sign_ups=readers)
    assert value - cost / readers == pytest.approx(0.52)
    assert cost / readers / customer == pytest.approx(0.00727, abs=5e-6)


def test_sixty_sign_ups_at_two_hundred_are_twelve_thousand():
    """Common practice, no source: sign-ups x value of a sign-up; here 12 of 60 buy at 1,000 each."""
    assert 60 * sign_up_value(amounts=np.full(12, 1_000.0), sign_ups=60) == pytest.approx(12_000)


def test_kaplan_meier_freireich_1963():
    """Freireich et al. (1963), Blood 21, 699-716, as in Kleinbaum and Klein, "Survival Analysis"; from memory."""
    left = np.array([6, 6, 6, 7, 10, 13, 16, 22, 23], dtype=float)
    stay = {6: 1, 9: 1, 10: 1, 11: 1, 17: 1, 19: 1, 20: 1, 25: 1, 32: 2, 34: 1, 35: 1}
    days, gone = bought_by(left, np.repeat(list(stay), list(stay.values())))
    at = dict(zip(days.tolist(), (1 - gone).tolist(), strict=True))
    expected = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}
    assert {day: round(at[day], 3) for day in expected} == pytest.approx(expected, abs=6e-4)
