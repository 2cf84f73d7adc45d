"""Numbers that change from a month on: worked by hand, each recipe beside its numbers."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

import growth
from growth.measures import growth_ceiling, lifetime_value


def scenario(*changes: dict[str, Any], **parts: Any) -> growth.Scenario:
    """Ten new customers a month at 20, of whom 10% leave each month, unless `parts` say otherwise."""
    base: dict[str, Any] = {
        "business": "worked by hand",
        "months": 4,
        "arrive": {"channels": [{"name": "all", "monthly_visitors": 10}]},
        "sign_up": {"signup_rate": 1},
        "pay": {"conversion_rate": 1, "plans": [{"name": "one", "monthly_price": 20}]},
        "stay": {"churn": {"curve": "constant", "monthly_churn_rate": 0.1}},
    }
    return growth.Scenario(**base | parts, changes=changes)


def dated(month: int, field: str, **how: float) -> dict[str, Any]:
    return {"from_month": month, "field": field, **how}


def close(*values: float) -> Any:
    return pytest.approx(list(values), rel=1e-12)


CHURN = "stay.churn.monthly_churn_rate"


def test_churn_is_halved_from_month_3():
    """10; 10 x 0.9 + 10 = 19; 19 x 0.95 + 10 = 28.05; 28.05 x 0.95 + 10 = 36.6475."""
    result = growth.forecast(scenario(dated(3, CHURN, times=0.5)))
    assert list(result.closing_customers) == close(10, 19, 28.05, 36.6475)


def test_a_second_change_works_on_the_first_and_one_in_the_far_future_on_nothing():
    """Churn 10%, from month 3 on 5%, from month 4 on a tenth of that: 28.05 x 0.995 + 10."""
    later = scenario(dated(4, CHURN, times=0.1), dated(3, CHURN, becomes=0.05), dated(99, CHURN, becomes=1))
    assert growth.forecast(later).closing_customers[-1] == pytest.approx(28.05 * 0.995 + 10, rel=1e-12)


def test_visitors_compound_on_from_the_level_reached():
    """10 growing by 10%: 10, 11; doubled in month 3 on top of growth: 2 x 12.1; growth of 50% from month 4 on: 36.3."""
    channel = {"name": "all", "monthly_visitors": 10, "monthly_growth_rate": 0.1}
    of = "arrive.channels.all.monthly_"
    changes = dated(3, f"{of}visitors", times=2), dated(4, f"{of}growth_rate", becomes=0.5)
    result = growth.forecast(scenario(*changes, arrive={"channels": [channel]}))
    assert list(result.visitors) == close(10, 11, 24.2, 36.3)
    result = growth.forecast(scenario(dated(3, f"{of}visitors", becomes=50), arrive={"channels": [channel]}))
    assert list(result.visitors) == close(10, 11, 50, 55)


def test_a_change_before_a_channel_begins_alters_where_it_begins():
    channel = {"name": "all", "monthly_visitors": 10, "monthly_growth_rate": 0.1, "first_month": 3}
    change = dated(2, "arrive.channels.0.monthly_visitors", times=3)
    assert list(growth.forecast(scenario(change, arrive={"channels": [channel]})).visitors) == close(0, 0, 30, 33)


def test_pieces_keep_the_visits_they_came_out_with():
    """A piece a month draws 8, then half of it, ...; from month 3 on a piece draws 80. Month 3: 80 + 4 + 2."""
    channel = {"name": "all", "kind": "content", "monthly_pieces": 1, "peak_monthly_visits": 8}
    change = dated(3, "arrive.channels.all.peak_monthly_visits", times=10)
    assert list(growth.forecast(scenario(change, arrive={"channels": [channel]})).visitors) == close(8, 12, 86, 123)


def test_advertising_and_its_costs():
    """100, then 300 a month at 2 a visit, from month 4 on at 3; 50 a month beside it from month 2 on."""
    channel = {"name": "ads", "kind": "paid", "monthly_budget": 100, "cost_per_visit": 2}
    of = "arrive.channels.ads."
    changes = (
        dated(2, f"{of}monthly_cost", becomes=50),
        dated(3, f"{of}monthly_budget", becomes=300),
        dated(4, f"{of}cost_per_visit", times=1.5),
    )
    result = growth.forecast(scenario(*changes, arrive={"channels": [channel]}))
    assert list(result.visitors) == close(50, 50, 150, 100)
    assert list(result.acquisition_spend) == close(100, 150, 350, 350)


def test_conversion_counts_in_the_month_of_the_first_payment():
    """All pay a month after signing up; from month 2 on half as many convert, those of month 1 among them."""
    pay = {"conversion_rate": 1, "delay_shares": [0, 1], "plans": [{"name": "one", "monthly_price": 20}]}
    result = growth.forecast(scenario(dated(2, "pay.conversion_rate", becomes=0.5), pay=pay))
    assert list(result.new_customers) == close(10, 5, 5, 5)


def test_a_price_in_the_list_is_that_of_new_customers():
    """10 x 20, then 10 x 30 more each month; those on board go on at 20, and nobody leaves."""
    stay = {"churn": {"curve": "constant", "monthly_churn_rate": 0}}
    result = growth.forecast(scenario(dated(2, "pay.plans.one.monthly_price", becomes=30), stay=stay))
    assert list(result.closing_mrr) == close(200, 500, 800, 1100)


def test_costs_by_month():
    """500 fixed, from month 3 on 800; 1 a customer, from month 4 on 2."""
    changes = dated(3, "bill.monthly_fixed_costs", becomes=800), dated(4, "bill.monthly_cost_to_serve", times=2)
    result = growth.forecast(scenario(*changes, bill={"monthly_fixed_costs": 500, "monthly_cost_to_serve": 1}))
    assert list(result.fixed_costs) == close(500, 500, 800, 800)
    assert list(result.cost_to_serve) == close(10, 19, 27.1, 2 * 34.39)


def test_the_long_run_goes_by_what_is_in_force_at_the_end():
    """Ceiling n p / c and lifetime value p (1 + i) / (i + c) with the churn, price and visitors of the last month."""
    changes = (
        dated(2, CHURN, becomes=0.04),
        dated(3, "pay.plans.one.monthly_price", becomes=30),
        dated(4, "arrive.channels.all.monthly_visitors", becomes=12),
    )
    result = growth.forecast(scenario(*changes))
    assert growth_ceiling(result).value == pytest.approx(12 * 30 / 0.04, rel=1e-9)
    assert lifetime_value(result).value == pytest.approx(30 * 1.01 / 0.05, rel=1e-9)
    assert lifetime_value(result, month=1).value == pytest.approx(20 * 1.01 / 0.11, rel=1e-9)


def test_a_price_change_loses_new_customers_from_its_month_on():
    """A quarter of the ten no longer come from month 3 on, at 24 in place of 20; a fifth of 19 x 0.9 leave over it."""
    change = {"month": 3, "change_rate": 0.2, "applies_to": "all", "provoked_churn_rate": 0.2, "lost_new_rate": 0.25}
    result = growth.forecast(scenario(grow={"price_changes": [change]}))
    assert list(result.new_customers) == close(10, 10, 7.5, 7.5)
    assert result.closing_customers[2] == pytest.approx(19 * 0.9 * 0.8 + 7.5, rel=1e-12)
    assert growth_ceiling(result).value == pytest.approx(7.5 * 24 / 0.1, rel=1e-9)


def test_the_share_of_new_customers_at_which_a_raise_breaks_even():
    """The break-even formula of pricing, dp / (p + dp): losing 4 / 24 of those who join, MRR settles as before."""
    change = {"month": 1, "change_rate": 0.2, "lost_new_rate": 4 / 24}
    raised = growth_ceiling(growth.forecast(scenario(grow={"price_changes": [change]}))).value
    assert raised == pytest.approx(growth_ceiling(growth.forecast(scenario())).value, rel=1e-9)


def test_draws_change_as_single_numbers_do():
    churn = np.array([0.1, 0.2, 0.9])
    stay = {"churn": {"curve": "constant", "monthly_churn_rate": churn}}
    many = growth.forecast(scenario(dated(3, CHURN, times=2), stay=stay))
    for draw, value in enumerate(churn):
        one = growth.forecast(
            scenario(dated(3, CHURN, times=2), stay={"churn": {"curve": "constant", "monthly_churn_rate": value}})
        )
        assert list(many.closing_mrr[draw]) == close(*one.closing_mrr)
    assert many.lost_customers[2, 2] == pytest.approx(many.opening_customers[2, 2])  # 1.8 times is cut to all


def test_a_change_to_what_is_there_already_changes_nothing():
    for field, value in ((CHURN, 0.1), ("pay.conversion_rate", 1), ("pay.plans.one.monthly_price", 20)):
        np.testing.assert_array_equal(
            growth.forecast(scenario(dated(2, field, becomes=value))).closing_mrr,
            growth.forecast(scenario()).closing_mrr,
        )
