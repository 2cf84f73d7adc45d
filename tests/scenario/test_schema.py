"""The JSON Schema and the table of assumptions, which come from the same entries as the validator."""

import copy

import jsonschema
import pytest
from library import LIBRARY, SCENARIOS
from papermill.iorw import read_yaml_file

import growth
from growth.scenario import Scenario
from growth.scenario.entries import entries
from growth.whole_file import json_schema

VALIDATOR = jsonschema.Draft202012Validator(json_schema())


def test_the_schema_is_one():
    jsonschema.Draft202012Validator.check_schema(json_schema())


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_the_shipped_scenarios_are_valid_by_the_schema(path):
    assert list(VALIDATOR.iter_errors(read_yaml_file(str(path)))) == []


@pytest.mark.parametrize(
    ("section", "key", "value"),
    [
        ("opening", "customers", -1),
        ("opening", "customers", "forty"),
        ("opening", "colour", 1),
        ("sign_up", "signup_rate", 4),
        ("bill", "monthly_discount_rate", 1.5),
        ("stay", "churn", {"curve": "other"}),
        ("pay", "plans", []),
        ("arrive", "channels", [{"name": "search", "kind": "unheard of"}]),
    ],
)
def test_what_the_schema_refuses_we_refuse(section, key, value):
    content = copy.deepcopy(read_yaml_file(str(SCENARIOS / "fernhollow.yaml")))
    content["scenario"][section][key] = value
    assert not VALIDATOR.is_valid(content)
    with pytest.raises(growth.ScenarioError):
        growth.load_scenario(content)


def test_the_table_has_every_number_once_with_its_words():
    table = list(entries(Scenario))
    places = [entry.place for entry in table]
    assert len(set(places)) == len(places)
    assert {
        "months",
        "opening.customers",
        "stay.churn[sbg].alpha",
        "pay.plans[].monthly_price",
        "arrive.channels[paid].monthly_budget",
    } <= set(places)
    for entry in table:
        assert entry.assumption.label and entry.assumption.low <= entry.assumption.high
        if isinstance(entry.default, (int, float)):
            assert entry.assumption.check(entry.default) == entry.default
        if entry.assumption.slider:
            low, high, step = entry.assumption.slider
            assert entry.assumption.low <= low < high <= entry.assumption.high and 0 < step <= high - low
