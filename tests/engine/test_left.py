"""What is left each month, and when it is enough: worked by hand, by Little's law, and over draws."""

from __future__ import annotations

import numpy as np
import pytest
from generated import random_scenario
from long_run import little
from plain import NOBODY, business, plan

import growth
from growth.measures import growth_ceiling, left_at_ceiling, left_month

BILL = {"payment_fee_rate": 0.1, "fee_per_payment": 0.5, "monthly_cost_to_serve": 1.5, "monthly_fixed_costs": 100}


def month(goal: float, *, as_earned: bool = False, **sections: object) -> float | None:
    return left_month(growth.forecast(business(goal_left=goal, **sections)), as_earned=as_earned).value


def test_the_first_month_from_which_it_is_left_for_good():
    # MRR 200, 380, 542; left: 0.9 x MRR - 2 x customers - 100 = 60, 204, 333.60
    assert [month(goal, bill=BILL) for goal in (60, 61, 204, 333.6, 333.7)] == [1, 2, 2, 3, None]


def test_an_amount_that_is_lost_again_is_not_left_for_good():
    falling = {"arrive": NOBODY, "opening": {"customers": 40, "mrr": 800}}  # 720, 648, 583.20
    assert month(600, **falling) is None and month(583.2, **falling) == 1


def test_a_dip_in_a_later_month_counts():
    """A price cut by half for all in month 3: 200, 380, then 342 / 2 + 100 = 271."""
    cut = {"price_changes": [{"month": 3, "change_rate": -0.5, "applies_to": "all"}]}
    assert month(300, grow=cut) is None and month(271, grow=cut) == 2


def test_a_yearly_payment_is_left_in_its_month_and_earned_over_the_year():
    # ten join each month, pay 240 at once and stay: 2,400 a month in cash from the first on, 200, 400, 600 as earned
    yearly = {"pay": {"plans": [plan(billing="yearly", renewal_rate=1.0)]}}
    assert month(2400, **yearly) == 1 and month(400, as_earned=True, **yearly) == 2


def test_reasons():
    forecast = growth.forecast(business())
    assert (left_month(forecast).value, left_month(forecast).reason) == (None, "no goal is set for what is left")
    assert left_month(growth.forecast(business(goal_left=9999))).reason == "not for good within 3 months"


def test_over_draws_each_draw_has_its_own_month():
    scenario = business(goal_left=np.array([200.0, 380.0, 9000.0]))
    assert left_month(growth.forecast(scenario)).value.tolist()[:2] == [1, 2]
    assert np.isnan(left_month(growth.forecast(scenario)).value[2])


def test_what_is_left_where_growth_levels_off_by_littles_law():
    """100 customers (10 a month for 10 months each) pay 2,000: 2,000 x 0.9 - 100 x (1.5 + 0.5) - 100 = 1,500."""
    assert left_at_ceiling(growth.forecast(business(bill=BILL))).value == pytest.approx(1500, rel=1e-12)
    # the same by the year: a twelfth as many payments, in a stream of renewals that has settled
    yearly = {"pay": {"plans": [plan(billing="yearly", renewal_rate=1.0)]}, "opening": {"customers": 120, "mrr": 2400}}
    settled = growth.forecast(business(months=24, arrive=NOBODY, bill=BILL, **yearly))
    assert left_at_ceiling(settled).value == pytest.approx(2400 * 0.9 - 120 * 1.5 - 10 * 0.5 - 100, rel=1e-9)


def test_without_fees_and_service_it_is_the_ceiling_less_the_fixed_costs():
    seen = 0
    for seed in range(40):
        mapping = random_scenario(np.random.default_rng(seed))
        mapping["bill"] = {"monthly_fixed_costs": 50.0}
        changes = mapping.get("changes", ())
        mapping["changes"] = [change for change in changes if not change["field"].startswith("bill.")]
        scenario = growth.Scenario(**mapping)
        forecast = growth.forecast(scenario)
        with np.errstate(all="ignore"):
            level = little(scenario)
        if growth_ceiling(forecast).value is None or left_at_ceiling(forecast).value is None or not 0 < level < np.inf:
            continue
        seen += 1
        expected = level - 50 - forecast.acquisition_spend[-1]
        assert left_at_ceiling(forecast).value == pytest.approx(expected, abs=3e-3 * level), seed
    assert seen > 10
