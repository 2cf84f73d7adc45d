"""What is read off a forecast, worked by hand, and where there is nothing to read."""

import numpy as np
import pytest
from plain import NOBODY, business, plan

import growth
from growth import measures

CONSTANT = {"curve": "constant", "monthly_churn_rate": 0.1}
NO_CHURN = {"curve": "constant", "monthly_churn_rate": 0}


def measure(name, *, month=None, over=None, **parts):
    """One measure of a business worked by hand: its value and its reason."""
    asked = {key: value for key, value in (("month", month), ("over", over)) if value is not None}
    found = getattr(measures, name)(growth.forecast(business(**parts)), **asked)
    return found.value, found.reason


def value(name, **parts):
    found, reason = measure(name, **parts)
    assert reason == ""
    return found


# --- goal, quick ratio, acquisition cost ------------------------------------------------------------------------------


def test_the_month_a_goal_is_reached():
    # 200, 380, 542, ... and at the opening 0
    assert value("goal_month", goal_mrr=380) == 2
    assert value("goal_month", goal_mrr=380.01) == 3
    assert value("goal_month", goal_mrr=50, opening={"customers": 1, "mrr": 60}) == 0
    assert measure("goal_month", goal_mrr=600) == (None, "not within 3 months")
    assert measure("goal_month")[0] is None


def test_quick_ratio():
    # month 2 of example B: (200 + 9) / 20; months 1 to 2: (400 + 9) / 20
    grow = {"monthly_expansion_rate": 0.05}
    assert value("quick_ratio", month=2, grow=grow) == pytest.approx(209 / 20)
    assert value("quick_ratio", month=2, over=2, grow=grow) == pytest.approx(409 / 20)
    assert measure("quick_ratio", month=1) == (None, "nothing was lost")


def test_acquisition_cost_counts_new_customers_alone():
    # 10 new a month for 500; those who come back are not new
    parts = {
        "arrive": {"channels": [{"name": "all", "monthly_visitors": 10, "monthly_cost": 500}]},
        "opening": {"customers": 100, "mrr": 2000},
        "stay": {"comeback": {"comeback_rate": 1, "after_months": 1}},
    }
    assert value("customer_acquisition_cost", **parts) == pytest.approx(50)
    assert measure("customer_acquisition_cost", arrive=NOBODY)[0] is None


# --- retention --------------------------------------------------------------------------------------------------------


def test_retention_of_a_year():
    # twelve months of 0.9 x (1 + 0.05 - 0.02), gross 0.9 x (1 - 0.02); new customers do not count
    grow = {"monthly_expansion_rate": 0.05, "monthly_contraction_rate": 0.02}
    parts = {"months": 20, "opening": {"customers": 7, "mrr": 70}, "grow": grow}
    assert value("net_revenue_retention", **parts) == pytest.approx((0.9 * 1.03) ** 12)
    assert value("gross_revenue_retention", **parts) == pytest.approx((0.9 * 0.98) ** 12)
    assert value("customer_retention", **parts) == pytest.approx(0.9**12)
    assert value("customer_retention", month=5, over=3, **parts) == pytest.approx(0.9**3)


def test_gross_retention_counts_price_cuts_and_not_rises():
    changes = [
        {"month": 1, "change_rate": 0.5, "applies_to": "all"},
        {"month": 2, "change_rate": -0.2, "applies_to": "all"},
    ]
    parts = {"months": 2, "churn": 0, "opening": {"customers": 1, "mrr": 100}, "grow": {"price_changes": changes}}
    assert value("net_revenue_retention", over=2, **parts) == pytest.approx(1.5 * 0.8)
    assert value("gross_revenue_retention", over=2, **parts) == pytest.approx(0.8)


def test_who_left_and_came_back_within_the_year_is_lost():
    comeback = {"comeback": {"comeback_rate": 1, "after_months": 1}}
    parts = {"months": 2, "arrive": NOBODY, "opening": {"customers": 100, "mrr": 2000}, "stay": comeback}
    assert value("customer_retention", over=2, **parts) == pytest.approx(0.81)


