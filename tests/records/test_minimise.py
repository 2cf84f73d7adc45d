"""Bounded minimisation: minima known on paper and at a bound, and fits beside an independent search."""

import numpy as np
import pytest
from scipy.optimize import minimize

from growth.engine.curves import churn_by_age
from growth.records.churn_fit import BOUNDS, fit_bdw, fit_sbg, log_likelihood, minimise, slopes
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
    # near a minimum values differ by less than a double holds within some 1e-8 of it, its square root
    assert minimise(bowl, STARTS, **WIDE) == pytest.approx([4, -2], abs=1e-7)
    assert minimise(bowl, STARTS, low=WIDE["low"], high=np.array([2.0, 5.0])) == pytest.approx([2, -1], abs=1e-7)


def test_the_lower_of_two_minima_is_found():
    def two(points):  # of (x^2 - 1)^2 + x / 4 + y^2: near x = 1 and, lower, near x = -1
        x, y = points.T
        return (x**2 - 1) ** 2 + x / 4 + y**2

    x, y = minimise(two, np.array([[0.9, 1.0], [-0.9, 1.0]]), **WIDE)
    assert 4 * x * (x**2 - 1) == pytest.approx(-0.25, abs=1e-6) and x < -1 and abs(y) < 1e-6


def test_derivatives_by_differences():
    value, slope, matrix = slopes(bowl, np.array([1.0, 2.0]))
    assert value == 1 + 2 + 4 - 6
    assert slope == pytest.approx([2 + 2 - 6, 1 + 4])
    assert matrix == pytest.approx(np.array([[2, 1], [1, 2]]), rel=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_fits_are_never_worse_than_those_of_a_simplex_search(seed):
    random = np.random.default_rng(seed)
    ages = np.arange(1, random.integers(6, 60))
    falling = 1 / (1 + random.uniform(5, 30) + ages)
    churn = (np.full(ages.size, 0.04), falling, 0.01 + 0.002 * ages)[seed % 3]  # constant and rising end at a bound
    at_risk = np.cumprod(1 - np.append(0, churn[:-1])) * 10 ** random.uniform(2.5, 5)
    table = RiskTable(at_risk.astype(int), random.binomial(at_risk.astype(int), churn))
    for fit in (fit_sbg(table), fit_bdw(table)):
        names = fit.low

        def loss(at, fit=fit, names=names):
            section = type(fit.section).model_construct(curve=fit.curve, **dict(zip(names, np.exp(at), strict=True)))
            return -log_likelihood(np.clip(churn_by_age(section, ages=table.ages)[:, 0], 1e-300, 1 - 1e-15), table)

        bounds, start = np.log([BOUNDS[name] for name in names]), np.log([1.0, 10.0, 1.0][: len(names)])
        options = {"xatol": 1e-8, "fatol": 1e-9, "maxiter": 4000}
        other = minimize(loss, start, method="Nelder-Mead", bounds=bounds, options=options)
        assert fit.log_likelihood > -other.fun - 1e-6
