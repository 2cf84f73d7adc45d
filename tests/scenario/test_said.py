"""Numbers as people say them: the number that follows, what is shown beside it, what a file keeps, what is refused."""

from __future__ import annotations

import pickle
import tempfile
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

import growth
from growth.calculator.as_said import as_said
from growth.calculator.controls import controls
from growth.calculator.language import languages, locale_of
from growth.calculator.widget import Calculator
from growth.errors import ScenarioError
from growth.giveaway import sections
from growth.giveaway.brief import Giveaway
from growth.scenario.file import parse, save_scenario, scenario_of
from growth.scenario.said import FORMS, says, what_was_said
from growth.spreadsheet.inputs import Inputs
from growth.whole_file import json_schema

FILE = """\
scenario:
  business: Kiln
  months: {years: 3}    # as far as she looks
  goal_mrr: {a_year: 30000}
  opening: {customers: 63, mrr: 1827}
  arrive:
    channels:
      - {name: everyone, kind: customers, monthly_customers: {a_year: 60}}
  pay:
    plans:
      - name: Studio
        monthly_price: {amount: 34.51, tax_included: 0.19}   # as on the site
  stay:
    churn:
      curve: constant
      monthly_churn_rate:    # she counted
        count: 2
        of: 63
"""


def scenario_from(text: str = FILE) -> growth.Scenario:
    return scenario_of(parse(text, file="a.yaml"))


def test_the_number_follows_from_what_was_said() -> None:
    scenario = scenario_from()
    # by hand: 3 x 12; 30,000 / 12; 60 / 12; 34.51 / 1.19; 2 / 63
    assert (scenario.months, scenario.goal_mrr) == (36, 2500)
    assert scenario.arrive.channels[0].monthly_customers == 5
    assert scenario.pay.plans[0].monthly_price == pytest.approx(29)
    forecast = growth.forecast(scenario)
    assert forecast.lost_customers[0] == pytest.approx(2) and forecast.closing_customers[0] == pytest.approx(66)
    assert growth.forecast(pickle.loads(pickle.dumps(scenario))).closing_mrr[-1] == forecast.closing_mrr[-1]


@given(st.integers(0, 500), st.integers(1, 500), st.sampled_from(["flow", "block"]))
def test_any_count_is_kept_until_its_number_changes(count: int, of: int, layout: str) -> None:
    said = f"{{count: {count}, of: {of}}}" if layout == "flow" else f"\n        count: {count}\n        of: {of}"
    text = FILE[: FILE.index(" # she") - 3] + f" {said}\n"
    if count > of:
        with pytest.raises(ScenarioError, match=f"count: {count}, of: {of}, which is"):
            scenario_from(text)
        return
    scenario = scenario_from(text)
    assert scenario.stay.churn.monthly_churn_rate == count / of
    plain = growth.load_scenario({"scenario": scenario.model_dump(mode="json")})  # as the page hands it back
    assert plain == scenario and what_was_said(plain.stay.churn.monthly_churn_rate) is None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.yaml"
        path.write_text(text)
        assert save_scenario(plain, path).read_text() == text
        assert scenario_from(save_scenario(scenario, Path(folder) / "new.yaml").read_text()) == scenario
        assert f"{{count: {count}, of: {of}}}" in (Path(folder) / "new.yaml").read_text()


