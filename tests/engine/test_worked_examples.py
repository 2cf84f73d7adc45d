"""The model worked by hand: the examples A, B and C, then one small example for each feature, its working beside it."""

import numpy as np
import pytest
from plain import NOBODY, business, plan

import growth
from growth.measures import customer_ceiling, growth_ceiling


def months(values):
    """Equal to these months, to the rounding of doubles."""
    return pytest.approx(values, rel=1e-12, abs=1e-12)


def forecast(**parts):
    return growth.forecast(business(**parts))


def channel(**fields):
    return {"arrive": {"channels": [{"name": "all", **fields}]}}


# --- examples A, B, C -------------------------------------------------------------------------------------------------


def test_example_a_constant_churn():
    result = forecast()  # price 20, 10 new a month, churn 10%
    assert list(result.closing_customers) == months([10, 19, 27.1])  # 10; 9 + 10; 8.1 + 9 + 10
    assert list(result.closing_mrr) == months([200, 380, 542])
    assert list(result.new_mrr) == months([200, 200, 200])
    assert list(result.churned_mrr) == months([0, 20, 38])
    assert list(result.arpa) == months([20, 20, 20])
    assert list(result.arr) == months([2400, 4560, 6504])
    assert list(result.monthly_customer_churn_rate)[1:] == months([0.1, 0.1])
    assert np.isnan(result.monthly_customer_churn_rate[0])  # nobody was on board
    assert customer_ceiling(result).value == pytest.approx(100, rel=1e-9)  # 10 / 0.10
    assert growth_ceiling(result).value == pytest.approx(2000, rel=1e-9)


def test_example_b_expansion():
    result = forecast(grow={"monthly_expansion_rate": 0.05})
    assert list(result.churned_mrr) == months([0, 20, 38.90])
    assert list(result.expansion_mrr) == months([0, 9.00, 17.505])  # 180 x 5%; (389 - 38.90) x 5%
    assert list(result.closing_mrr) == months([200, 389, 567.605])
    assert result.cohort_mrr[2, 1] == pytest.approx(178.605)  # 200 x (0.9 x 1.05)^2
    assert growth_ceiling(result).value == pytest.approx(200 / (1 - 0.9 * 1.05), rel=1e-9)
    assert list(result.monthly_gross_revenue_churn_rate)[1:] == months([0.1, 0.1])


def test_example_c_yearly_plan():
    result = forecast(
        months=24,
        arrive={"channels": [{"name": "all", "monthly_visitors": 1, "last_month": 1, "monthly_cost": 7}]},
        pay={"plans": [plan(monthly_price=100, billing="yearly", renewal_rate=0.8)]},
    )
    assert list(result.closing_mrr) == months([100] * 12 + [80] * 12)
    assert list(result.cash_in) == months([1200] + [0] * 11 + [960] + [0] * 11)
    assert list(result.revenue) == months([100] * 12 + [80] * 12)
    # 1,100 at the close of month 1, 0 at that of month 12
    assert list(result.deferred_revenue[:12]) == months([1100 - 100 * m for m in range(12)])
    assert list(result.deferred_revenue[12:]) == months([880 - 80 * m for m in range(12)])
    assert list(result.payments) == months([1] + [0] * 11 + [0.8] + [0] * 11)
    assert list(result.acquisition_spend) == months([7] + [0] * 23)


# --- arrive -----------------------------------------------------------------------------------------------------------


def test_content_pieces_fade_to_a_tail_and_outlive_the_publishing():
    # a piece draws 100, then 20 + 80 x 0.5 = 60, then 20 + 80 x 0.25 = 40; three old pieces draw 3 x 20 = 60
    content = dict(
        kind="content", monthly_pieces=2, peak_monthly_visits=100, tail_monthly_visits=20, monthly_fade_rate=0.5
    )
    result = forecast(**channel(**content, earlier_pieces=3, last_month=2))
    assert list(result.visitors) == months([2 * 100 + 60, 2 * (100 + 60) + 60, 2 * (60 + 40) + 60])


def test_content_starts_with_its_first_month():
    content = dict(
        kind="content", monthly_pieces=2, peak_monthly_visits=100, tail_monthly_visits=20, monthly_fade_rate=0.5
    )
    result = forecast(**channel(**content, earlier_pieces=3, first_month=2))
    assert list(result.visitors) == months([0, 2 * 100 + 60, 2 * (100 + 60) + 60])


