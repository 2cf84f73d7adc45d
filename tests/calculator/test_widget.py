"""The live calculator without a browser: messages as the front end sends them, and what Python does with them."""

from __future__ import annotations

import copy
import json

import pytest
from library import SCENARIOS
from plain import business

import growth

pytest.importorskip("anywidget")
from growth.calculator import Calculator, whole_answer
from growth.calculator.data import PAGE_DATA, page_data
from growth.scenario.file import load_document

BUSINESS = business(months=12, opening={"customers": 40, "mrr": 800})


def tuned(calculator: Calculator, **changes: object) -> dict:
    """The front end's numbers with some of them moved, as its next message would hold them."""
    numbers = copy.deepcopy(calculator.tuned)
    for place, value in changes.items():
        *sections, name = place.split("__")
        part = numbers
        for section in sections:
            part = part[section]
        part[name] = value
    return numbers


def churn_of(calculator: Calculator) -> float:
    return calculator.scenario.stay.churn.monthly_churn_rate


def heard(calculator: Calculator, monkeypatch: pytest.MonkeyPatch, message: object) -> list:
    """What the calculator answers to a message of the front end."""
    said = []
    monkeypatch.setattr(calculator, "send", said.append)
    calculator._handle_custom_msg(message, [])
    return said


def test_a_moved_slider_reaches_python_and_its_observers():
    calculator, seen = Calculator(BUSINESS), []
    calculator.observe(lambda change: seen.append(change["new"]), "scenario")
    calculator.set_state({"tuned": tuned(calculator, stay__churn__monthly_churn_rate=0.03)})
    assert churn_of(calculator) == 0.03
    assert [scenario.stay.churn.monthly_churn_rate for scenario in seen] == [0.03]
    assert isinstance(calculator.scenario, growth.Scenario)


def test_a_scenario_set_from_python_moves_the_sliders():
    calculator = Calculator(BUSINESS)
    before = calculator.data
    calculator.scenario = business(months=12, churn=0.02, opening={"customers": 40, "mrr": 800})
    assert calculator.tuned["stay"]["churn"]["monthly_churn_rate"] == 0.02
    assert calculator.data == before  # the form stands, and the way back to the original numbers with it


def test_a_scenario_with_other_controls_builds_another_form():
    calculator = Calculator(BUSINESS)
    other = business(churn={"curve": "sbg", "alpha": 0.7, "beta": 4.0})
    calculator.scenario = other
    assert calculator.data == page_data(other)
    assert calculator.tuned == other.model_dump(mode="json")


@pytest.mark.parametrize(
    "junk",
    [
        {},
        {"months": 12},
        {"months": "<script>"},
        {"business": "x", "pay": {"plans": []}},
        {"stay": {"churn": {"monthly_churn_rate": 4}}},
        {"__class__": "x"},
    ],
)
def test_junk_from_the_front_end_leaves_the_last_valid_scenario(junk):
    calculator = Calculator(BUSINESS)
    calculator.set_state({"tuned": tuned(calculator, months=24)})
    calculator.set_state({"tuned": junk})
    assert calculator.scenario.months == 24
    assert calculator.tuned == calculator.scenario.model_dump(mode="json")


def test_one_bad_number_among_good_ones_changes_nothing():
    calculator = Calculator(BUSINESS)
    calculator.set_state({"tuned": tuned(calculator, months=24, goal_mrr=-1)})
    assert calculator.scenario.months == 12


def test_what_is_no_scenario_is_refused_when_set_from_python():
    calculator = Calculator(BUSINESS)
    with pytest.raises(growth.ScenarioError):
        calculator.scenario = {"scenario": {"months": 0}}
    assert calculator.scenario.months == 12


def test_arrays_over_draws_are_refused():
    import numpy as np

    drawn = business(churn={"curve": "constant", "monthly_churn_rate": np.array([0.02, 0.04])})
    with pytest.raises(growth.ScenarioError, match="draws"):
        Calculator(drawn)


def test_keeping_writes_the_numbers_on_screen_and_says_where(tmp_path, monkeypatch):
    path = tmp_path / "kept.yaml"
    calculator = Calculator(BUSINESS, path)
    numbers = tuned(calculator, stay__churn__monthly_churn_rate=0.025)
    said = heard(calculator, monkeypatch, {"kind": "keep", "scenario": numbers})
    assert said == [{"kind": "said", "text": "Kept in kept.yaml."}]
    assert growth.load_scenario(path) == calculator.scenario
    assert churn_of(calculator) == 0.025


