"""What a file does not state, or states in another way: prices for a year, MRR, counts after the visit.

And hints, none of which may lead to a valid file that means something else.
"""

from __future__ import annotations

import numpy as np
import pytest
from plain import NOBODY, business, plan

import growth
from growth.errors import ScenarioError
from growth.goals.lever_fields import with_values
from growth.scenario.entries import entries
from growth.scenario.scenario import Scenario

STAYS, LEAVES = ({"curve": "constant", "monthly_churn_rate": rate} for rate in (0.0, 0.5))
YEARLY = {"name": "Yearly", "billing": "yearly", "renewal_rate": 0.8}


def loaded(**sections: object) -> Scenario:
    return growth.load_scenario({"business": "Larkmoor", **sections})


def refusal(**sections: object) -> str:
    with pytest.raises(ScenarioError) as caught:
        loaded(**sections)
    return str(caught.value)


# --- a price for the year ---------------------------------------------------------------------------------------------


def test_a_price_for_the_year_is_twelve_times_the_price_a_month():
    yearly, monthly = (
        growth.forecast(business(months=14, pay={"plans": [{**YEARLY, **price}]}))
        for price in ({"yearly_price": 240}, {"monthly_price": 20})
    )
    np.testing.assert_array_equal(yearly.closing_mrr, monthly.closing_mrr)
    assert yearly.new_mrr[0] == 200  # ten a month at 240 a year
    assert yearly.cash_in[0] == 2400


def test_a_price_for_the_year_goes_with_yearly_billing_and_stands_alone():
    assert "yearly_price goes with billing: yearly" in refusal(pay={"plans": [{"name": "a", "yearly_price": 240}]})
    both = refusal(pay={"plans": [{**YEARLY, "yearly_price": 240, "monthly_price": 20}]})
    assert "one price: monthly_price or yearly_price" in both


def test_a_plan_without_a_price_is_told_which_field_is_missing():
    text = refusal(pay={"plans": [{"name": "Studio"}]})
    assert text == "pay.plans[Studio].monthly_price: needed: a number from 0 to 1,000,000"


# --- opening MRR ------------------------------------------------------------------------------------------------------


def test_customers_whose_mrr_is_not_stated_pay_the_price_of_their_plan():
    """63 customers, two thirds at 18 a month, one third at 180 a year: 42 x 18 + 21 x 15 = 1,071."""
    plans = [
        {"name": "Monthly", "share": 0.5, "opening_share": 2 / 3, "monthly_price": 18},
        {**YEARLY, "share": 0.5, "opening_share": 1 / 3, "yearly_price": 180},
    ]
    scenario = loaded(opening={"customers": 63}, pay={"plans": plans})
    assert scenario.opening.mrr == pytest.approx(1071)
    assert growth.forecast(scenario).opening_mrr[0] == pytest.approx(1071)


def test_a_stated_mrr_stands_and_so_does_a_stated_0():
    for mrr in (500, 0):
        assert loaded(opening={"customers": 63, "mrr": mrr}, pay={"plans": [plan()]}).opening.mrr == mrr


def test_unstated_mrr_follows_draws_of_the_price():
    scenario = business(opening={"customers": 10}, pay={"plans": [plan(monthly_price=np.array([10.0, 20.0]))]})
    assert scenario.opening.mrr.tolist() == [100, 200]
    assert growth.forecast(scenario).opening_mrr[:, 0].tolist() == [100, 200]


def test_saving_leaves_an_unstated_mrr_unstated_until_it_is_no_longer_what_the_prices_make(tmp_path):
    file = tmp_path / "larkmoor.yaml"
    text = """scenario:
  business: Larkmoor
  opening:
    customers: 10
  pay:
    plans:
      - {name: a, monthly_price: 20}
"""
    file.write_text(text, "utf-8")
    scenario = growth.load_scenario(file)
    growth.save_scenario(scenario, file)
    assert file.read_text("utf-8") == text
    fewer = scenario.model_copy(update={"opening": scenario.opening.model_copy(update={"customers": 5.0})})
    growth.save_scenario(fewer, file)
    assert "mrr: 200" in file.read_text("utf-8") and growth.load_scenario(file) == fewer


TWO = [plan(name="Solo", share=0.5, churn=STAYS), plan(name="Team", share=0.5, monthly_price=60.0, churn=LEAVES)]
DEARER = {"name": "dearer", "changes": [{"field": "pay.plans.Solo.monthly_price", "becomes": 60}]}


def test_a_new_price_leaves_today_s_customers_at_theirs():
    """Ten on each of two plans at 20 and 60, and nobody new: of 800 Solo's 200 stay, and Team's 600 halve each month:
    500, 350, 275. At a new price of 60 for Solo they would be split 400 and 400, and come to 600, 500, 450."""
    scenario = business(opening={"customers": 20}, arrive=NOBODY, pay={"plans": TWO}, what_ifs=[DEARER])
    compared = growth.compare(scenario)
    moved = with_values(scenario, {"pay.plans.0.monthly_price": np.array([20.0, 60.0])})
    assert moved is not None
    for path in (*(one.closing_mrr for one in compared.forecasts.values()), *growth.forecast(moved).closing_mrr):
        assert path.tolist() == pytest.approx([500, 350, 275])


