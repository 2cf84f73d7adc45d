"""What a scenario can be loaded from, and problems of mappings and of other models."""

import copy
import pickle
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from pydantic import BaseModel, ConfigDict, Field

import growth
from growth.scenario.file import load_document
from growth.scenario.validation import validate

DEMO = Path(__file__).parents[2] / "scenarios" / "fernhollow.yaml"
PLANS = {"plans": [{"name": "Studio", "monthly_price": 29}]}


def test_a_path_a_text_a_mapping_its_content_and_a_scenario_are_the_same():
    scenario, document = growth.load_scenario(DEMO), load_document(DEMO)
    for source in (str(DEMO), {"scenario": document.scenario}, document.scenario, scenario):
        assert growth.load_scenario(source) == scenario


def test_loading_leaves_the_mapping_as_it_was():
    content = load_document(DEMO).scenario
    before = copy.deepcopy(content)
    growth.load_scenario(content)
    assert content == before


def test_the_demo_is_interesting():
    """Goal reached in month 15 to 25 of 36; in month 1 one or two of the forty leave; marked as invented."""
    from growth.measures import goal_month

    scenario = growth.load_scenario(DEMO)
    forecast = growth.forecast(scenario)
    assert scenario.invented and scenario.teaches
    assert forecast.opening_customers[0] == 40 and forecast.opening_mrr[0] == 1160
    assert 1 <= forecast.lost_customers[0] <= 2
    assert 15 <= goal_month(forecast).value <= 25


@pytest.mark.parametrize("source", [None, 3, ["scenario"], b"x", object()])
def test_other_sources_are_refused(source):
    with pytest.raises(growth.ScenarioError, match="a path or a mapping"):
        growth.load_scenario(source)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ({}, "business: needed"),
        ({"scenario": {}}, "business: needed"),
        ({"scenario": {"business": "S", "pay": PLANS}, "settings": 1}, "settings: not a part of the file"),
        ({"scenario": None}, "scenario: no such setting"),
        ({1: 2, "business": "S", "pay": PLANS}, "[1]: keys should be strings"),
        ({"business": "\ud800", "pay": PLANS}, "business: text in Unicode"),
        ({"business": "two\nlines", "pay": PLANS}, "business: text on one line"),
        ({"business": b"bytes", "pay": PLANS}, "business: text (found b'bytes')"),
        ({"business": " ", "pay": PLANS}, "business: text of at least 1 character"),
        ({"business": "x" * 121, "pay": PLANS}, "business: text of at most 120 characters (found 121)"),
        ({"business": "S", "pay": PLANS, "invented": "yes"}, "invented: true or false (found 'yes')"),
        ({"business": "S", "pay": PLANS, "invented": 1}, "invented: true or false (found 1)"),
        (
            {"business": "S", "pay": PLANS, "months": np.array([12, 24])},
            "months: a whole number of months from 1 to 120",
        ),
        ({"business": "S", "pay": PLANS, "opening": {"customers": 1j}}, "opening.customers: a number from 0"),
        (
            {"business": "S", "pay": PLANS, "opening": {"customers": 10**400}},
            "(found a very large number). It must be finite.",
        ),
        ({"business": "S", "pay": PLANS, "opening": {"customers": [1, 2]}}, "opening.customers: a number from 0"),
        ({"business": "S", "pay": PLANS, "opening": {"customers": np.array([1.0, np.nan])}}, "(found nan)"),
        ({"business": "S", "pay": PLANS, "opening": 3}, "opening: settings, as key: value below it (found 3)"),
        ({"business": "S", "pay": {"plans": []}}, "pay.plans: a list of at least 1 value (found 0)"),
        ({"business": "S", "pay": {"plans": PLANS["plans"] * 2}}, "pay: plans: each name once (found Studio)"),
        ({"business": "S", "pay": {**PLANS, "delay_shares": [0.5, 0.4]}}, "pay: delay_shares adding to 1 (found 0.9)"),
        (
            {"business": "S", "pay": PLANS, "stay": {"churn": {}}},
            "stay.churn.curve: needed: one of constant, early_late",
        ),
        (
            {"business": "S", "pay": PLANS, "arrive": {"channels": [{"name": "a", "kind": "paidd"}]}},
            "arrive.channels[a].kind: one of steady",
        ),
        (
            {"business": "S", "pay": PLANS, "arrive": {"channels": [{"name": "a", "season": [1, 2]}]}},
            "arrive.channels[a].season: a list of at least 12 values (found 2)",
        ),
        (
            {
                "business": "S",
                "pay": PLANS,
                "arrive": {"channels": [{"name": "a", "launches": [{"month": 1, "visitors": -1}]}]},
            },
            "arrive.channels[a].launches[0].visitors: a number from 0",
        ),
        (
            {
                "business": "S",
                "pay": PLANS,
                "grow": {"price_changes": [{"month": 1, "change_rate": 0.1, "applies_to": "al"}]},
            },
            "grow.price_changes[0].applies_to: one of new, all (found 'al'). Did you mean all?",
        ),
    ],
)
def test_one_problem_of_a_mapping(content, said):
    with pytest.raises(growth.ScenarioError) as caught:
        growth.load_scenario(content)
    assert said in str(caught.value)
    assert caught.value.file is None


def test_a_mapping_that_holds_itself_is_refused():
    loop = {"business": "S", "pay": PLANS}
    loop["opening"] = loop
    with pytest.raises(growth.ScenarioError):
        growth.load_scenario(loop)


def test_the_error_survives_pickling():
    with pytest.raises(growth.ScenarioError) as caught:
        growth.load_scenario({"business": "S", "pay": PLANS, "months": 0})
    again = pickle.loads(pickle.dumps(caught.value))
    assert str(again) == str(caught.value) == "months: a whole number of months from 1 to 120 (found 0)"
    assert again.problems == caught.value.problems


class Words(BaseModel):
    """A model of another part of the file."""

    model_config = ConfigDict(extra="forbid")

    question: str = Field(min_length=3)
    tone: Literal["plain", "warm"] = "plain"
    quotes: tuple[str, ...] = ()


def test_other_parts_of_the_file_report_in_the_same_words(tmp_path):
    path = tmp_path / "shop.yaml"
    text = DEMO.read_text(encoding="utf-8").partition("\n# The words")[0]
    path.write_text(
        text + "\ngiveaway:\n  question: a\n  tone: wrm\n  quotes:\n    - 3\n  titel: x\n", encoding="utf-8"
    )
    document = load_document(path)
    first = text.count("\n") + 3
    with pytest.raises(growth.ScenarioError) as caught:
        validate(Words, document.giveaway, file=document.file, lines=document.lines, root="giveaway")
    assert str(caught.value).splitlines() == [
        f"{path}: line {first}: giveaway.question: text of at least 3 characters (found 1)",
        f"{path}: line {first + 1}: giveaway.tone: one of plain, warm (found 'wrm'). Did you mean warm?",
        f'{path}: line {first + 3}: giveaway.quotes[0]: text (found 3). Put it in quotes: "3".',
        f"{path}: line {first + 4}: giveaway.titel: no such setting. Known here: question, tone, quotes.",
    ]
