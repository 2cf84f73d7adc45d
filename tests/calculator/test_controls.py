"""The controls: read from the table of assumptions, one for each that a scenario uses and that moves something."""

from __future__ import annotations

import json

import numpy as np
import pytest
from library import LIBRARY, SCENARIOS
from plain import business, plan

import growth
from growth.engine import SERIES
from growth.measures import goal_month, growth_ceiling
from growth.scenario.range import likely_values

pytest.importorskip("babel")
from growth.calculator.controls import FIRST, FLAGS, MOST_UNFOLDED, STAGES, controls
from growth.calculator.data import page_data
from growth.calculator.words import answer

TWO_PLANS = [plan(share=0.75), plan(name="two", share=0.25, billing="yearly")]


def place(numbers: dict, path: str) -> tuple:
    *sections, name = (int(key) if key.isdigit() else key for key in path.split("."))
    for key in sections:
        numbers = numbers[key]
    return numbers, name


def by_path(scenario: growth.Scenario) -> dict[str, dict]:
    return {control["path"]: control for control in controls(scenario)}


@pytest.mark.parametrize("file", LIBRARY, ids=lambda file: file.stem)
def test_every_control_stands_for_a_number_and_no_control_is_dead(file):
    scenario = growth.load_scenario(file)
    for control in controls(scenario):
        before, numbers = growth.forecast(scenario), likely_values(scenario.model_dump(mode="json"))
        part, name = place(numbers, control["path"])
        low, high, step = control["slider"]
        assert control["low"] <= low <= part[name] <= high <= control["high"]
        if part.get("share") == 0 and name != "share":
            part["share"], numbers["pay"]["plans"][0]["share"] = 0.5, numbers["pay"]["plans"][0]["share"] - 0.5
            before = growth.forecast(growth.load_scenario({"scenario": numbers}))  # a plan that nobody has yet
        part[name] = low if part[name] > low else low + round((high - low) / step / 2) * step
        if control["whole"]:
            part[name] = round(part[name])
        if control["path"].endswith(".share"):
            others = [one for one in numbers["pay"]["plans"] if one is not part]
            left = sum(one["share"] for one in others)
            for one in others:
                one["share"] = (one["share"] / left if left else 1 / len(others)) * (1 - part[name])
        if control["path"] == "opening.mrr":  # the page holds it still while nobody is on board
            numbers["opening"]["customers"] = numbers["opening"]["customers"] or 1
        elif numbers["opening"]["customers"] == 0:
            numbers["opening"]["mrr"] = 0
        after = growth.forecast(growth.load_scenario({"scenario": numbers}))
        assert moved(before, after), control["path"]


def moved(before: growth.Forecast, after: growth.Forecast) -> bool:
    """Whether anything that the page shows differs."""
    if before.months != after.months or answer(before) != answer(after):
        return True
    measured = [(goal_month(one).value, growth_ceiling(one).value) for one in (before, after)]
    pairs = ((getattr(before, name), getattr(after, name)) for name in SERIES)
    return measured[0] != measured[1] or any(not np.array_equal(*pair, equal_nan=True) for pair in pairs)


def test_stages_follow_a_customers_life():
    found = [control["stage"] for control in controls(growth.load_scenario(LIBRARY[0]))]
    assert list(dict.fromkeys(found)) == [stage for stage in STAGES.values() if stage in found]
    assert found.index("Arrive") < found.index("Try") < found.index("Pay") < found.index("Stay") < found.index("Grow")


def test_a_stage_with_many_controls_folds_all_but_the_first_few():
    found = controls(growth.load_scenario(SCENARIOS / "ten-thousand.yaml"))
    by_stage = {stage: [one["more"] for one in found if one["stage"] == stage] for stage in STAGES.values()}
    for folded in by_stage.values():
        assert folded.count(False) == len(folded) if len(folded) <= MOST_UNFOLDED else folded.count(False) == FIRST
    assert by_stage["Arrive"].count(True) == 9
    assert not any(one["more"] for one in controls(business()))


def test_what_a_scenario_leaves_alone_has_no_control_unless_it_always_has_one():
    found = by_path(business())
    assert "grow.monthly_expansion_rate" in found
    assert "grow.monthly_contraction_rate" not in found
    assert "goal_mrr" not in found
    assert "pay.plans.0.share" not in found
    assert "grow.monthly_contraction_rate" in by_path(business(grow={"monthly_contraction_rate": 0.01}))


def test_with_several_plans_the_label_says_whose_it_is():
    found = by_path(business(pay={"plans": TWO_PLANS}))
    assert found["pay.plans.0.monthly_price"]["label"] == "Price: one"
    assert found["pay.plans.1.share"]["label"].endswith(": two")
    assert by_path(business())["pay.plans.0.monthly_price"]["label"] == "Price"


@pytest.mark.parametrize(
    ("value", "slider"),
    [
        (2_500, [50, 10_000, 50]),  # to four times the value, in round steps next below a fortieth of it
        (2_512, [1, 10_048, 1]),  # finer steps where the value would lie between two of them
        (1e9, [2e7, 1e9, 2e7]),  # never beyond what is valid
        (0.02, [0.02, 0.08, 0.0005]),  # nor below it: a goal of nothing is none
    ],
)
def test_a_slider_reaches_about_four_times_the_scenarios_value(value, slider):
    low, high, step = by_path(business(goal_mrr=value))["goal_mrr"]["slider"]
    assert (high, step) == tuple(slider[1:])
    assert 0.01 <= low <= slider[0]


def test_a_value_that_may_be_negative_reaches_as_far_below_nothing_as_above():
    assert by_path(business(bill={"opening_cash": -90_000}))["bill.opening_cash"]["slider"] == [
        -360_000,
        360_000,
        2_000,
    ]


def test_a_value_of_nothing_takes_the_tables_own_range():
    assert by_path(business())["grow.monthly_expansion_rate"]["slider"] == [0, 0.1, 0.001]


def test_units_are_written_for_readers():
    """CLDR: the sign of a currency stands before the amount in British English, and behind it, apart, in German."""
    found = by_path(business(currency="GBP", goal_mrr=1000))
    assert found["goal_mrr"]["written"] == "£{n} a month"
    assert found["stay.churn.monthly_churn_rate"]["written"] == "{n}%"
    assert found["stay.churn.monthly_churn_rate"]["share"] is True
    german = {one["path"]: one for one in controls(business(goal_mrr=1000), "de-DE")}
    assert german["goal_mrr"]["written"].replace("\xa0", " ") == "{n} € im Monat"


def test_a_page_may_leave_out_the_flags_that_are_false_and_nothing_else():
    lines = controls(growth.load_scenario(LIBRARY[0]))
    assert all({key for key, value in line.items() if isinstance(value, bool)} == FLAGS for line in lines)


def test_page_data_is_json_and_holds_no_more_than_the_page_needs():
    data = page_data(growth.load_scenario(LIBRARY[0]))
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    assert sorted(data) == [
        *("beside", "bounds", "brief", "columns", "controls", "digits", "direction"),
        *("full_month_names", "headline", "how_sure", "locale", "month_names", "pictures", "scenario", "takes"),
        *("what_ifs", "whose", "words", "worked"),
    ]
