"""Variances by chance: textbook laws, months worked by hand, and whole customers drawn one by one."""

from __future__ import annotations

import numpy as np
import pytest
from generated import scenario_of
from plain import NOBODY, business, plan
from whole_customers import CASES, draw

import growth

SERIES = ("new_customers", "lost_customers", "closing_customers", "new_mrr", "churned_mrr", "closing_mrr")


def test_opening_customers_are_binomial():
    # n S (1 - S) of a fixed number n (textbook binomial): 40 customers, 10% leave a month, each pays 29
    forecast = growth.forecast(business(months=3, arrive=NOBODY, opening={"customers": 40, "mrr": 40 * 29}))
    stay = 0.9 ** np.arange(1, 4)
    assert forecast.chance.closing_customers == pytest.approx(40 * stay * (1 - stay))
    assert forecast.chance.closing_mrr == pytest.approx(29**2 * 40 * stay * (1 - stay))
    # in month 2 each of the 40 is lost with the chance 0.9 x 0.1
    assert forecast.chance.lost_customers[1] == pytest.approx(40 * 0.09 * 0.91)


@pytest.mark.parametrize("churn", [0.1, {"curve": "sbg", "alpha": 1.2, "beta": 6.0}], ids=["constant", "falling"])
def test_later_joiners_are_poisson(churn):
    # a thinned Poisson process stays Poisson (the colouring theorem), whatever the lifetimes are (M/G/infinity)
    forecast = growth.forecast(business(months=24, churn=churn))
    assert forecast.chance.closing_customers == pytest.approx(forecast.closing_customers)
    assert forecast.chance.lost_customers == pytest.approx(forecast.lost_customers)
    assert forecast.chance.closing_mrr == pytest.approx(20**2 * forecast.closing_customers)


def test_what_customers_pay_counts_by_its_square():
    # ten a month, half on 20 and half on 80 a month: 5 x 400 + 5 x 6,400, and the same of those who stay in month 2
    two = {"plans": [plan(share=0.5), plan(name="b", share=0.5, monthly_price=80.0)]}
    chance = growth.forecast(business(months=2, pay=two)).chance
    assert chance.new_mrr == pytest.approx([34_000, 34_000])
    assert chance.closing_mrr == pytest.approx([34_000, 34_000 * 1.9])


def test_growth_of_what_customers_pay_widens_by_its_square():
    # ten join in month 1 and pay a twentieth more in month 2: 10 x 0.9 x 21^2, beside ten new ones at 20
    chance = growth.forecast(business(months=2, grow={"monthly_expansion_rate": 0.05})).chance
    assert chance.closing_mrr[1] == pytest.approx(9 * 21**2 + 10 * 20**2)


def test_a_yearly_plan_is_sure_until_it_renews():
    yearly = {"plans": [plan(billing="yearly", renewal_rate=0.8)]}
    opening = {"customers": 50, "mrr": 1000, "mean_age_months": 0}
    forecast = growth.forecast(business(months=13, pay=yearly, arrive=NOBODY, opening=opening))
    assert forecast.chance.closing_customers[:11].tolist() == [0.0] * 11
    assert forecast.chance.closing_customers[11:] == pytest.approx([50 * 0.8 * 0.2] * 2)


def fixed_opening(scenario: growth.Scenario) -> growth.Scenario:
    """With a hundred opening customers of one age, or none: whole numbers in every cohort."""
    values = scenario.model_dump()
    there = values["opening"]["customers"] > 0
    values["opening"] = {"customers": 100, "mrr": 2000, "ages": [{"age_months": 3, "customers": 1}]} if there else {}
    for part in values["pay"]["plans"]:
        part["opening_share"] = 1 / len(values["pay"]["plans"])
    return growth.Scenario(**values)


@pytest.mark.parametrize("name", CASES)
def test_whole_customers_scatter_as_the_variances_say(name):
    """20,000 runs: a standard deviation is known to 0.5% (1 / sqrt(2 runs)), the bound is 2% and, with referrals, whose
    variance is approximate, 4%."""
    scenario = fixed_opening(CASES[name])
    runs = draw(scenario, np.random.default_rng(2), fixed_opening=True)
    chance = growth.forecast(scenario).chance
    bound = 0.04 if scenario.sign_up.monthly_referral_rate else 0.02
    for series in SERIES:
        drawn, expected = runs[series].std(axis=1), np.sqrt(getattr(chance, series))
        assert expected == pytest.approx(drawn, rel=bound, abs=1e-9), series


def test_draws_have_the_variances_of_their_own_scenarios():
    rates = np.array([0.02, 0.04, 0.08])
    drawn = growth.forecast(
        business(
            months=6, opening={"customers": 40, "mrr": 800}, churn={"curve": "constant", "monthly_churn_rate": rates}
        )
    )
    for row, rate in enumerate(rates):
        one = growth.forecast(business(months=6, opening={"customers": 40, "mrr": 800}, churn=float(rate)))
        for series in SERIES:
            assert getattr(drawn.chance, series)[row] == pytest.approx(getattr(one.chance, series), rel=1e-12)


@pytest.mark.parametrize("seed", range(40))
def test_variances_are_finite_and_never_negative(seed):
    forecast = growth.forecast(scenario_of(seed))
    for series in SERIES:
        values = getattr(forecast.chance, series)
        assert values.shape == (forecast.months,)
        assert np.all(np.isfinite(values)) and np.all(values >= 0)