def test_the_calculator_keeps_what_was_said_and_writes_what_was_moved(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text(FILE)
    calculator = Calculator(path, path=path)
    tuned = calculator.scenario.model_dump(mode="json")
    tuned["grow"]["monthly_expansion_rate"] = 0.01
    calculator.tuned = tuned
    assert what_was_said(calculator.scenario.stay.churn.monthly_churn_rate) == {"count": 2, "of": 63}
    calculator.keep()
    assert path.read_text() == FILE + "  grow:\n    monthly_expansion_rate: 0.01\n"
    tuned["stay"]["churn"]["monthly_churn_rate"] = 0.05
    calculator.tuned = tuned
    calculator.keep()
    assert "monthly_churn_rate: 0.05" in path.read_text() and "count" not in path.read_text()
    assert "tax_included: 0.19}   # as on the site" in path.read_text()


@pytest.mark.parametrize(
    ("there", "instead", "told"),
    [
        ("{years: 3}", "{years: 3.3}", "whole months"),
        ("{years: 3}", "{years: 30}", "years: 30, which is 360"),
        ("{a_year: 60}", "{a_year: sixty}", "a_year: a number"),
        ("{a_year: 60}", "{per_year: 60}", "a_year: 348"),
        ("0.19", "19", "for 19% write 0.19"),
        ("tax_included", "tax", "tax_included: 0.19"),
        ("count: 2", "leave: 2", "{count: 2, of: 63}"),
        ("of: 63", "of: 0", "of: a number above 0"),
        ("count: 2", "count: -2", "count: a number from 0 up"),
        ("count: 2", "count: true", "count: a number"),
        ("count: 2", "count: .inf", "count: a number from 0 up"),
        ("count: 2", "count: {low: 1, likely: 2, high: 3}", "count: a number"),
        ("{a_year: 30000}", "{count: 2, of: 63}", "a_year: 348"),
        ("{a_year: 30000}", "{low: {a_year: 1}, likely: 2, high: 3}", "plain numbers"),
        ("    # she counted\n        count: 2\n        of: 63", " 2 of 63", "Write {count: 2, of: 63}"),
    ],
)
def test_what_cannot_be_is_one_line_with_the_mend(there: str, instead: str, told: str) -> None:
    with pytest.raises(ScenarioError) as wrong:
        scenario_from(FILE.replace(there, instead, 1))
    (problem,) = wrong.value.problems
    assert told in str(problem) and problem.line


def test_the_schema_takes_what_we_take() -> None:
    validator = jsonschema.Draft202012Validator(json_schema())
    from growth.scenario.yaml_text import read_nodes

    assert list(validator.iter_errors(read_nodes(FILE)[0].plain())) == []
    assert list(validator.iter_errors(read_nodes(FILE.replace("count: 2", "leave: 2"))[0].plain()))


@pytest.mark.parametrize("language", languages())
def test_page_and_workbook_show_what_was_said_and_what_follows(language: str) -> None:
    scenario, locale = scenario_from(), locale_of(language)
    told = as_said(scenario.stay.churn.monthly_churn_rate, "share", "EUR", locale)
    assert "2" in told and "63" in told and told[:1].isupper() and told.endswith(".")
    assert "3.17" in told or "3,17" in told
    line = next(one for one in controls(scenario, locale) if one["path"].endswith("churn_rate"))
    assert line["help"].endswith(told) and line["slider"][2] == 0.0005  # and its slider moves in round steps
    cells = {one.place: one for one in Inputs(scenario, locale=locale).cells}
    assert cells["stay.churn.monthly_churn_rate"].help.endswith(told)
    source = {"of": "stay.churn.monthly_churn_rate", "source": "told", "was": 0.031746031746}
    sourced = growth.load_scenario({"scenario": scenario.model_dump(mode="json") | {"sources": [source]}})
    sourced = scenario.model_copy(update={"sources": sourced.sources})
    words = Giveaway(name="how-big", question="How big can it get?", show_sources=True)
    words = words.model_copy(update={"language": language})
    assert told in sections.cautions(words, growth.forecast(sourced)).html


def test_check_shows_both(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from growth.cli import main

    (tmp_path / "a.yaml").write_text(FILE)
    assert main(["check", str(tmp_path / "a.yaml")]) == 0
    told = capsys.readouterr().out
    assert "customers leaving each month (stay.churn.monthly_churn_rate): given as 2 of 63, which is 3.17%" in told
    assert "price (pay.plans[Studio].monthly_price): given with tax of 19%: €34.51, which is €29 a month" in told


def test_every_form_has_an_example_that_is_one() -> None:
    from growth.scenario.yaml_text import read_nodes

    for form in FORMS:
        example = read_nodes(form.example)[0].plain()
        assert set(example) == form.keys and not says(example, -1.0)