def test_retention_of_nobody_is_undefined():
    for name in ("net_revenue_retention", "gross_revenue_retention", "customer_retention"):
        found, reason = measure(name, month=3, over=3)
        assert found is None and reason
    free = {"opening": {"customers": 5, "mrr": 0}}
    assert measure("net_revenue_retention", over=3, **free)[0] is None
    assert value("customer_retention", over=3, **free) == pytest.approx(0.9**3)


@pytest.mark.parametrize(("month", "over"), [(4, 1), (0, 1), (3, 4), (3, 0), (2.5, 1)])
def test_a_month_that_is_not_there(month, over):
    with pytest.raises(growth.MeasureError):
        measures.net_revenue_retention(growth.forecast(business()), month=month, over=over)


# --- lifetime value and payback ---------------------------------------------------------------------------------------


def test_lifetime_value_of_a_yearly_plan():
    """Without discount: 0.8 renew, so 1 / (1 - 0.8) = 5 years are paid, of 12 x 20 each, at 5% fee and 6 a payment; 2
    a month to serve. One payment a year."""
    bill = {"payment_fee_rate": 0.05, "fee_per_payment": 6, "monthly_cost_to_serve": 2, "monthly_discount_rate": 0}
    parts = {"pay": {"plans": [plan(billing="yearly", renewal_rate=0.8)]}, "bill": bill}
    assert value("lifetime_value", **parts) == pytest.approx(5 * (240 * 0.95 - 6 - 24), rel=1e-9)


def test_lifetime_value_follows_churn_changes_and_prices_of_the_month_joined():
    # p (1 + i) / (i + c): months 1 and 2 with churn 0.1 and price 20, month 3 with 0.05 and 30
    parts = {
        "bill": {"monthly_discount_rate": 0.01},
        "stay": {"churn_changes": [{"from_month": 3, "factor": 0.5}]},
        "grow": {"price_changes": [{"month": 3, "change_rate": 0.5}]},
    }
    assert value("lifetime_value", month=1, **parts) == pytest.approx(20 * 1.01 / 0.11, rel=1e-9)
    assert value("lifetime_value", month=3, **parts) == pytest.approx(30 * 1.01 / 0.06, rel=1e-9)


def test_lifetime_value_weighs_plans_by_their_share():
    plans = [
        plan(share=0.25),
        plan(name="b", share=0.75, monthly_price=40, churn={**CONSTANT, "monthly_churn_rate": 0.5}),
    ]
    parts = {"pay": {"plans": plans}, "bill": {"monthly_discount_rate": 0}}
    assert value("lifetime_value", **parts) == pytest.approx(0.25 * 20 / 0.1 + 0.75 * 40 / 0.5, rel=1e-9)


def test_lifetime_value_without_limit():
    parts = {"churn": 0.01, "grow": {"monthly_expansion_rate": 0.05}, "bill": {"monthly_discount_rate": 0.01}}
    found, reason = measure("lifetime_value", **parts)
    assert found is None and reason


def test_payback():
    # costs 50 each; 20, 38, 54.2 after one, two, three months. At 7.20 a month: 72 in all, 50 passed with 72 (1 -
    # 0.9^n): n = ln(1 - 50/72) / ln 0.9 = 11.3. At 5 a month never.
    def paid_back(price, cost=500):
        channel = {"name": "all", "monthly_visitors": 10, "monthly_cost": cost}
        return measure("payback_months", arrive={"channels": [channel]}, pay={"plans": [plan(monthly_price=price)]})

    assert paid_back(20) == (3, "")
    assert paid_back(7.2) == (12, "")
    assert paid_back(5)[0] is None  # 50 in the limit
    assert paid_back(20, cost=0) == (0, "")
    assert measure("payback_months", arrive=NOBODY)[0] is None


# --- cash -------------------------------------------------------------------------------------------------------------