def test_an_opening_price_may_be_stated_and_makes_unstated_mrr():
    """Ten at an old price of 15 and ten at 60: 750; 150 stay, 600 halve."""
    plans = [{**TWO[0], "opening_price": 15}, TWO[1]]
    scenario = business(opening={"customers": 20}, arrive=NOBODY, pay={"plans": plans})
    assert scenario.opening.mrr == 750
    assert growth.forecast(scenario).closing_mrr.tolist() == pytest.approx([450, 300, 225])


def test_saving_states_an_opening_price_that_is_no_longer_the_plan_s(tmp_path):
    scenario = loaded(opening={"customers": 20}, pay={"plans": TWO})
    file = growth.save_scenario(scenario, tmp_path / "larkmoor.yaml")
    assert "opening_price" not in file.read_text("utf-8")
    dearer = with_values(scenario, {"pay.plans.0.monthly_price": 60})
    assert dearer is not None
    growth.save_scenario(dearer, file)
    assert file.read_text("utf-8").count("opening_price: 20") == 1
    assert growth.load_scenario(file) == dearer


# --- channels counted after the visit ---------------------------------------------------------------------------------


def test_sign_ups_a_month_need_no_visitors():
    """Seven trials a month, a fifth of them pay at once: 1.4 new customers."""
    channel = {"name": "site", "kind": "sign_ups", "monthly_sign_ups": 7}
    result = growth.forecast(business(arrive={"channels": [channel]}, pay={"conversion_rate": 0.2}))
    assert result.visitors.tolist() == [0, 0, 0]
    assert result.sign_ups.tolist() == [7, 7, 7]
    assert result.new_customers == pytest.approx([1.4] * 3)


def test_sign_ups_pay_with_the_delay_of_all_sign_ups():
    """Half pay a month later; a channel that ran before has its level before month 1, one that did not has nothing."""
    channel = {"name": "site", "kind": "sign_ups", "monthly_sign_ups": 8, "monthly_growth_rate": 1}
    for running, first in ((True, 8), (False, 4)):
        channels = [{**channel, "running_before": running}]
        result = growth.forecast(business(arrive={"channels": channels}, pay={"delay_shares": [0.5, 0.5]}))
        assert result.new_customers.tolist() == [first, 4 + 8, 8 + 16]


def test_customers_a_month_come_as_they_were_counted():
    channel = {"name": "guild", "kind": "customers", "monthly_customers": 3, "monthly_growth_rate": 1}
    result = growth.forecast(
        business(arrive={"channels": [channel]}, pay={"conversion_rate": 0.1, "delay_shares": [0.5, 0.5]})
    )
    assert result.new_customers.tolist() == [3, 6, 12]
    assert result.sign_ups.tolist() == result.visitors.tolist() == [0, 0, 0]


def test_what_a_channel_does_not_count_is_refused():
    channel = {"name": "guild", "kind": "customers", "monthly_customers": 3, "signup_rate": 0.1}
    assert "signup_rate: no such setting" in refusal(arrive={"channels": [channel]}, pay={"plans": [plan()]})


def test_a_number_of_another_kind_of_channel_is_told_which():
    text = refusal(arrive={"channels": [{"name": "site", "monthly_sign_ups": 7}]}, pay={"plans": [plan()]})
    assert text.endswith("monthly_sign_ups: no such setting here. It goes with kind: sign_ups.")


# --- hints ------------------------------------------------------------------------------------------------------------


def hints(place: str, key: str) -> str:
    """What is said of `key` written beside the fields of a section."""
    if place == "plan":
        return refusal(pay={"plans": [{**plan(), key: 0.5}]})
    if place == "channel":
        return refusal(arrive={"channels": [{"name": "site", key: 0.5}]}, pay={"plans": [plan()]})
    return refusal(pay={"plans": [plan()]}, **{place: {key: 0.5}})


def fields() -> list[tuple[str, str]]:
    """Every number of some sections: (section, field)."""
    found = []
    for entry in entries(Scenario):
        *_, section, field = ["", *entry.place.split(".")]
        place = {"pay.plans[]": "plan", "arrive.channels[steady]": "channel"}.get(
            entry.place.rpartition(".")[0], section
        )
        if place in ("plan", "channel", "opening", "sign_up", "grow", "bill"):
            found.append((place, field.removesuffix("[]")))
    return found


@pytest.mark.parametrize("place, field", fields())
def test_no_hint_renames_a_number_of_another_period(place, field):
    """A rate a year, or one whose period is not said, is no slip of the keyboard for a rate a month."""
    bare = field.removeprefix("monthly_")
    other = [f"{period}_{bare}" for period in ("yearly", "annual", "weekly", "daily", "quarterly")]
    for key in [*other, *([bare] if bare != field else [])]:
        if (place, key) not in fields():
            assert "Did you mean" not in hints(place, key), key


@pytest.mark.parametrize(
    "place, key, meant",
    [
        ("plan", "monthly_prise", "monthly_price"),
        ("opening", "customer", "customers"),
        ("channel", "monthlyvisitors", "monthly_visitors"),
        ("bill", "monthly_fixed_cost", "monthly_fixed_costs"),
    ],
)
def test_a_slip_of_the_keyboard_is_still_told(place, key, meant):
    assert f"Did you mean {meant}?" in hints(place, key)


def test_no_hint_turns_annually_into_monthly():
    text = refusal(pay={"plans": [{**plan(), "billing": "annually"}]})
    assert "one of monthly, yearly" in text and "Did you mean" not in text
