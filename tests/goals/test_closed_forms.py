"""What it would take, against closed forms worked out by hand.

At constant churn, steady arrivals and one price, MRR after t months is M0 q^t + n p (1 - q^t) / (1 - q), with
q = 1 - churn and n new customers a month at the price p: a geometric sum.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

import growth
from growth.calculator.what_it_takes import takes_html
from growth.errors import MeasureError
from growth.goals import break_even_loss
from growth.goals.price import break_even_loss_of
from growth.uncertainty.mixture import mixture_of

CASES = [  # visitors, sign-up share, conversion, price, churn, customers today, months, goal
    (1000, 0.05, 0.2, 20, 0.05, 0, 24, 4000),
    (800, 0.04, 0.15, 29, 0.04, 40, 36, 5000),
    (300, 0.10, 0.10, 99, 0.02, 10, 60, 20_000),
]


def business(visitors, signing, paying, price, churn, aboard, months, **more):
    return growth.Scenario(
        business="Fernhollow", invented=True, months=months, opening={"customers": aboard, "mrr": aboard * price},
        arrive={"channels": [{"name": "search", "monthly_visitors": visitors}]}, sign_up={"signup_rate": signing},
        pay={"conversion_rate": paying, "plans": [{"name": "Studio", "monthly_price": price}]},
        stay={"churn": {"curve": "constant", "monthly_churn_rate": churn}}, **more,
    )  # fmt: skip


def factor(churn, months):
    """What one customer a month at a price of 1 adds up to: (1 - q^t) / (1 - q)."""
    return (1 - (1 - churn) ** months) / churn if churn else months


@pytest.mark.parametrize("case", CASES)
def test_each_lever_is_the_closed_form_solved_for_it(case):
    visitors, signing, paying, price, churn, aboard, months, goal = case
    found = {one.lever: one.nearest for one in growth.solve(business(*case[:-1]), goal=goal).solutions}
    stays = aboard * price * (1 - churn) ** months
    per_visitor = signing * paying * price * factor(churn, months)
    assert found["arrive.channels.0.monthly_visitors"] == pytest.approx((goal - stays) / per_visitor, rel=1e-9)
    ratio = (goal - stays) / (visitors * per_visitor)
    product = {"sign_up.signup_rate": signing, "pay.conversion_rate": paying, "pay.plans.0.monthly_price": price}
    for lever, value in product.items():
        now = ratio * value
        if lever.startswith("pay.plans") or now <= 1:
            assert found[lever] == pytest.approx(now, rel=1e-9), lever
        else:
            assert found[lever] is None, lever
    n = visitors * signing * paying

    def short(rate):
        return aboard * price * (1 - rate) ** months + n * price * factor(rate, months) - goal

    by_hand = brentq(short, 1e-12, churn, xtol=1e-15) if short(1e-12) > 0 else None
    assert found["stay.churn.monthly_churn_rate"] == (None if by_hand is None else pytest.approx(by_hand, rel=1e-6))


def test_what_no_value_reaches_says_how_far_it_comes():
    """With nobody leaving ten a month at 20 come to 24 x 200 = 4,800."""
    [churn] = growth.solve(business(*CASES[0][:-1]), goal=5000, lever="stay.churn.monthly_churn_rate").solutions
    assert not churn.reached and churn.best == 0 and churn.comes_to == pytest.approx(4800)


def test_customers_follow_little_s_law():
    """In the long run customers = arrivals x mean lifetime (Little, 1961): 300 at 5% leaving takes 15 a month."""
    long = business(1000, 0.05, 0.2, 20, 0.05, 0, 120)
    [joins] = growth.solve(long, goal=300, kind="customers", lever="arrive.channels.0.monthly_visitors").solutions
    share = 1 - 0.95**120  # of the level that is reached within ten years
    assert joins.nearest * 0.05 * 0.2 * share == pytest.approx(15, rel=1e-9)


def test_half_of_two_changes_is_forecast_and_not_assumed():
    scenario = business(*CASES[0][:-1])
    found = growth.solve(scenario, goal=4000)
    now = {one.lever: one for one in found.solutions}
    assert found.pairs
    for pair in found.pairs:
        values = scenario.model_dump(mode="json")
        for lever in pair:
            growth_half = (now[lever].now + now[lever].nearest) / 2
            *above, last = lever.split(".")
            part = values
            for step in above:
                part = part[int(step) if isinstance(part, list) else step]
            part[last] = growth_half
        assert growth.forecast(growth.Scenario(**values)).closing_mrr[-1] >= 4000 * (1 - 1e-9)


def test_elasticities_are_the_derivatives_of_the_closed_form():
    """d ln MRR / d ln visitors is 1 without opening customers; by churn c it is c f'(c) / f(c), f the geometric sum."""
    found = growth.levers(business(*CASES[0][:-1]), effort=1e-3).effects
    first, churn = found[0], next(one for one in found if one.levers[0].startswith("stay."))
    assert first.levers == (
        "arrive.channels.0.monthly_visitors", "sign_up.signup_rate", "pay.conversion_rate", "pay.plans.0.monthly_price",
    )  # fmt: skip
    assert first.share / 1e-3 == pytest.approx(1, rel=1e-9)
    h = 1e-6
    slope = (np.log(factor(0.05 * (1 - h), 24)) - np.log(factor(0.05 * (1 + h), 24))) / (2 * h)
    assert churn.share / 1e-3 == pytest.approx(slope, rel=2e-3)