def test_lowest_cash_and_break_even():
    # MRR 200, 400, 600, 800 against 500 fixed: -300, -100, +100, +300 on 1,000
    parts = {"months": 4, "churn": 0, "bill": {"monthly_fixed_costs": 500, "opening_cash": 1000}}
    assert value("lowest_cash", **parts) == pytest.approx(600)
    assert value("lowest_cash_month", **parts) == 2
    assert value("break_even_month", **parts) == 3
    assert measure("break_even_month", **{**parts, "months": 2}) == (None, "not within 2 months")
    rich = {**parts, "bill": {"opening_cash": 1000}}
    assert (value("lowest_cash", **rich), value("lowest_cash_month", **rich), value("break_even_month", **rich)) == (
        1000,
        0,
        1,
    )


# --- ceiling ----------------------------------------------------------------------------------------------------------


def test_the_ceiling_of_a_seasonal_channel_is_that_of_its_mean():
    channel = {"name": "all", "monthly_visitors": 10, "season": [0, 2] * 6}
    assert value("customer_ceiling", months=13, arrive={"channels": [channel]}) == pytest.approx(100, rel=1e-9)


def test_the_ceiling_is_that_of_the_last_month_s_newcomers_prices_and_churn():
    """10, 20, 40 join; in month 3 the price is 20 x 1.5 and churn 0.1 x 2: 40 x 30 / 0.2."""
    doubling = {"channels": [{"name": "all", "monthly_visitors": 10, "monthly_growth_rate": 1}]}
    dearer = {"price_changes": [{"month": 3, "change_rate": 0.5, "applies_to": "new"}]}
    worse = {"churn_changes": [{"from_month": 3, "factor": 2}]}
    assert value("growth_ceiling", arrive=doubling, grow=dearer, stay=worse) == pytest.approx(6000, rel=1e-9)


def test_the_ceiling_with_referrals_and_comebacks():
    """Referrals: n / (c - r) = 10 / (0.1 - 0.05). Comebacks of a share b: each who leaves comes back b times as
    often, so the mean stay is 1 / (c (1 - b)) months."""
    assert value("customer_ceiling", sign_up={"signup_rate": 1, "monthly_referral_rate": 0.05}) == pytest.approx(
        200, rel=1e-9
    )
    comeback = {"comeback": {"comeback_rate": 0.5, "after_months": 3}}
    assert value("customer_ceiling", stay=comeback) == pytest.approx(200, rel=1e-9)


@pytest.mark.parametrize("churn", [0.4, 0.46, 0.5, 0.55, 0.9, 1.0])
def test_the_ceiling_where_hardly_anyone_stays(churn):
    assert value("customer_ceiling", churn=churn) == pytest.approx(10 / churn, rel=1e-9)
    growing = value("growth_ceiling", churn=churn, grow={"monthly_expansion_rate": 0.05})
    assert growing == pytest.approx(200 / (1 - (1 - churn) * 1.05), rel=1e-9)


def test_a_season_of_ones_changes_no_ceiling():
    """It moves no month's MRR, so it may not move the ceiling either, however the channel grows."""
    channel = {"name": "all", "monthly_visitors": 10, "monthly_growth_rate": 0.1}
    tiny = {"name": "tiny", "monthly_visitors": 0.001}
    plain, flat = (
        value("growth_ceiling", months=24, arrive={"channels": [{**channel, **season}, {**tiny, **season}]})
        for season in ({}, {"season": [1.0] * 12})
    )
    assert flat == pytest.approx(plain, rel=1e-12)


