"""The engine against the naive simulation of `naive.py`, on every series and every cohort, over generated scenarios.

Tolerance: 1e-9 relative. Where nearly all of a cohort leaves, 1 - churn has few digits left in either computation,
and net cash is a small difference of large sums; so beside it stands 1e-12 of the largest number of customers, MRR or
cash of the forecast.
"""

from __future__ import annotations

from functools import cache

import naive
import numpy as np
import pytest
from generated import scenario_of
from how_many import few_or_many

import growth
from growth.engine import SERIES
from growth.measures import customer_retention, goal_month, net_revenue_retention

SCENARIOS = few_or_many(120, 600)
BATCHES = 6


@cache
def simulated(seed: int) -> dict:
    """The naive simulation of a seed's scenario, for both of the tests that look at it."""
    return naive.simulate(scenario_of(seed))


def assert_same(result: growth.Forecast, expected: dict, seed: int) -> None:
    largest = {unit: max(np.max(np.abs(expected[name])) for name in names) for unit, names in UNITS.items()}
    largest["cash"] *= len(expected["cash"])
    for name in (*naive.SERIES, "cohort_customers", "cohort_mrr"):
        got, want = np.asarray(getattr(result, name)), np.asarray(expected[name])
        assert got.shape == want.shape, f"{name}, seed {seed}"
        unit = next((unit for unit in UNITS if name.endswith(unit)), None)  # none: 1e-9 relative and nothing beside it
        floor = 1e-12 * largest[unit] if unit else 0.0
        np.testing.assert_allclose(got, want, rtol=1e-9, atol=floor, equal_nan=True, err_msg=f"{name}, seed {seed}")


UNITS = {
    "customers": ("opening_customers", "closing_customers"),
    "mrr": ("opening_mrr", "closing_mrr", "expansion_mrr"),
    "cash": ("cash_in", "payment_fees", "cost_to_serve", "fixed_costs", "acquisition_spend", "cash"),
}


@pytest.mark.parametrize("batch", range(BATCHES))
def test_every_series_and_cohort_agrees(batch):
    for seed in range(batch, SCENARIOS, BATCHES):
        assert_same(growth.forecast(scenario_of(seed)), simulated(seed), seed)


@pytest.mark.parametrize("batch", range(2))
def test_measures_that_can_be_read_off_the_naive_cohorts(batch):
    """NRR and customer retention: the cohorts on board a year before the end, at the end. Goal month: the first to
    reach it."""
    for seed in range(batch, few_or_many(40, 200), 2):
        scenario = scenario_of(seed)
        result, expected = growth.forecast(scenario), simulated(seed)
        over = min(12, scenario.months)
        start = scenario.months - over
        for measure, what in ((net_revenue_retention, "mrr"), (customer_retention, "customers")):
            then = [*expected[f"opening_{what}"], expected[f"closing_{what}"][-1]][start]
            there = sum(expected[f"cohort_{what}"][-1][:-over])
            value = measure(result, over=over).value
            assert value is None if then == 0 else value == pytest.approx(there / then, rel=1e-9, abs=1e-12), (
                f"{what}, seed {seed}"
            )
        if scenario.goal_mrr is not None:
            mrr = [expected["opening_mrr"][0], *expected["closing_mrr"]]
            assert goal_month(result).value == next(
                (month for month, each in enumerate(mrr) if each >= scenario.goal_mrr), None
            )


def test_both_know_the_same_series():
    assert list(naive.SERIES) == list(SERIES)


