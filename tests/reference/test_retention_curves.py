"""Churn by age against published figures and against SciPy."""

import numpy as np
import pytest
from plain import NOBODY, business
from scipy.special import betaln

import growth
from growth.engine.curves import beta_discrete_weibull, shifted_beta_geometric

# Fader, P. S. and Hardie, B. G. S. (2007), "How to Project Customer Retention", Journal of Interactive Marketing
# 21(1), 76-90. Table 1: per cent of a cohort still subscribed at the end of years 0..12; years 0-7 were fitted, 8-12
# held out. The parameters and log-likelihoods are the paper's; the projections of year 12 as well.
OBSERVED = {
    "regular": [100.0, 63.1, 46.8, 38.2, 32.6, 28.9, 26.2, 24.1, 22.3, 20.7, 19.4, 18.3, 17.3],
    "high end": [100.0, 86.9, 74.3, 65.3, 59.3, 55.1, 51.7, 49.1, 46.8, 44.5, 42.7, 40.9, 39.4],
}
PRINTED = {"regular": (0.704, 1.182, -1680.27, 17.0), "high end": (0.668, 3.806, -1611.16, 37.8)}
GROUPS = list(PRINTED)


def survival(churn: np.ndarray) -> np.ndarray:
    return np.cumprod(1 - churn.ravel())


def ages(last: int) -> np.ndarray:
    return np.arange(1, last + 1)[:, None]


def closed_form(alpha: float, beta: float, age: np.ndarray, shape: float = 1.0) -> np.ndarray:
    """S(t) = B(alpha, beta + t^shape) / B(alpha, beta); equation 7 of the paper at shape 1."""
    return np.exp(betaln(alpha, beta + age**shape) - betaln(alpha, beta))


def one_cohort(curve: dict, customers: float = 1000, months: int = 12) -> np.ndarray:
    opening = {"customers": customers, "mrr": 20 * customers}
    return growth.forecast(business(months=months, churn=curve, arrive=NOBODY, opening=opening)).closing_customers


@pytest.mark.parametrize("group", GROUPS)
def test_projection_of_the_published_cohorts(group):
    """A period of the curve is a year there and a month here; the arithmetic is the same. The model stays
    within two points of the table in every year, those held out included."""
    alpha, beta, _, year_12 = PRINTED[group]
    forecast = one_cohort({"curve": "sbg", "alpha": alpha, "beta": beta})
    curve = 1000 * survival(shifted_beta_geometric(ages=ages(12), alpha=alpha, beta=beta))
    expected = 1000 * closed_form(alpha, beta, np.arange(1, 13.0))
    np.testing.assert_allclose(forecast, expected, rtol=1e-12)
    np.testing.assert_allclose(curve, expected, rtol=1e-12)
    assert round(forecast[-1] / 10, 1) == year_12
    np.testing.assert_allclose(forecast / 10, OBSERVED[group][1:], atol=2)


@pytest.mark.parametrize("group", GROUPS)
def test_published_log_likelihood(group):
    """The paper's figure, from our curve: the sum of n ln P over 1,000 customers, years 1-7, and of those still
    there."""
    alpha, beta, printed, _ = PRINTED[group]
    alive = np.array(OBSERVED[group][:8]) * 10
    at_end = survival(shifted_beta_geometric(ages=ages(7), alpha=alpha, beta=beta))
    leaving = -np.diff(np.concatenate([[1.0], at_end]))
    total = -np.diff(alive) @ np.log(leaving) + alive[-1] * np.log(at_end[-1])
    assert total == pytest.approx(printed, abs=0.006)  # printed to two digits, alpha and beta to three


def test_the_published_counts_of_the_spreadsheet_guide():
    # Fader and Hardie's spreadsheet guide (2014) counts the regular cohort as 1000, 631, 468, 382, 326 customers
    measured = {"curve": "measured", "survival": [0.631, 0.468, 0.382, 0.326], "tail_monthly_churn_rate": 0.1}
    np.testing.assert_allclose(one_cohort(measured, months=4), [631, 468, 382, 326], rtol=1e-12)


def test_retention_rises_with_age():
    # r(t) = (beta + t - 1) / (alpha + beta + t - 1), the paper's equation 8
    alpha, beta = PRINTED["regular"][:2]
    t = np.arange(1, 13)
    churn = shifted_beta_geometric(ages=ages(12), alpha=alpha, beta=beta).ravel()
    np.testing.assert_allclose(1 - churn, (beta + t - 1) / (alpha + beta + t - 1), rtol=1e-14)


@pytest.mark.parametrize(("alpha", "beta"), [(0.704, 1.182), (0.668, 3.806), (0.01, 200), (50, 3), (5, 5)])
@pytest.mark.parametrize("shape", [0.3, 0.8, 1.0, 1.6, 2.5])
def test_bdw_against_scipy(alpha, beta, shape):
    """S(t) = B(alpha, beta + t^c) / B(alpha, beta): Fader, Hardie, Liu, Davin and Steenburgh (2018), "How to Project
    Customer Retention Revisited", Journal of Interactive Marketing 43, 1-16. SciPy's betaln loses digits where its
    terms are large: 1e-9 is what both keep, down to a survival of 1e-15."""
    age = np.arange(1, 61.0)
    ours = survival(beta_discrete_weibull(ages=ages(60), alpha=alpha, beta=beta, shape=shape))
    np.testing.assert_allclose(ours, closed_form(alpha, beta, age, shape), rtol=1e-9, atol=1e-15)
    forecast = one_cohort({"curve": "bdw", "alpha": alpha, "beta": beta, "shape": shape}, customers=1, months=60)
    np.testing.assert_allclose(forecast, closed_form(alpha, beta, age, shape), rtol=1e-9, atol=1e-15)


@pytest.mark.parametrize("group", GROUPS)
def test_bdw_of_shape_one_is_the_sbg(group):
    alpha, beta = PRINTED[group][:2]
    both = [function(ages=ages(240), alpha=alpha, beta=beta, **more) for function, more in CURVES]
    np.testing.assert_allclose(*both, rtol=1e-12)


CURVES = ((shifted_beta_geometric, {}), (beta_discrete_weibull, {"shape": 1.0}))