def test_paid_visits_grow_dearer_with_the_budget():
    # 1,000 / (2 x (1 + 1,000/1,000)) = 250; 1,100 / (2 x 2.1)
    paid = dict(
        kind="paid", monthly_budget=1000, monthly_growth_rate=0.1, cost_per_visit=2, last_month=2, monthly_cost=50
    )
    result = forecast(**channel(**paid, budget_that_doubles_cost=1000))
    assert list(result.visitors) == months([250, 1100 / 4.2, 0])
    assert list(result.acquisition_spend) == months([1050, 1150, 0])
    assert list(forecast(**channel(**paid)).visitors) == months([500, 550, 0])


def test_a_ceiling_bends_growth():
    # 200 / (1 + (200/100 - 1) 2^-n): 200/2, 200/1.5, 200/1.25
    result = forecast(**channel(monthly_visitors=100, monthly_growth_rate=1, visitor_ceiling=200))
    assert list(result.visitors) == months([100, 200 / 1.5, 160])


def test_growth_counts_from_the_first_month():
    result = forecast(months=5, **channel(monthly_visitors=100, monthly_growth_rate=0.1, first_month=2, last_month=4))
    assert list(result.visitors) == months([0, 100, 110, 121, 0])


def test_a_launch_fades_and_needs_no_active_channel():
    launch = {"month": 2, "visitors": 100, "monthly_fade_rate": 0.75}
    result = forecast(months=4, **channel(monthly_visitors=10, first_month=3, launches=[launch]))
    assert list(result.visitors) == months([0, 100, 25 + 10, 6.25 + 10])
    assert list(result.acquisition_spend) == months([0, 0, 0, 0])


def test_the_season_follows_the_calendar_and_leaves_launches_alone():
    season = [0.5] + [1] * 9 + [2, 3]  # January a half, November twice, December three times
    launch = {"month": 2, "visitors": 100, "monthly_fade_rate": 1}
    result = forecast(first_month="2027-11", **channel(monthly_visitors=10, season=season, launches=[launch]))
    assert list(result.visitors) == months([20, 30 + 100, 5])


def test_a_channel_has_its_own_rates():
    two = [
        {"name": "a", "monthly_visitors": 100, "signup_rate": 0.5, "conversion_rate": 0.2},  # 50 sign-ups, 10 customers
        {"name": "b", "monthly_visitors": 100},  # 10 sign-ups, 4 customers
    ]
    result = forecast(arrive={"channels": two}, sign_up={"signup_rate": 0.1}, pay={"conversion_rate": 0.4})
    assert list(result.sign_ups) == months([60, 60, 60])
    assert list(result.new_customers) == months([14, 14, 14])


# --- try and pay ------------------------------------------------------------------------------------------------------

DELAY = {"delay_shares": [0.5, 0.3, 0.2]}


def test_a_running_channel_starts_warm():
    # sign-ups 10, 20, 40, and 10 in each month before
    result = forecast(**channel(monthly_visitors=10, monthly_growth_rate=1), pay=DELAY)
    assert list(result.new_customers) == months([10, 0.5 * 20 + 0.5 * 10, 0.5 * 40 + 0.3 * 20 + 0.2 * 10])


def test_a_new_channel_starts_cold():
    result = forecast(**channel(monthly_visitors=10, monthly_growth_rate=1, running_before=False), pay=DELAY)
    assert list(result.new_customers) == months([5, 10 + 3, 20 + 6 + 2])
    later = forecast(**channel(monthly_visitors=10, first_month=2), pay=DELAY)
    assert list(later.new_customers) == months([0, 5, 5 + 3])


def test_launches_do_not_warm_a_channel_but_seasons_do():
    launch = {"month": 1, "visitors": 100, "monthly_fade_rate": 1}
    fields = dict(monthly_visitors=10, season=[2] + [1] * 11, launches=[launch])
    result = forecast(**channel(**fields), pay={"delay_shares": [0, 1]})
    assert list(result.new_customers) == months([20, 120, 10])  # before: 10 x 2; then January's 20 + 100