def test_keeping_takes_along_the_sources_told_last(tmp_path, monkeypatch):
    """The message that keeps may come before the change of state that was made just before it."""
    calculator = Calculator(BUSINESS, tmp_path / "kept.yaml")
    told = {"pay.conversion_rate": {"source": "measured", "note": "counted in June", "fresh": True}}
    heard(calculator, monkeypatch, {"kind": "keep", "scenario": calculator.tuned, "sources": told})
    (source,) = growth.load_scenario(tmp_path / "kept.yaml").sources
    assert (source.of, source.source, source.note) == ("pay.conversion_rate", "measured", "counted in June")


def test_keeping_to_a_new_file_keeps_the_comments_and_the_words_of_the_file_it_started_from(tmp_path):
    demo = SCENARIOS / "fernhollow.yaml"
    calculator = Calculator(demo, tmp_path / "kept.yaml")
    calculator.tuned = tuned(calculator, stay__churn__monthly_churn_rate=0.025)
    kept = calculator.keep().read_text("utf-8")
    assert kept == demo.read_text("utf-8").replace("{low: 0.028, likely: 0.04, high: 0.055}", "0.025")


def test_keeping_follows_the_file_that_was_chosen_last(tmp_path):
    brief = SCENARIOS / "brief-halving-churn.yaml"
    calculator = Calculator(SCENARIOS / "fernhollow.yaml", tmp_path / "kept.yaml")
    calculator.scenario = brief
    assert calculator.keep().read_text("utf-8") == brief.read_text("utf-8")


def test_keeping_what_papermill_handed_in_keeps_the_words(tmp_path):
    words = {"name": "how-big", "question": "How big can it get?", "cautions": ["An invented business: take care."]}
    handed_in = {"scenario": BUSINESS.model_dump(mode="json"), "giveaway": words}
    kept = Calculator(handed_in, tmp_path / "kept.yaml").keep()
    assert load_document(kept).giveaway == words
    assert growth.load_scenario(kept) == BUSINESS


def test_the_words_of_another_business_are_not_taken_over(tmp_path):
    calculator = Calculator(SCENARIOS / "fernhollow.yaml", tmp_path / "kept.yaml")
    calculator.scenario = BUSINESS
    assert load_document(calculator.keep()).giveaway is None


def test_keeping_junk_writes_nothing_and_says_so(tmp_path, monkeypatch):
    path = tmp_path / "kept.yaml"
    calculator = Calculator(BUSINESS, path)
    (said,) = heard(calculator, monkeypatch, {"kind": "keep", "scenario": {"months": 0}})
    assert said["text"].startswith("Not kept.")
    assert not path.exists()


def test_where_keeping_fails_the_screen_says_why(tmp_path, monkeypatch):
    calculator = Calculator(BUSINESS, tmp_path / "missing" / "deeper" / "kept.yaml")
    (said,) = heard(calculator, monkeypatch, {"kind": "keep", "scenario": calculator.tuned})
    assert said["text"].startswith("Not kept.")


@pytest.mark.parametrize("message", [None, "keep", {"kind": "other"}, {}, 3])
def test_other_messages_are_passed_over(message, tmp_path, monkeypatch):
    calculator = Calculator(BUSINESS, tmp_path / "kept.yaml")
    assert heard(calculator, monkeypatch, message) == []
    assert not (tmp_path / "kept.yaml").exists()


def test_without_a_path_nothing_can_be_kept():
    calculator = Calculator(BUSINESS)
    assert calculator.keeps is False
    with pytest.raises(growth.GrowthError, match="no path"):
        calculator.keep()


def test_a_saved_notebook_holds_what_the_page_needs_and_the_answer_as_text():
    calculator = Calculator(BUSINESS)
    bundle = calculator._repr_mimebundle_()
    shown = bundle[0] if isinstance(bundle, tuple) else bundle
    assert json.loads(json.dumps(shown[PAGE_DATA])) == page_data(BUSINESS)
    assert shown["text/plain"] == whole_answer(growth.forecast(BUSINESS))
    assert "application/vnd.jupyter.widget-view+json" in shown
