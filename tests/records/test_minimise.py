"""The search for the least of a function: minima known on paper, at a bound, and where Newton's method fails."""

import numpy as np
import pytest

from growth.records import minimise as module
from growth.records.churn_fit import fit_bdw, fit_sbg
from growth.records.minimise import minimise, slopes
from growth.records.survival import RiskTable

WIDE = {"low": np.array([-5.0, -5.0]), "high": np.array([5.0, 5.0])}
STARTS = np.array([[-1.2, 1.0], [3.0, -2.0]])


def valley(points):
    """A long curved valley, least (0) at (1, 1). Source: Rosenbrock (1960), Computer Journal 3, 175 (from memory)."""
    x, y = points.T
    return 100 * (y - x**2) ** 2 + (1 - x) ** 2


def bowl(points):
    """x^2 + x y + y^2 - 6 x: least at (4, -2); with x at most 2 at (2, -1), where the slope in y is 0."""
    x, y = points.T
    return x**2 + x * y + y**2 - 6 * x


def test_the_least_of_a_curved_valley():
    assert minimise(valley, STARTS, **WIDE) == pytest.approx([1, 1], abs=1e-6)


def test_a_bound_holds_one_parameter_and_the_other_goes_on():
    assert minimise(bowl, STARTS, **WIDE) == pytest.approx([4, -2], abs=1e-9)
    assert minimise(bowl, STARTS, low=WIDE["low"], high=np.array([2.0, 5.0])) == pytest.approx([2, -1], abs=1e-9)


def test_the_lower_of_two_minima_is_found():
    def two(points):  # of (x^2 - 1)^2 + x / 4 + y^2: near x = 1 and, lower, near x = -1
        x, y = points.T
        return (x**2 - 1) ** 2 + x / 4 + y**2

    x, y = minimise(two, np.array([[0.9, 1.0], [-0.9, 1.0]]), **WIDE)
    assert 4 * x * (x**2 - 1) == pytest.approx(-0.25, abs=1e-6) and x < -1 and abs(y) < 1e-6


def test_where_newton_does_not_settle_a_simplex_does(monkeypatch):
    def kinked(points):  # no second derivative tells where |x - 1| + |y + 2| is least
        return np.abs(points - [1, -2]).sum(axis=1)

    assert minimise(kinked, STARTS, **WIDE) == pytest.approx([1, -2], abs=1e-6)
    monkeypatch.setattr(module, "STEPS", 1)
    assert minimise(valley, STARTS, **WIDE) == pytest.approx([1, 1], abs=1e-6)


def test_derivatives_by_differences():
    value, slope, matrix = slopes(bowl, np.array([1.0, 2.0]))
    assert value == 1 + 2 + 4 - 6
    assert slope == pytest.approx([2 + 2 - 6, 1 + 4])
    assert matrix == pytest.approx(np.array([[2, 1], [1, 2]]), rel=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_fits_are_never_worse_than_those_of_a_simplex_search(seed, monkeypatch):
    random = np.random.default_rng(seed)
    ages = np.arange(1, random.integers(6, 60))
    falling = 1 / (1 + random.uniform(5, 30) + ages)
    churn = (np.full(ages.size, 0.04), falling, 0.01 + 0.002 * ages)[seed % 3]  # constant and rising end at a bound
    at_risk = np.cumprod(1 - np.append(0, churn[:-1])) * 10 ** random.uniform(2.5, 5)
    table = RiskTable(at_risk.astype(int), random.binomial(at_risk.astype(int), churn))
    found = fit_sbg(table), fit_bdw(table)
    monkeypatch.setattr(module, "STEPS", 0)
    by_simplex = fit_sbg(table), fit_bdw(table)
    for one, other in zip(found, by_simplex, strict=True):
        assert one.log_likelihood > other.log_likelihood - 1e-6