def test_referrals_compound():
    # opening 100, churn 10%, each customer sends 0.1: 100 - 10 + 10 + 10 = 110; 110 - 11 + 10 + 11 = 120
    opening = {"customers": 100, "mrr": 2000}
    result = forecast(months=2, opening=opening, sign_up={"monthly_referral_rate": 0.1})
    assert list(result.referred_sign_ups) == months([10, 11])
    assert list(result.sign_ups) == months([20, 21])
    assert list(result.closing_customers) == months([110, 120])


def test_referrals_start_warm():
    # paid a month later: month 1 has the referrals of month 0, taken at month 1's level 10; month 2 those of month 1
    opening = {"customers": 100, "mrr": 2000}
    result = forecast(months=3, opening=opening, sign_up={"monthly_referral_rate": 0.1}, pay={"delay_shares": [0, 1]})
    assert list(result.new_customers) == months([20, 20, 10 + 11])
    assert list(result.closing_customers) == months([110, 119, 119 * 0.9 + 21])


def test_new_customers_split_over_plans():
    plans = [plan(name="small", share=0.75), plan(name="large", share=0.25, monthly_price=100)]
    result = forecast(pay={"plans": plans})
    assert list(result.new_mrr) == months([7.5 * 20 + 2.5 * 100] * 3)
    assert list(result.arpa) == months([40] * 3)


# --- opening ----------------------------------------------------------------------------------------------------------


def test_opening_mrr_is_split_by_what_plans_cost():
    # 80 small ones at 20 and 20 large ones at 80 stand for 1,600 each: half of the 4,000 paid. All the large ones
    # leave.
    never, all_leave = ({"curve": "constant", "monthly_churn_rate": rate} for rate in (0, 1))
    plans = [
        plan(name="small", share=1, opening_share=0.8, churn=never),
        plan(name="large", share=0, opening_share=0.2, monthly_price=80, churn=all_leave),
    ]
    result = forecast(arrive=NOBODY, opening={"customers": 100, "mrr": 4000}, pay={"plans": plans})
    assert list(result.lost_customers) == months([20, 0, 0])
    assert list(result.churned_mrr) == months([2000, 0, 0])
    assert list(result.closing_mrr) == months([2000] * 3)


def test_opening_customers_go_on_from_the_age_they_have():
    # of 100, a quarter are of age 0 and lose half in month 1; the others are past that and lose a tenth
    curve = {"curve": "early_late", "early_monthly_churn_rate": 0.5, "late_monthly_churn_rate": 0.1, "early_months": 1}
    ages = [{"age_months": 0, "customers": 1}, {"age_months": 5, "customers": 3}]
    result = forecast(months=2, churn=curve, arrive=NOBODY, opening={"customers": 100, "mrr": 1000, "ages": ages})
    assert list(result.lost_customers) == months([12.5 + 7.5, 1.25 + 6.75])
    assert list(result.churned_mrr) == months([200, 80])
    assert result.cohort_customers.tolist() == [
        months([67.5, 0, 0, 0, 0, 12.5, 0, 0]),  # joined in months -5 .. 0, then 1 and 2
        months([60.75, 0, 0, 0, 0, 11.25, 0, 0]),
    ]


def test_a_mean_age_spreads_opening_customers_evenly():
    # mean age 1: a third each of ages 0, 1, 2; only those who reach age 1 lose half
    curve = {"curve": "early_late", "early_monthly_churn_rate": 0.5, "late_monthly_churn_rate": 0, "early_months": 1}
    result = forecast(churn=curve, arrive=NOBODY, opening={"customers": 30, "mrr": 300, "mean_age_months": 1})
    assert list(result.lost_customers) == months([5, 0, 0])


# --- stay -------------------------------------------------------------------------------------------------------------


def survivors(churn, months=4, **parts):
    """A hundred customers of age 0, and nobody new."""
    opening = {"customers": 100, "mrr": 2000, "mean_age_months": 0}
    return forecast(months=months, churn=churn, arrive=NOBODY, opening=opening, **parts)


def test_churn_early_then_late():
    curve = {"curve": "early_late", "early_monthly_churn_rate": 0.5, "late_monthly_churn_rate": 0.1, "early_months": 2}
    assert list(survivors(curve).closing_customers) == months([50, 25, 22.5, 20.25])


