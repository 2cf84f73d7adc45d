"""What may change over time, and how a file is told that something may not."""

from __future__ import annotations

from typing import Any

import pytest

import growth
from growth.errors import ScenarioError
from growth.scenario.validation import validate

BASE: dict[str, Any] = {
    "business": "Kiln",
    "arrive": {
        "channels": [
            {"name": "v. 2", "monthly_visitors": 100},
            {"name": "ads", "kind": "paid", "monthly_budget": 100, "cost_per_visit": 1},
        ]
    },
    "pay": {"plans": [{"name": "Studio", "monthly_price": 29}]},
}


def told(**change: Any) -> str:
    with pytest.raises(ScenarioError) as caught:
        validate(growth.Scenario, {**BASE, "changes": [{"from_month": 7, **change}]}, root="scenario")
    return str(caught.value)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"field": "opening.customers", "becomes": 3}, "the opening describes the day before month 1"),
        ({"field": "months", "becomes": 3}, "holds for the whole forecast"),
        ({"field": "bill.monthly_discount_rate", "becomes": 0}, "holds for the whole forecast"),
        ({"field": "pay.plans.Studio.share", "becomes": 0.5}, "it has to agree with others"),
        ({"field": "stay.churn", "times": 0.5}, "write stay.churn_changes"),
        ({"field": "stay.chrn.monthly_churn_rate", "times": 0.5}, "Did you mean stay.churn.monthly_churn_rate?"),
        ({"field": "arrive.channels.ads.conversion_rate", "becomes": 0.5}, "into the scenario first"),
        ({"field": "arrive.channels.ads.cost_per_visit", "times": 0}, "changes[0].times"),
        ({"field": "stay.churn.monthly_churn_rate", "becomes": 3}, "For 3% write 0.03."),
        ({"field": "pay.conversion_rate"}, "becomes or times"),
        ({"field": "pay.conversion_rate", "becomes": 0.1, "times": 2}, "becomes or times"),
        ({"field": "pay.conversion_rate", "becomes": 0.1, "from_month": 1}, "a whole number of months from 2 to 120"),
        ({"field": "=1+1", "becomes": 0.1}, "the address of a number of this scenario"),
    ],
)
def test_one_clear_error(change, words):
    text = told(**change)
    assert text.startswith("changes[0]") and words in text and "\n" not in text


def test_a_number_changes_once_in_a_month_however_it_is_addressed():
    change = {"from_month": 7, "becomes": 30}
    twice = [change | {"field": f"pay.plans.{plan}.monthly_price"} for plan in ("Studio", 0)]
    with pytest.raises(ScenarioError, match="once from a month on"):
        validate(growth.Scenario, {**BASE, "changes": twice}, root="scenario")


def test_in_force_by_names_with_dots():
    change = {"from_month": 7, "field": "arrive.channels.v. 2.monthly_visitors", "times": 3}
    scenario = growth.Scenario(**BASE, changes=[change])
    assert [scenario.in_force(month).arrive.channels[0].monthly_visitors for month in (6, 7, 36)] == [100, 300, 300]
    assert growth.Scenario(**scenario.model_dump()) == scenario


def test_a_copy_goes_by_its_own_numbers():
    change = {"from_month": 2, "field": "bill.monthly_fixed_costs", "times": 2}
    scenario = growth.Scenario(**BASE, bill={"monthly_fixed_costs": 10}, changes=[change])
    assert scenario.in_force(2).bill.monthly_fixed_costs == 20
    dearer = scenario.model_copy(update={"bill": scenario.bill.model_copy(update={"monthly_fixed_costs": 50.0})})
    assert dearer.in_force(2).bill.monthly_fixed_costs == 100