def features(scenario: growth.Scenario) -> dict[str, bool]:
    """Every feature of model.md, and whether the scenario's forecast depends on it."""
    plans, months, bill = scenario.pay.plans, scenario.months, scenario.bill
    channels, opening, grow = scenario.arrive.channels, scenario.opening, scenario.grow
    delayed, referring = scenario.pay.delay_shares[0] < 1, scenario.sign_up.monthly_referral_rate > 0
    curves = {(plan.churn or scenario.stay.churn).curve for plan in plans}
    changes = [change for change in grow.price_changes if change.month <= months]
    to_all = [change for change in changes if change.applies_to == "all"]
    yearly = [plan for plan in plans if plan.billing == "yearly"]

    def some(what, kind=None):
        return any(
            what(channel) for channel in channels if kind in (None, channel.kind) and channel.first_month <= months
        )

    return {
        "no channel": not channels,
        "several channels": len(channels) > 1,
        "steady growth": some(lambda c: c.monthly_growth_rate > 0, "steady"),
        "visitor ceiling": some(lambda c: c.visitor_ceiling is not None, "steady"),
        "content": some(lambda c: c.monthly_pieces > 0, "content"),
        "content with old pieces": some(lambda c: c.earlier_pieces * c.tail_monthly_visits > 0, "content"),
        "publishing that ends": some(lambda c: c.last_month is not None and c.last_month < months, "content"),
        "paid": some(lambda c: c.monthly_budget > 0, "paid"),
        "paid, dearer with the budget": some(lambda c: c.budget_that_doubles_cost is not None, "paid"),
        "paid, growing budget": some(lambda c: c.monthly_growth_rate > 0, "paid"),
        "season": some(lambda c: c.season is not None),
        "sign-ups as counted": some(lambda c: c.monthly_sign_ups > 0, "sign_ups"),
        "sign-ups with a ceiling": some(lambda c: c.sign_up_ceiling is not None, "sign_ups"),
        "customers as counted": some(lambda c: c.monthly_customers > 0, "customers"),
        "customers with a ceiling": some(lambda c: c.customer_ceiling is not None, "customers"),
        "launch": some(
            lambda c: any(0 < launch.visitors and launch.month <= months for launch in getattr(c, "launches", ()))
        ),
        "first month": some(lambda c: c.first_month > 1),
        "last month": some(lambda c: c.last_month is not None and c.last_month < months),
        "own sign-up rate": some(lambda c: getattr(c, "signup_rate", None) is not None),
        "own conversion": some(lambda c: getattr(c, "conversion_rate", None) is not None),
        "channel cost": some(lambda c: c.monthly_cost > 0),
        "warm start": delayed and some(lambda c: getattr(c, "running_before", False) and c.first_month == 1),
        "cold start": delayed and some(lambda c: not getattr(c, "running_before", True) and c.first_month == 1),
        "delay of more than a year": len(scenario.pay.delay_shares) > 12,
        "referrals": referring and opening.customers > 0,
        "referrals that pay late": referring and delayed and opening.customers > 0,
        "several plans": len(plans) > 1,
        "opening shares": len(plans) > 1 and plans[0].opening_share is not None and opening.customers > 0,
        "no opening customers": opening.customers == 0,
        "opening by mean age": opening.customers > 0 and bool(opening.mean_age_months),
        "opening ages of yearly plans not stated": opening.customers > 0
        and opening.ages is None
        and opening.mean_age_months is None
        and any(plan.billing == "yearly" for plan in scenario.pay.plans),
        "opening by ages": opening.customers > 0 and opening.ages is not None,
        "opening MRR, all plans free": opening.mrr > 0 and all(plan.price == 0 for plan in plans),
        "opening MRR not stated": opening.customers > 0 and "mrr" not in opening.model_fields_set,
        "a price for the year": any(plan.yearly_price for plan in plans),
        **{f"churn {curve}": curve in curves for curve in ("constant", "early_late", "sbg", "bdw", "measured")},
        "a plan's own churn": any(plan.churn for plan in plans),
        "yearly with renewal rate": months > 12 and any(plan.renewal_rate is not None for plan in yearly),
        "yearly by the curve": months > 12 and any(plan.renewal_rate is None for plan in yearly),
        "yearly beside monthly": 0 < len(yearly) < len(plans),
        "churn changes": any(
            change.from_month <= months and change.factor != 1 for change in scenario.stay.churn_changes
        ),
        "churn change of a year without a renewal rate": months > 12
        and any(plan.renewal_rate is None for plan in yearly)
        and any(change.from_month <= months and change.factor != 1 for change in scenario.stay.churn_changes),
        "comeback": scenario.stay.comeback is not None and scenario.stay.comeback.after_months < months,
        "expansion": grow.monthly_expansion_rate > 0,
        "contraction": grow.monthly_contraction_rate > 0,
        "growth up to an age": grow.monthly_expansion_rate > 0 and grow.last_age_months is not None,
        "yearly growth up to an age": bool(yearly)
        and grow.monthly_expansion_rate > 0
        and grow.last_age_months is not None,
        "price change for new": any(change.applies_to == "new" for change in changes),
        "price rise for all": any(change.change_rate > 0 for change in to_all),
        "price cut for all": any(change.change_rate < 0 for change in to_all),
        "price changes that meet": len(to_all) > 1,
        "price change of one plan": any(change.plan is not None for change in changes) and len(plans) > 1,
        "price change of a yearly plan": bool(yearly) and months > 12 and bool(to_all),
        "provoked churn": any(change.provoked_churn_rate > 0 for change in to_all),
        "fees": bill.payment_fee_rate > 0 and bill.fee_per_payment > 0,
        "cost to serve": bill.monthly_cost_to_serve > 0,
        "fixed costs": bill.monthly_fixed_costs > 0,
        "opening cash": bill.opening_cash != 0,
        "one month": months == 1,
        "ten years": months == 120,
    }


def test_the_generated_scenarios_use_every_feature():
    counts: dict[str, int] = {}
    for seed in range(SCENARIOS):
        for feature, used in features(scenario_of(seed)).items():
            counts[feature] = counts.get(feature, 0) + used
    rare = {feature: count for feature, count in counts.items() if count < 2}
    assert not rare