def test_churn_of_mixed_customers_falls():
    # alpha 1, beta 1: leaving shares 1/2, 1/3, 1/4, 1/5, so that 1/2, 1/3, 1/4, 1/5 stay
    result = survivors({"curve": "sbg", "alpha": 1, "beta": 1})
    assert list(result.closing_customers) == months([50, 100 / 3, 25, 20])


def test_a_measured_curve_and_its_tail():
    result = survivors({"curve": "measured", "survival": [0.8, 0.6], "tail_monthly_churn_rate": 0.5})
    assert list(result.closing_customers) == months([80, 60, 30, 15])
    gone = survivors({"curve": "measured", "survival": [0.8, 0, 0], "tail_monthly_churn_rate": 0.5})
    assert list(gone.closing_customers) == months([80, 0, 0, 0])


def test_churn_is_scaled_from_a_month_on():
    result = survivors(0.1, stay={"churn_changes": [{"from_month": 3, "factor": 0.5}, {"from_month": 4, "factor": 4}]})
    assert list(result.closing_customers) == months([90, 81, 81 * 0.95, 81 * 0.95 * 0.8])
    assert list(survivors(0.5, stay={"churn_changes": [{"from_month": 2, "factor": 5}]}).closing_customers) == months(
        [50, 0, 0, 0]  # 2.5 times everyone is everyone
    )


def test_a_yearly_plan_loses_a_year_of_churn_at_its_renewal():
    result = survivors(0.1, months=13, pay={"plans": [plan(billing="yearly")]})
    assert list(result.closing_customers) == months([100] * 11 + [100 * 0.9**12] * 2)


def test_some_of_those_who_left_come_back():
    # lost 10, 9, 8.1, ...; half of month 1's come back in month 3 and are then as likely to leave as the others
    result = survivors(0.1, stay={"comeback": {"comeback_rate": 0.5, "after_months": 2}})
    assert list(result.returned_customers) == months([0, 0, 5, 4.5])
    assert list(result.lost_customers) == months([10, 9, 8.1, 7.79])
    assert list(result.closing_customers) == months([90, 81, 77.9, 77.9 - 7.79 + 4.5])
    assert list(result.reactivation_mrr) == months([0, 0, 100, 90])
    assert result.cohort_customers[3].tolist() == months([65.61, 0, 0, 4.5, 4.5])


# --- grow -------------------------------------------------------------------------------------------------------------


def test_expansion_and_contraction_stop_at_an_age():
    # 200 + 20 - 10 = 210 at age 1, and so it stays
    grow = {"monthly_expansion_rate": 0.1, "monthly_contraction_rate": 0.05, "last_age_months": 1}
    result = forecast(churn=0, grow=grow)
    assert list(result.closing_mrr) == months([200, 410, 620])
    assert list(result.expansion_mrr) == months([0, 20, 20])
    assert list(result.contraction_mrr) == months([0, 10, 10])


def test_a_yearly_plan_grows_at_its_renewal():
    # six of the twelve months count: 1.01^6 - 1 more, 1 - 0.98^6 less, in month 12; none in month 24
    grow = {"monthly_expansion_rate": 0.01, "monthly_contraction_rate": 0.02, "last_age_months": 6}
    result = survivors(0, months=24, grow=grow, pay={"plans": [plan(billing="yearly")]})
    more, less = 2000 * (1.01**6 - 1), 2000 * (1 - 0.98**6)
    assert list(result.expansion_mrr) == months([0] * 11 + [more] + [0] * 12)
    assert list(result.contraction_mrr) == months([0] * 11 + [less] + [0] * 12)


def test_a_price_change_for_new_customers():
    result = forecast(churn=0, grow={"price_changes": [{"month": 2, "change_rate": 0.5}]})
    assert list(result.closing_mrr) == months([200, 200 + 300, 500 + 300])
    assert list(result.expansion_mrr) == months([0, 0, 0])


