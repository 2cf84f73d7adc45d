"""Correlations of a scenario file: what is taken, and what is refused with place and mend."""

from __future__ import annotations

import pytest

import growth
from growth.errors import ScenarioError
from growth.scenario.file import parse, scenario_of

TEXT = """
scenario:
  business: Kiln
  sign_up: {signup_rate: {low: 0.04, likely: 0.05, high: 0.06}}
  pay:
    conversion_rate: {low: 0.1, likely: 0.15, high: 0.2}
    plans: [{name: Studio, monthly_price: 29}]
  correlations:
    - {of: [FIRST, pay.conversion_rate], correlation: SIZE}
"""


def read(first: str = "sign_up.signup_rate", size: str = "-0.4") -> growth.Scenario:
    return scenario_of(parse(TEXT.replace("FIRST", first).replace("SIZE", size), file="kiln.yaml"))


def test_a_correlation_is_kept_by_saving(tmp_path):
    scenario = read()
    saved = growth.load_scenario(growth.save_scenario(scenario, tmp_path / "kiln.yaml"))
    assert saved.correlations[0].correlation == -0.4 and saved == scenario


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"first": "sign_up.signup_rat"}, "sign_up.signup_rate"),
        ({"first": "pay.plans.Studio.name"}, "the address of a number that may be a range"),
        ({"first": "months"}, "the address of a number that may be a range"),
        ({"first": "pay.conversion_rate"}, "each number in one pair only"),
        ({"size": "1"}, "correlation"),
        ({"size": "-1.5"}, "correlation"),
        ({"size": "strong"}, "correlation"),
    ],
)
def test_what_cannot_be_is_refused_with_its_line_and_what_would_be_right(wrong, told):
    with pytest.raises(ScenarioError) as raised:
        read(**wrong)
    text = str(raised.value)
    assert "kiln.yaml" in text and told in text and "line 9" in text and "correlations[0]" in text
