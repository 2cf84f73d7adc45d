"""What holds in every month of every valid scenario: the bridge balances, nothing is negative, cohorts add up."""

from __future__ import annotations

import numpy as np
from generated import scenarios
from how_many import few_or_many
from hypothesis import given, settings

import growth
from growth.engine import SERIES

SIGNED = {"net_cash", "cash"}


def balanced(left: np.ndarray, right: np.ndarray, *sizes: np.ndarray) -> None:
    """Equal to 1e-9 of the largest amount of the month: a month that loses all it had closes on a rounding, not on
    0."""
    scale = np.max(np.abs(np.stack([left, right, *sizes])), axis=0)
    out = np.abs(left - right) > 1e-9 * scale
    assert not out.any(), f"out of balance in months {np.flatnonzero(out) + 1}"


@settings(max_examples=few_or_many(80, 1000))
@given(scenarios())
def test_the_bridge_balances_in_every_month(mapping):
    f = growth.forecast(growth.Scenario(**mapping))
    gained = f.new_mrr + f.reactivation_mrr + f.expansion_mrr
    balanced(f.opening_mrr + gained - f.contraction_mrr - f.churned_mrr, f.closing_mrr, f.opening_mrr, gained)
    came = f.new_customers + f.returned_customers
    balanced(f.opening_customers + came - f.lost_customers, f.closing_customers, f.opening_customers, came)

    for first, key in ((f.opening_mrr[0], "mrr"), (f.opening_customers[0], "customers")):
        np.testing.assert_allclose(first, getattr(f.scenario.opening, key), rtol=1e-12)
    np.testing.assert_array_equal(f.opening_mrr[1:], f.closing_mrr[:-1])
    np.testing.assert_array_equal(f.opening_customers[1:], f.closing_customers[:-1])

    for name in SERIES:
        series = getattr(f, name)
        assert not np.isinf(series).any(), name
        if name not in SIGNED:
            assert np.nanmin(series, initial=0) >= 0, name
    assert np.nanmax(f.monthly_customer_churn_rate, initial=0) <= 1 + 1e-9
    assert (f.referred_sign_ups <= f.sign_ups * (1 + 1e-12)).all()

    for cohorts, closing in ((f.cohort_customers, f.closing_customers), (f.cohort_mrr, f.closing_mrr)):
        assert (cohorts >= 0).all()
        np.testing.assert_allclose(cohorts.sum(axis=1), closing, rtol=1e-9, atol=1e-12 * closing.max(initial=0))
        future = np.triu_indices(f.months, k=1)  # a cohort has nobody before its month
        assert not cohorts[:, -f.months :][future].any()


@settings(max_examples=few_or_many(40, 200))
@given(scenarios())
def test_what_is_paid_up_front_is_recognised_or_deferred(mapping):
    """Deferred revenue moves by cash in less revenue, but for what is lost or repriced between renewals: nothing is,
    since yearly plans change at renewals alone. Comebacks start a year that the month they return pays for."""
    f = growth.forecast(growth.Scenario(**mapping))
    moved = np.diff(f.deferred_revenue)
    balanced(
        moved,
        (f.cash_in - f.revenue)[1:],
        f.deferred_revenue[1:],
        f.deferred_revenue[:-1],
        f.cash_in[1:],
        f.closing_mrr[1:],
    )
