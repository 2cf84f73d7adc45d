"""How sign-ups fade: closed forms, SciPy's fits, the mix of families, and days that vary more than Poisson's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, optimize

from growth.earned import decay
from growth.earned.decay import shapes


def one(**wanted: float) -> int:
    """The shape of the grid nearest to some values."""
    grid = shapes()
    off = sum((getattr(grid, name) != value) * 1e6 for name, value in wanted.items() if value in (0, np.inf))
    for name, value in wanted.items():
        if value not in (0, np.inf):
            with np.errstate(divide="ignore", invalid="ignore"):
                off = off + np.nan_to_num(np.abs(np.log(getattr(grid, name) / value)), nan=1e3, posinf=1e3)
    return int(np.argmin(off))


# --- the shapes -------------------------------------------------------------------------------------------------------


def test_sums_to_an_age_are_the_integrals_of_the_rates():
    """By SciPy's quadrature, over every twentieth shape of the grid."""
    for shape in range(0, len(shapes().prior), 20):
        for age in (0.5, 30.0, 400.0):
            area = integrate.quad(lambda t, shape=shape: shapes().rate(t)[shape], 0, age, limit=200)[0]
            assert shapes().until(age)[shape] == pytest.approx(area, rel=1e-7)


def test_the_halving_time_of_an_exponential_is_its_half_life_at_any_age():
    shape = np.flatnonzero(shapes().exponential & (shapes().trickle == 0))
    for age in (0.0, 40.0, 300.0):
        np.testing.assert_allclose(decay.halving(shape, age), shapes().half_life[shape], rtol=1e-9)


def test_a_power_law_halves_ever_more_slowly_and_a_trickle_may_never():
    """(1 + t/s)^-a halves from age t in (t + s) (2^(1/a) - 1) days."""
    shape = np.array([one(half_life=np.inf, exponent=1.0, scale=5.0, trickle=0)])
    grid = shapes()
    a, s = grid.exponent[shape[0]], grid.scale[shape[0]]
    for age in (0.0, 50.0):
        assert decay.halving(shape, age)[0] == pytest.approx((age + s) * (2 ** (1 / a) - 1))
    steady = np.array([one(half_life=20.0, trickle=0.1)])
    assert np.isinf(decay.halving(steady, 200.0)[0]) and np.isfinite(decay.halving(steady, 0.0)[0])


# --- against SciPy ----------------------------------------------------------------------------------------------------

# Made here: the means of an exponential and of a power law. (Rounded to whole sign-ups their ends would be a trickle.)
EXPONENTIAL = 400 * 2.0 ** (-(np.arange(200) + 0.5) / 25)
POWER = 90 * (1 + (np.arange(300) + 0.5) / 6) ** -1.3


def poisson_loss(mean: np.ndarray, seen: np.ndarray) -> float:
    return float((mean - seen * np.log(np.maximum(mean, 1e-12))).sum())


def test_the_likeliest_half_life_is_scipys():
    ages = np.arange(len(EXPONENTIAL)) + 0.5
    found = optimize.minimize(
        lambda x: poisson_loss(np.exp(x[0]) * 2.0 ** (-ages / np.exp(x[1])), EXPONENTIAL),
        [5.0, 3.0],
        method="Nelder-Mead",
    )
    half_life = np.exp(found.x[1])
    told = decay.fit(EXPONENTIAL)
    grid = shapes()
    plain = grid.exponential & (grid.trickle == 0)
    best = np.flatnonzero(plain)[np.argmax(decay.log_likelihood(EXPONENTIAL)[plain])]
    assert half_life == pytest.approx(25, rel=0.01)
    assert grid.half_life[best] == pytest.approx(half_life, rel=0.06)  # the grid's steps are 11%
    assert told.weights[grid.exponential].sum() > 0.99
    assert told.weights.sum() == pytest.approx(1)