def test_what_a_sign_up_and_a_visitor_are_worth():
    """Lifetime value p / c = 20 / 0.05 = 400, common practice without discount; a fifth of sign-ups pay, 5% sign up."""
    found = growth.levers(business(*CASES[0][:-1], bill={"monthly_discount_rate": 0}))
    assert found.sign_up == pytest.approx(80) and found.visitor == pytest.approx(4)
    four, five = (200 * factor(rate, 24) for rate in (0.04, 0.05))
    assert found.point_of_churn == pytest.approx(four - five)


def test_a_chance_asks_for_more_than_the_likely_path():
    unsure = business(1000, 0.05, {"low": 0.12, "likely": 0.2, "high": 0.3}, 20, 0.05, 0, 24)
    lever = "arrive.channels.0.monthly_visitors"
    [likely], [even], [sure] = (
        growth.solve(unsure, goal=4000, lever=lever, chance=chance).solutions for chance in (None, 0.5, 0.8)
    )
    assert likely.nearest == pytest.approx(even.nearest, rel=0.01)
    assert sure.nearest > 1.2 * likely.nearest
    values = unsure.model_dump(mode="json")
    values["arrive"]["channels"][0]["monthly_visitors"] = sure.nearest
    there = growth.Scenario(**values)
    assert growth.spread_of(there).above(4000)[-1] == pytest.approx(0.8, abs=1e-6)
    drawn = mixture_of(growth.forecast(growth.sample(there, draws=1024)))  # the judge of the quick method
    assert drawn.below(np.full(24, 4000.0))[-1] == pytest.approx(0.2, abs=0.03)


@pytest.mark.parametrize(
    ("given", "named"),
    [
        ({"goal": -1}, "goal"),
        ({"goal": 5, "kind": "profits"}, "kind"),
        ({"goal": 5, "by": 25}, "month"),
        ({"goal": 5, "chance": 1.5}, "chance"),
        ({"goal": 5, "lever": "stay.churn"}, "lever"),
        ({"goal": 5, "lever": "months"}, "lever"),
        ({}, "goal"),
    ],
)
def test_what_cannot_be_asked_is_said(given, named):
    with pytest.raises(MeasureError, match=f"^{named}"):
        growth.solve(business(*CASES[0][:-1]), **given)


def test_how_many_a_higher_price_may_cost():
    """dp / (p + dp), and dp / (p + dp - c) at cost c a customer: the break-even formula of pricing, from memory.

    By hand: 27 instead of 24 may lose 3 / 27, 1 in 9; at a cost of 3 a month 3 / 24. A tenth in fees counts against
    the price.
    """
    plain = business(100, 0.1, 0.1, 24, 0.05, 0, 12)
    assert break_even_loss_of(plain, effort=1 / 8) == pytest.approx(1 / 9)
    assert break_even_loss_of(
        business(100, 0.1, 0.1, 24, 0.05, 0, 12, bill={"monthly_cost_to_serve": 3}), effort=1 / 8
    ) == (pytest.approx(1 / 8))
    costly = business(100, 0.1, 0.1, 24, 0.05, 0, 12, bill={"payment_fee_rate": 0.1, "fee_per_payment": 0.3})
    assert break_even_loss_of(costly, effort=1 / 8) == pytest.approx(2.7 / (24.3 - 0.3))
    assert break_even_loss(20, 2, cost=30) is None


@pytest.mark.parametrize("lost", [0.0, 0.08, 0.12])
def test_the_forecast_agrees_on_what_a_higher_price_may_cost(lost):
    """A tenth more at a price of 20 may cost 2 / 22 = 9.1% of new customers: below that MRR gains, above it loses."""
    before, after = (
        growth.forecast(business(1000, 0.05, 0.2 * (1 - share), price, 0.05, 0, 24)).closing_mrr[-1]
        for share, price in ((0.0, 20), (lost, 22))
    )
    assert (after > before) == (lost < 2 / 22)


def test_each_number_is_moved_by_its_own_effort():
    """Without customers today MRR is n p x a constant: a fifth more visitors add a fifth, a tenth more of the price a
    tenth. Both are one lever only where they are moved by the same share."""
    easy = [{"of": "arrive.channels.search.monthly_visitors", "better_by": 0.2, "note": "two <posts> a week"}]
    ranked = growth.levers(business(*CASES[0][:-1], efforts=easy))
    first, product = ranked.effects[:2]
    assert (first.levers, first.effort) == (("arrive.channels.0.monthly_visitors",), 0.2)
    assert first.share == pytest.approx(0.2) and first.then == pytest.approx(1200)
    assert len(product.levers) == 3 and product.share == pytest.approx(0.1) and product.effort == ranked.effort
    assert "Visitors a month, 20% better" in takes_html(growth.forecast(business(*CASES[0][:-1], efforts=easy)))
    assert "Visitors a month, or" in takes_html(growth.forecast(business(*CASES[0][:-1])))