def test_a_price_change_for_all_and_the_churn_it_provokes():
    # month 2: 2 of 10 leave (40 of 200); 160 becomes 240; ten join at 30
    change = {"month": 2, "change_rate": 0.5, "applies_to": "all", "provoked_churn_rate": 0.2}
    result = forecast(churn=0, grow={"price_changes": [change]})
    assert list(result.churned_mrr) == months([0, 40, 0])
    assert list(result.expansion_mrr) == months([0, 80, 0])
    assert list(result.closing_mrr) == months([200, 240 + 300, 540 + 300])
    assert list(result.closing_customers) == months([10, 18, 28])
    # with churn of 10%: 1 - 0.9 x 0.8 = 28% leave
    assert forecast(grow={"price_changes": [change]}).lost_customers[1] == pytest.approx(2.8)


def test_a_price_cut_for_all_counts_as_contraction():
    result = forecast(churn=0, grow={"price_changes": [{"month": 2, "change_rate": -0.25, "applies_to": "all"}]})
    assert list(result.contraction_mrr) == months([0, 50, 0])
    assert list(result.closing_mrr) == months([200, 150 + 150, 450])


def test_price_changes_in_one_month_multiply_and_follow_growth():
    # 200 stay and expand by 10% to 220; then 1.5 x 1.2 = 1.8: 176 more
    changes = [{"month": 2, "change_rate": rate, "applies_to": "all"} for rate in (0.5, 0.2)]
    result = forecast(months=2, churn=0, grow={"monthly_expansion_rate": 0.1, "price_changes": changes})
    assert list(result.expansion_mrr) == months([0, 20 + 176])
    assert list(result.new_mrr) == months([200, 360])


def test_a_price_change_may_name_its_plan():
    plans = [plan(share=0.5), plan(name="two", share=0.5)]
    change = {"month": 2, "change_rate": 1, "applies_to": "all", "plan": "two"}
    result = forecast(months=2, churn=0, pay={"plans": plans}, grow={"price_changes": [change]})
    assert list(result.closing_mrr) == months([200, 100 + 200 + 100 + 200])


def test_a_yearly_plan_meets_a_price_change_at_its_renewal():
    # the opening customers are ten months old; they renew in months 2 and 14. Month 1's change meets them in month 2
    # once; who joins in month 1 pays the new price and meets no rise in month 13.
    change = {"month": 1, "change_rate": 0.1, "applies_to": "all", "provoked_churn_rate": 0.25}
    result = forecast(
        months=15,
        churn=0,
        arrive={"channels": [{"name": "all", "monthly_visitors": 1, "last_month": 1}]},
        opening={"customers": 8, "mrr": 160, "ages": [{"age_months": 10, "customers": 1}]},
        pay={"plans": [plan(billing="yearly")]},
        grow={"price_changes": [change]},
    )
    assert list(result.new_mrr) == months([22] + [0] * 14)
    assert list(result.churned_mrr) == months([0, 40] + [0] * 13)
    assert list(result.expansion_mrr) == months([0, 12] + [0] * 13)
    assert list(result.closing_mrr) == months([160 + 22] + [132 + 22] * 14)
    # paid in months 1 (new), 2 (renewal), 13 and 14
    paid = [0.0] * 15
    paid[0], paid[1], paid[12], paid[13] = 12 * 22, 12 * 132, 12 * 22, 12 * 132
    assert list(result.cash_in) == months(paid)


# --- bill -------------------------------------------------------------------------------------------------------------


def test_fees_costs_and_cash():
    # 200 in; fees 3% of it and 0.50 on each of ten payments; 2 a customer to serve; 100 fixed: 200 - 11 - 20 - 100 = 69
    costs = dict(
        payment_fee_rate=0.03, fee_per_payment=0.5, monthly_cost_to_serve=2, monthly_fixed_costs=100, opening_cash=1000
    )
    result = forecast(months=2, churn=0, arrive=NOBODY, opening={"customers": 10, "mrr": 200}, bill=costs)
    assert list(result.payment_fees) == months([11, 11])
    assert list(result.cost_to_serve) == months([20, 20])
    assert list(result.fixed_costs) == months([100, 100])
    assert list(result.net_cash) == months([69, 69])
    assert list(result.cash) == months([1069, 1138])
    assert list(result.payments) == months([10, 10])