def test_the_likeliest_power_law_is_scipys():
    ages = np.arange(len(POWER)) + 0.5
    found = optimize.minimize(
        lambda x: poisson_loss(np.exp(x[0]) * (1 + ages / np.exp(x[1])) ** -np.exp(x[2]), POWER),
        [6.0, 1.0, 0.0],
        method="Nelder-Mead",
    )
    scale, exponent = np.exp(found.x[1:])
    assert (scale, exponent) == (pytest.approx(6, rel=0.05), pytest.approx(1.3, rel=0.03))
    # what is expected of the second year, by SciPy's curve and by the mix
    year = np.exp(found.x[0]) * integrate.quad(lambda t: (1 + t / scale) ** -exponent, 300, 665)[0]
    told, grid = decay.fit(POWER), shapes()
    whole = grid.until(np.array([[300.0], [665.0]])) + grid.trickle * np.array([[300.0], [665.0]])
    to_come = np.diff(whole, axis=0)[0] / whole[0] * POWER.sum()
    order = np.argsort(to_come)
    low, high = np.interp([0.025, 0.975], np.cumsum(told.weights[order]), to_come[order])
    assert low < year < high < 2 * year
    plain = np.flatnonzero(~grid.exponential & (grid.trickle == 0))
    likeliest = plain[np.argmax(decay.log_likelihood(POWER)[plain])]
    assert to_come[likeliest] == pytest.approx(year, rel=0.2)  # the grid's steps are 17% and 58%
    assert told.weights[~grid.exponential].sum() > 0.99


# --- what the mix makes of it -----------------------------------------------------------------------------------------


def test_a_steady_trickle_is_seen_and_expected_to_go_on():
    counts = np.round(40 * 2.0 ** (-np.arange(300) / 15)) + 2
    told = decay.fit(counts)
    assert told.weights[shapes().exponential & (shapes().trickle > 0)].sum() > 0.9
    assert told.expected(np.array([300.0, 665.0]))[0] == pytest.approx(2 * 365, rel=0.15)


def test_days_that_vary_more_widen_what_is_known():
    rng = np.random.default_rng(0)
    mean = 6 * 2.0 ** (-np.arange(120) / 60)
    even, wild = rng.poisson(mean), rng.poisson(mean * rng.gamma(0.3, 1 / 0.3, 120))
    calm, restless = decay.dispersion([even])[0], decay.dispersion([wild])[0]
    assert calm < 1.6 < restless  # Poisson: 1; gamma of shape 0.3: 1 + mean / 0.3, on average 1 + 3 / 0.3
    grid = shapes()

    def width(found: decay.Decay) -> float:
        order = np.argsort(grid.until(485) / grid.until(120))
        values = (grid.until(485) / grid.until(120))[order]
        low, high = np.interp([0.025, 0.975], np.cumsum(found.weights[order]), values)
        return float(high - low)

    assert width(decay.fit(even, phi=restless)) > width(decay.fit(even, phi=calm))


def test_another_piece_counts_for_thirty_sign_ups_and_no_more():
    """Half of the prior follows the others. The same days with ten times the sign-ups say the same: both count for
    thirty."""
    other = 2.0 ** (-np.arange(120) / 10)
    few, many = other * 60 / other.sum(), other * 600 / other.sum()
    nothing = np.zeros(20)
    np.testing.assert_allclose(
        decay.fit(nothing, others=[few]).weights, decay.fit(nothing, others=[many]).weights, rtol=1e-9
    )
    prior = shapes().prior
    thirty = np.exp(np.log(prior) + decay.log_likelihood(other * 30 / other.sum()))
    np.testing.assert_allclose(
        decay.fit(nothing, others=[many]).weights, (prior + thirty / thirty.sum()) / 2, rtol=1e-6, atol=1e-12
    )


def test_nothing_counted_leaves_the_prior():
    np.testing.assert_allclose(decay.fit(np.zeros(30)).weights, shapes().prior, rtol=1e-9)


def test_what_is_held_likely_before_anything_is_counted():
    """The two families equally, a trickle in 0.6; two in three half-lives from 17 to 122 days, exponents 0.6 to 1.6."""
    grid = shapes()
    told = decay.fit(np.zeros(30)).weights
    assert told[grid.exponential].sum() == pytest.approx(0.5)
    assert told[grid.trickle == 0].sum() == pytest.approx(0.4)
    fading = grid.exponential & (grid.trickle == 0)
    weights = grid.prior[fading] / grid.prior[fading].sum()
    inside = (grid.half_life[fading] > 45 / np.e) & (grid.half_life[fading] < 45 * np.e)
    assert weights[inside].sum() == pytest.approx(0.68, abs=0.04)  # one standard deviation of the log
    falling = ~grid.exponential & (grid.trickle == 0)
    weights = grid.prior[falling] / grid.prior[falling].sum()
    inside = (grid.exponent[falling] > np.exp(-0.5)) & (grid.exponent[falling] < np.exp(0.5))
    assert weights[inside].sum() == pytest.approx(0.68, abs=0.06)  # the grid's exponents are further apart