def test_the_ceiling_of_churn_that_falls_with_age_has_a_closed_form():
    """sBG: a mean lifetime of (alpha + beta - 1) / (alpha - 1), by summing S(a) = B(alpha, beta + a) / B(alpha, beta).
    A factor f on churn makes it the sBG of f alpha and alpha + beta - f alpha."""
    sbg = {"curve": "sbg", "alpha": 3, "beta": 400}
    assert value("customer_ceiling", churn=sbg) == pytest.approx(10 * 402 / 2, rel=1e-9)
    half = {"churn_changes": [{"from_month": 1, "factor": 0.5}]}
    assert value("customer_ceiling", stay={"churn": sbg, **half}) == pytest.approx(10 * 402 / 0.5, rel=1e-9)
    bdw = {**sbg, "curve": "bdw", "shape": 1}
    assert value("customer_ceiling", churn=bdw) == pytest.approx(10 * 402 / 2, rel=1e-9)
    # a year's survivors of sBG(3, 400): (402 x 401 x 400) / ((a + 402) (a + 401) (a + 400)) at ages a = 0, 12, 24, ...,
    # twelve months each; the rest of the sum from a on is about 402 x 401 x 400 / (2 (a + 395)^2)
    ages = np.arange(0, 1_200_000, 12.0)
    years = 402 * 401 * 400 / ((ages + 402) * (ages + 401) * (ages + 400))
    expected = 10 * (12 * years.sum() + 402 * 401 * 400 / (2 * (1_200_000 + 395.0) ** 2))
    yearly = {"plans": [plan(billing="yearly")]}
    assert value("customer_ceiling", churn=sbg, pay=yearly) == pytest.approx(expected, rel=1e-6)


def test_who_never_leaves_stays_in_the_ceiling():
    """A plan that nobody chooses any more, and whose forty customers stay: theirs, and the other's level."""
    plans = [plan(name="new", opening_share=0), plan(name="old", share=0, opening_share=1, churn=NO_CHURN)]
    parts = {"pay": {"conversion_rate": 1, "plans": plans}, "opening": {"customers": 40, "mrr": 800}}
    assert value("growth_ceiling", **parts) == pytest.approx(2000 + 800, rel=1e-9)
    assert value("growth_ceiling", churn=0, arrive=NOBODY, opening={"customers": 40, "mrr": 800}) == 800
    # one that costs nothing brings customers without end, and no MRR
    free = {"plans": [plan(monthly_price=0)]}
    assert value("growth_ceiling", churn=0, pay=free, opening={"customers": 40, "mrr": 800}) == 800
    assert measure("customer_ceiling", churn=0, pay=free)[0] is None


@pytest.mark.parametrize(
    ("parts", "code"),
    [
        ({"churn": 0}, "nobody_leaves"),
        ({"churn": 0, "grow": {"monthly_expansion_rate": 0.03}}, "expansion_without_churn"),
        ({"churn": 0.02, "grow": {"monthly_expansion_rate": 0.03}}, "expansion_outruns_churn"),
        ({"churn": {"curve": "sbg", "alpha": 0.5, "beta": 10}}, "loyal_stay"),
        ({"churn": {"curve": "sbg", "alpha": 1, "beta": 10}}, "loyal_stay"),
        # customers settle, their MRR does not: churn falls below any expansion in the end
        (
            {"churn": {"curve": "sbg", "alpha": 1.2, "beta": 5}, "grow": {"monthly_expansion_rate": 0.0009}},
            "loyal_stay",
        ),
        # 0.9995^1200 = 0.55: the MRR of the loyal fades, but after more than a hundred years
        (
            {"churn": {"curve": "sbg", "alpha": 0.5, "beta": 10}, "grow": {"monthly_contraction_rate": 0.0005}},
            "not_known",
        ),
        (
            {"churn": {"curve": "measured", "survival": (0.9, 0.8), "tail_monthly_churn_rate": 0}},
            "some_never_leave",
        ),
        ({"stay": {"comeback": {"comeback_rate": 1, "after_months": 1}}}, "comebacks_make_up"),
        ({"sign_up": {"signup_rate": 1, "monthly_referral_rate": 0.1}}, "referrals_make_up"),
        ({"arrive": NOBODY, "stay": {"comeback": {"comeback_rate": 1, "after_months": 1}}}, "all_come_back"),
        ({"arrive": NOBODY, "sign_up": {"signup_rate": 1, "monthly_referral_rate": 0.1}}, "referrals_hold"),
    ],
)
def test_why_there_is_no_ceiling(parts, code):
    found = measures.growth_ceiling(growth.forecast(business(opening={"customers": 40, "mrr": 800}, **parts)))
    assert (found.value, found.code) == (None, code)


def test_without_anyone_new_the_ceiling_is_nothing():
    assert value("growth_ceiling", arrive=NOBODY, opening={"customers": 50, "mrr": 900}) == 0
