"""Laws that hold exactly, against the forecast and the ceiling."""

import numpy as np
import pytest
from plain import NOBODY, business, plan

import growth
from growth.measures import customer_ceiling, growth_ceiling, quick_ratio


@pytest.mark.parametrize("churn", [0.1, 0.25, 0.5])
def test_littles_law(churn):
    """Little (1961), "A Proof for the Queuing Formula L = lambda W", Operations Research 9(3): with n arrivals a
    month and a mean stay of L months the count settles at n L. Counting the first month a geometric stay lasts 1 / c
    months."""
    result = growth.forecast(business(months=120, churn=churn))
    left = (1 - churn) ** 120  # of what the level still lacks
    assert result.closing_customers[-1] == pytest.approx(10 / churn * (1 - left), rel=1e-12)
    assert customer_ceiling(result).value == pytest.approx(10 / churn, rel=1e-12)


def test_littles_law_where_churn_falls_with_age():
    """The mean stay of the sBG, counting the first month, is (alpha + beta - 1) / (alpha - 1) for alpha > 1: the sum
    of B(alpha, beta + t) / B(alpha, beta) over t >= 0 is B(alpha - 1, beta) / B(alpha, beta). The ceiling closes the
    sum after 1,200 months as a geometric series: at alpha 3 survival falls like 990 t^-3 and the rest weighs 990 / (2
    x 1200^2) = 3e-4 of 5.5, of which a geometric series finds a part."""
    result = growth.forecast(business(churn={"curve": "sbg", "alpha": 3.0, "beta": 9.0}))
    assert customer_ceiling(result).value == pytest.approx(10 * (3 + 9 - 1) / (3 - 1), rel=6e-5)


def test_at_the_ceiling_as_much_is_lost_as_comes_in():
    level = growth_ceiling(growth.forecast(business())).value
    there = growth.forecast(business(opening={"customers": 100, "mrr": level}))
    np.testing.assert_allclose(there.closing_mrr, level, rtol=1e-12)
    assert quick_ratio(there).value == pytest.approx(1, rel=1e-12)


@pytest.mark.parametrize("months", [1, 6, 12, 24])
def test_compound_growth_doubles_in_ln2_over_ln_1_plus_g(months):
    """ln 2 / ln(1 + g) periods: common arithmetic. Of visitors, and of MRR where those who stay pay more and nobody
    leaves."""
    rate = 2 ** (1 / months) - 1
    assert np.log(2) / np.log1p(rate) == pytest.approx(months)
    channel = {"name": "all", "monthly_visitors": 10, "monthly_growth_rate": rate}
    visitors = growth.forecast(business(months=months + 1, arrive={"channels": [channel]})).visitors
    assert visitors[-1] == pytest.approx(2 * visitors[0], rel=1e-12)
    opening = {"customers": 10, "mrr": 500}
    parts = {"arrive": NOBODY, "opening": opening, "grow": {"monthly_expansion_rate": rate}}
    mrr = growth.forecast(business(months=months, churn=0, **parts)).closing_mrr
    assert mrr[-1] == pytest.approx(1000, rel=1e-12)


def test_a_year_paid_up_front_is_recognised_evenly():
    """IFRS 15, paragraphs 35(a), 39 and B18 (a service rendered evenly over time is recognised straight-line; from
    memory): one twelfth a month; what is paid and not yet recognised is the contract liability, paragraph 106
    (deferred revenue)."""
    price = 1200.0
    channel = {"name": "all", "monthly_visitors": 1, "last_month": 1}
    pay = {"plans": [plan(monthly_price=price / 12, billing="yearly", renewal_rate=0)]}
    result = growth.forecast(business(months=14, arrive={"channels": [channel]}, pay=pay))
    np.testing.assert_allclose(result.revenue[:12], price / 12, rtol=1e-12)
    np.testing.assert_allclose(result.revenue[12:], 0, atol=1e-12)
    liability = price - np.cumsum(np.full(12, price / 12))
    np.testing.assert_allclose(result.deferred_revenue[:12], liability, rtol=1e-12, atol=1e-9)
    assert result.cash_in.sum() == pytest.approx(result.revenue.sum(), rel=1e-12)  # all of it, in the end
    np.testing.assert_allclose(np.cumsum(result.cash_in - result.revenue), result.deferred_revenue, atol=1e-9)
