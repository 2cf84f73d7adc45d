"""How sure the reader is of each number: what is chosen beside it, what follows from it, and what a link carries."""

from __future__ import annotations

import pytest
from browser_tabs import empty
from plain import business

import growth

pytest.importorskip("babel")
from calculator_page import opened
from library import SCENARIOS

from growth.calculator import takes, whole_answer
from growth.goals import Goal
from growth.scenario.range import Range

CHURN = "stay.churn.monthly_churn_rate"
RANGED = "place.calculator.get().ranged"
BAND = """() => {
  const [band] = place.calculator.view().lines.at(-1).bands;
  return [band.low.at(-1), band.high.at(-1)];
}"""


def steady() -> growth.Scenario:
    """40 customers at 25 a month, 4 join a month, 5% leave, all of it taken for known."""
    channel = {"name": "all", "monthly_visitors": 4}
    opening = {"customers": 40, "mrr": 1000}
    return business(months=36, churn=0.05, goal_mrr=1500, opening=opening, arrive={"channels": [channel]})


def sure_of(page, label="Customers leaving each month"):
    return page.get_by_label(f"How sure? {label}")


def test_a_guess_widens_the_band_and_python_says_the_same(browser, tmp_path):
    page = opened(browser, steady(), tmp_path)
    narrow = page.evaluate(BAND)
    assert page.locator(".growth-shaded").first.inner_text().endswith("on chance alone: single customers come and go.")
    assert page.locator(".growth-worth").is_hidden()
    sure_of(page).select_option("a guess")
    # half as much again, or as little, of the odds of 5%: 0.05 / 0.95 x 1.5 and / 1.5
    ranged = growth.load_scenario({"scenario": page.evaluate(RANGED)})
    assert ranged.stay.churn.monthly_churn_rate == Range(0.0339, 0.05, 0.0732)
    assert page.get_by_text("3.39 to 7.32%").is_visible()
    low, high = page.evaluate(BAND)
    assert low < narrow[0] and high > narrow[1]
    assert page.evaluate("place.calculator.get().sentence") == whole_answer(growth.forecast(ranged))
    assert "Customers leaving each month: " in page.locator(".growth-worth li").first.inner_text()
    sure_of(page).select_option("roughly")
    assert page.evaluate(RANGED)["stay"]["churn"]["monthly_churn_rate"] == {
        "low": 0.0457,
        "likely": 0.05,
        "high": 0.0547,
    }
    sure_of(page).select_option("exactly so")
    assert page.evaluate(BAND) == narrow
    assert page.complaints == []


def test_it_is_chosen_by_keyboard_and_goes_along_with_its_number(browser, tmp_path):
    page = opened(browser, steady(), tmp_path)
    sure_of(page).focus()
    page.keyboard.press("End")
    assert page.evaluate(RANGED)["stay"]["churn"]["monthly_churn_rate"]["high"] == 0.0732
    page.locator(f".growth-number[data-path='{CHURN}']").fill("10")
    # 0.1 / 0.9 x 1.5 = 1 / 6, and / 1.5 = 2 / 27, as odds
    assert page.evaluate(RANGED)["stay"]["churn"]["monthly_churn_rate"] == {"low": 0.069, "likely": 0.1, "high": 0.143}
    page.locator(f".growth-number[data-path='{CHURN}']").fill("0")
    assert page.evaluate(RANGED)["stay"]["churn"]["monthly_churn_rate"] == 0  # no room on one side: no range


def test_ranges_of_the_file_are_there_at_first_and_come_back(browser, tmp_path):
    scenario = growth.load_scenario(SCENARIOS / "fernhollow.yaml")
    page = opened(browser, scenario, tmp_path)
    assert growth.load_scenario({"scenario": page.evaluate(RANGED)}) == scenario
    assert sure_of(page).input_value() == "given"
    sure_of(page).select_option("exactly so")
    assert growth.load_scenario({"scenario": page.evaluate(RANGED)}).stay.churn.monthly_churn_rate == 0.04
    page.get_by_role("button", name="Back to the original numbers").click()
    assert growth.load_scenario({"scenario": page.evaluate(RANGED)}) == scenario


def test_a_link_carries_how_sure_the_numbers_are_and_a_wrong_one_changes_nothing(browser, tmp_path):
    page = opened(browser, steady(), tmp_path)
    sure_of(page).select_option("a guess")
    page.get_by_role("button", name="Copy a link to these numbers").click()
    link = page.get_by_label("The link to these numbers")
    link.wait_for()
    fragment = "#" + link.input_value().split("#")[1]
    assert fragment == f"#sure.{CHURN}=guess"
    assert opened(browser, steady(), tmp_path, fragment=fragment).evaluate(RANGED) == page.evaluate(RANGED)
    for wrong in (f"#sure.{CHURN}=given", f"#sure.{CHURN}=", "#sure.months=guess", "#sure.__proto__=guess"):
        empty(browser)
        assert opened(browser, steady(), tmp_path, fragment=wrong).evaluate(RANGED) == steady().model_dump(mode="json")


def test_what_moves_no_mrr_is_not_asked_about(browser, tmp_path):
    page = opened(browser, growth.load_scenario(SCENARIOS / "fernhollow.yaml"), tmp_path)
    asked = page.locator("select[aria-label]").evaluate_all("all => all.map((one) => one.getAttribute('aria-label'))")
    assert sum("Fixed costs" in one or "Cash today" in one or "goal" in one.lower() for one in asked) == 0
    assert "How sure? Price" in asked


def test_what_it_would_take_may_be_asked_in_so_many_cases(browser, tmp_path):
    """The choice is there once a number is unsure; what is set then is enough, by the page's own words and Python's."""
    page = opened(browser, steady(), tmp_path)
    section = page.locator(".growth-takes")
    how, lead = section.get_by_label("How surely"), section.locator("p").nth(2)
    section.get_by_text("As things stand it is").wait_for()
    assert how.is_hidden()
    sure_of(page).select_option("a guess")
    how.wait_for()
    how.select_option("in 8 of 10 cases")
    section.get_by_text("in 8 of 10 cases. For €1,500, one of these changes").wait_for()
    scenario = growth.load_scenario({"scenario": page.evaluate(RANGED)})
    found = takes(scenario, chance=0.8)
    assert lead.inner_text() == found.lead
    assert section.locator("li span").all_inner_texts() == found.changes
    section.locator("li button").first.click()
    section.get_by_text("You are there as things stand: at least").wait_for()
    assert Goal(1500, 36, "mrr", 0.8).reached_by(growth.load_scenario({"scenario": page.evaluate(RANGED)})) >= 1500
    section.get_by_label("Of what").select_option("cash")
    how.wait_for(state="hidden")