def test_opening_customers_on_a_yearly_plan_have_paid_already():
    # of age 10 at month 0: one month is still owed after month 0's close, none after month 1's; they pay again in
    # month 2
    opening = {"customers": 10, "mrr": 200, "ages": [{"age_months": 10, "customers": 10}]}
    result = forecast(churn=0, arrive=NOBODY, opening=opening, pay={"plans": [plan(billing="yearly")]})
    assert list(result.cash_in) == months([0, 2400, 0])
    assert list(result.deferred_revenue) == months([0, 2200, 2000])
    fresh = forecast(
        churn=0,
        arrive=NOBODY,
        opening={"customers": 10, "mrr": 200, "mean_age_months": 0},
        pay={"plans": [plan(billing="yearly")]},
    )
    assert list(fresh.cash_in) == months([0, 0, 0])
    assert list(fresh.deferred_revenue) == months([2000, 1800, 1600])


# --- churn changes and opening ages of yearly plans -------------------------------------------------------------------


def test_a_churn_change_reaches_a_yearly_renewal_as_a_change_of_each_months_churn():
    """10% a month, halved from month 12 on: 5% for each of the renewal's twelve months, not half of the year's loss."""
    result = forecast(
        months=12,
        arrive=NOBODY,
        opening={"customers": 100, "mrr": 2000, "mean_age_months": 0},
        pay={"plans": [plan(billing="yearly")]},
        stay={
            "churn": {"curve": "constant", "monthly_churn_rate": 0.1},
            "churn_changes": [{"from_month": 12, "factor": 0.5}],
        },
    )
    # 46.0; half of the year's loss at 10%, 71.8, would be 35.9
    assert result.lost_customers[-1] == pytest.approx(100 * (1 - 0.95**12), rel=1e-12)
    assert result.closing_customers[-1] == pytest.approx(100 * 0.95**12, rel=1e-12)


def test_a_churn_change_scales_what_a_renewal_rate_loses():
    """80% renew, so 20% leave; from month 12 on half of that; five times that is everyone."""
    for factor, kept in ((0.5, 90), (5, 0)):
        result = forecast(
            months=12,
            arrive=NOBODY,
            opening={"customers": 100, "mrr": 2000, "mean_age_months": 0},
            pay={"plans": [plan(billing="yearly", renewal_rate=0.8)]},
            stay={"churn_changes": [{"from_month": 12, "factor": factor}]},
        )
        assert result.closing_customers[-1] == pytest.approx(kept, rel=1e-12, abs=1e-12)


def test_opening_customers_of_a_yearly_plan_are_spread_over_their_year():
    """120 customers at 10 a month, 90% renew, no age stated: ten renew each month, one of them leaves, nine pay 120."""
    plans = [plan(monthly_price=10, billing="yearly", renewal_rate=0.9)]
    result = forecast(arrive=NOBODY, opening={"customers": 120, "mrr": 1200}, pay={"plans": plans})
    assert list(result.lost_customers) == months([1, 1, 1])
    assert list(result.payments) == months([9, 9, 9])
    assert list(result.cash_in) == months([1080, 1080, 1080])
    # at the close of month 1: 100 at ages 1..11, owed 10, 9, ..., 0 months; 9 at age 12, owed 11
    assert result.deferred_revenue[0] == pytest.approx(100 * 55 + 90 * 11)


def test_a_stated_age_of_0_leaves_all_renewals_to_month_12():
    plans = [plan(monthly_price=10, billing="yearly", renewal_rate=0.9)]
    opening = {"customers": 120, "mrr": 1200, "mean_age_months": 0}
    result = forecast(months=12, arrive=NOBODY, opening=opening, pay={"plans": plans})
    assert list(result.cash_in) == months([0] * 11 + [108 * 120])


def test_where_no_age_is_stated_monthly_customers_are_new():
    """Two plans side by side: the yearly half renews a twelfth a month, the monthly half starts at age 1 in month 1."""
    early = {"curve": "early_late", "early_monthly_churn_rate": 0.5, "late_monthly_churn_rate": 0, "early_months": 1}
    plans = [
        plan(name="monthly", share=0.5, churn=early),
        plan(name="yearly", share=0.5, billing="yearly", renewal_rate=1),
    ]
    result = forecast(months=2, arrive=NOBODY, opening={"customers": 240, "mrr": 2400}, pay={"plans": plans})
    assert list(result.lost_customers) == months([60, 0])
    assert list(result.payments) == months([60 + 10, 60 + 10])
