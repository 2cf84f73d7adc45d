"""Exercises: true for their scenario, worked by hand and by the tool alike, harmless whatever the words hold."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from generated import scenarios
from how_many import few_or_many
from hypothesis import given, settings
from numpy.testing import assert_allclose

import growth
import growth.exercises
import growth.measures
from growth.calculator.language import languages
from growth.errors import FileError, PublishError
from growth.exercises import Exercise, likely_scenario, questions
from growth.exercises.exercise import exercise_words
from growth.exercises.exercise_files import make_exercises

LIBRARY = Path(__file__).parents[2] / "scenarios"
FILES = sorted(path for path in LIBRARY.glob("*.yaml") if not path.stem.startswith("sweep"))
STEADY = {
    "business": "Fernhollow",
    "invented": True,
    "months": 24,
    "goal_mrr": 1500,
    "opening": {"customers": 40, "mrr": 800},
    "arrive": {"channels": [{"name": "search", "monthly_visitors": 1000, "monthly_cost": 240}]},
    "sign_up": {"signup_rate": 0.05},
    "pay": {"conversion_rate": 0.1, "plans": [{"name": "Studio", "monthly_price": 20}]},
    "stay": {"churn": {"curve": "constant", "monthly_churn_rate": 0.05}},
    "bill": {"monthly_discount_rate": 0},
}


def asked(**more) -> dict[str, Exercise]:
    return {one.key: one for one in questions(growth.Scenario.model_validate(STEADY | more))}


# --- worked by hand: 40 customers pay 20 each, 5 join a month, 5% leave ----------------------------------------------


@pytest.mark.parametrize(
    ("key", "answer"),
    [
        ("first_customers", 43),  # 40 - 5% of 40 + 5
        ("first_mrr", 860),  # 800 - 40 + 5 x 20
        ("lifetime", 20),  # 1 / 5%
        ("ceiling_customers", 100),  # 5 / 5%
        ("ceiling_mrr", 2000),  # 100 x 20
        ("two_ways", 200),  # 5 / 2.5% = 10 / 5%
        ("ltv", 400),  # 20 / 5%, no costs, no discount
        ("payback", 3),  # CAC 240 / 5 = 48; 20 + 19 = 39, + 18.05 = 57.05
    ],
)
def test_an_answer_by_hand_and_by_the_tool(key, answer):
    one = asked()[key]
    assert_allclose([one.by_hand, one.by_tool], answer)


def test_the_month_of_the_goal():
    # 2000 - 1200 x 0.95^t reaches 1500 where 0.95^t <= 500/1200: t = ln(0.41667) / ln(0.95) = 17.07, so month 18
    one = asked()["goal_month"]
    assert "18" in one.ask
    assert_allclose(one.by_hand, 2000 - 1200 * 0.95**18)


def test_a_goal_above_the_ceiling_asks_how_many_would_have_to_join():
    one = asked(goal_mrr=3000)["goal_joining"]
    assert_allclose([one.by_hand, one.by_tool], 7.5)  # 3000 x 5% / 20
    assert "goal_month" not in asked(goal_mrr=3000)


def test_expansion_and_costs_enter_the_formulas():
    found = asked(
        grow={"monthly_expansion_rate": 0.01}, bill={"monthly_discount_rate": 0.01, "monthly_cost_to_serve": 2}
    )
    assert_allclose(found["ceiling_mrr"].by_hand, 100 / (1 - 0.95 * 1.01))  # 100 new MRR, 95.95% kept
    # worth 20 / (1 - 0.9595/1.01) = 400, cost 2 / (1 - 0.95/1.01) = 33.67
    assert_allclose(found["ltv"].by_tool, 400 - 2 * 1.01 / 0.06)


@pytest.mark.parametrize(
    "change",
    [
        {"stay": {"churn": {"curve": "sbg", "alpha": 2, "beta": 20}}},
        {"stay": {"churn": {"curve": "constant", "monthly_churn_rate": 0}}},
        {"stay": STEADY["stay"] | {"comeback": {"comeback_rate": 0.1, "after_months": 2}}},
        {"stay": STEADY["stay"] | {"churn_changes": [{"from_month": 6, "factor": 0.5}]}},
        {"sign_up": {"signup_rate": 0.05, "monthly_referral_rate": 0.02}},
        {"pay": {"plans": [{"name": "Studio", "yearly_price": 240, "billing": "yearly"}]}},
        {"grow": {"monthly_expansion_rate": 0.06}},  # what is kept is more than all
        {"arrive": {"channels": []}},
    ],
)
def test_the_short_formula_is_asked_for_only_where_it_holds(change):
    found = asked(**change)
    assert not {"lifetime", "ceiling_customers", "ceiling_mrr", "two_ways", "ltv", "payback"} & set(found)
    assert found["first_customers"] and found["last_month"]


def test_ads_that_get_dearer_are_not_doubled():
    ads = {"name": "ads", "kind": "paid", "monthly_budget": 100, "cost_per_visit": 1, "budget_that_doubles_cost": 500}
    assert not {"two_ways", "race"} & set(asked(arrive={"channels": [ads]}))


@settings(max_examples=few_or_many(20, 60), deadline=None)
@given(scenarios())
def test_by_hand_and_by_the_tool_agree_whatever_the_scenario(values):
    for one in questions(growth.Scenario.model_validate(values)):
        assert_allclose(one.by_hand, one.by_tool, rtol=1e-6, atol=1e-6, err_msg=one.key)
        assert all(np.isfinite([one.by_hand, one.by_tool]))


@settings(max_examples=few_or_many(20, 60), deadline=None)
@given(scenarios(simple=True))
def test_by_hand_and_by_the_tool_agree_for_simple_businesses(values):
    for one in questions(growth.Scenario.model_validate(values)):
        assert_allclose(one.by_hand, one.by_tool, rtol=1e-6, atol=1e-6, err_msg=one.key)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_code_shown_gives_the_answer_shown(path):
    scenario = likely_scenario(growth.load_scenario(path))
    names = {"growth": growth, "scenario": scenario, "forecast": growth.forecast(scenario)}
    for one in questions(scenario):
        assert_allclose(eval(one.code, names), one.by_tool, err_msg=one.key)


def test_the_sum_shown_comes_out_as_shown():
    """Every line "a - b + c = d" of the library, worked out from its own rounded figures, gives d within rounding."""
    for path in FILES:
        for one in questions(growth.load_scenario(path)):
            for line in one.working:
                left, _, right = re.sub(r"(\d),(?=\d{3})", r"\1", line.partition(": + ")[0]).rpartition(" = ")
                if not left:
                    continue
                sum_ = left.replace("×", "*").replace("−", "-")
                value = eval(re.sub(r"([\d.]+)%", r"(\1 / 100)", sum_))
                assert_allclose(value, float(right), rtol=2e-3, atol=0.02, err_msg=f"{path.stem}: {line}")


# --- files ------------------------------------------------------------------------------------------------------------


def test_three_files_in_the_giveaways_language(tmp_path):
    paths = make_exercises(LIBRARY / "brief-when-can-i-live-from-it-de.yaml", to=tmp_path)
    sheet, answers, notebook = (path.read_text("utf-8") for path in paths)
    assert '<html lang="de">' in sheet and "Aufgabe 1" in sheet and "Lösung" in answers
    assert "erfunden" in sheet and "weder Rat noch Versprechen" in sheet and "weder Rat noch Versprechen" in answers
    assert "weder Rat noch Versprechen" in notebook
    assert "<script" not in sheet + answers


def test_worksheet_and_answers_have_the_giveaways_look(tmp_path):
    (tmp_path / "logo.svg").write_text(
        "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9'><path d='M1 1h9v9z'/></svg>", "utf-8"
    )
    look = {"name": "An invented <b>desk</b>", "logo": "logo.svg", "accent": "#7a1f4b"}
    words = {"name": "piece", "question": "How big can it get?", "look": look}
    (tmp_path / "a.yaml").write_text(json.dumps({"scenario": STEADY, "giveaway": words}), "utf-8")
    for page in make_exercises(tmp_path / "a.yaml", to=tmp_path / "out")[:2]:
        text = page.read_text("utf-8")
        assert "An invented &lt;b&gt;desk" in text and '<img src="data:image/svg+xml' in text and "#7a1f4b" in text


def test_the_worksheet_holds_no_answer(tmp_path):
    sheet, answers, _ = (path.read_text("utf-8") for path in make_exercises(LIBRARY / "fernhollow.yaml", to=tmp_path))
    assert "1,255.03" in answers and "1,255.03" not in sheet


def test_the_notebook_runs_and_its_cells_give_the_answers(tmp_path):
    notebook = json.loads(make_exercises(LIBRARY / "fernhollow.yaml", to=tmp_path)[2].read_text("utf-8"))
    exercises = questions(growth.load_scenario(LIBRARY / "fernhollow.yaml"))
    first, *cells = ["".join(cell["source"]) for cell in notebook["cells"] if cell["cell_type"] == "code"]
    names: dict[str, object] = {}
    exec(first, names)
    checks = [cell for cell in cells if not cell.startswith("#")]
    assert len(checks) == len(exercises)
    for check, one in zip(checks, exercises, strict=True):
        assert_allclose(eval(check, names), one.by_tool)


def test_hostile_names_run_nothing(tmp_path):
    name = "<script>alert(1)</script>$x$ \"'*_`"
    file = tmp_path / "a.yaml"
    file.write_text(json.dumps({"scenario": STEADY | {"business": name}}), "utf-8")
    sheet, answers, notebook = (path.read_text("utf-8") for path in make_exercises(file, to=tmp_path / "out"))
    assert "<script" not in sheet + answers
    for cell in json.loads(notebook)["cells"]:
        if cell["cell_type"] == "markdown":
            assert "<script" not in "".join(cell["source"])


def test_a_changed_file_is_not_overwritten(tmp_path):
    source = LIBRARY / "fernhollow.yaml"
    sheet, *_ = make_exercises(source, to=tmp_path)
    make_exercises(source, to=tmp_path)  # as it was left: made again
    sheet.write_text("mine", "utf-8")
    with pytest.raises(FileError):
        make_exercises(source, to=tmp_path)
    assert sheet.read_text("utf-8") == "mine"


def test_nothing_to_ask_is_said(tmp_path):
    file = tmp_path / "a.yaml"
    empty = STEADY | {"opening": {"customers": 0}, "arrive": {"channels": []}}
    file.write_text(json.dumps({"scenario": empty}), "utf-8")
    with pytest.raises(PublishError, match="nothing to ask"):
        make_exercises(file, to=tmp_path / "out")


def test_all_languages_have_the_same_words():
    def keys(words: dict, above: str = "") -> set[str]:
        return {
            place
            for key, value in words.items()
            for place in (keys(value, f"{above}{key}.") if isinstance(value, dict) else {f"{above}{key}"})
        }

    def places(words: dict) -> dict[str, list[str]]:
        return {
            key: places(value) if isinstance(value, dict) else sorted(re.findall(r"{\w+}", value))
            for key, value in words.items()
        }

    for code in languages():
        assert exercise_words(code)["code"] == code
        assert keys(exercise_words("en")) == keys(exercise_words(code)), code
        assert places(exercise_words("en")) == places(exercise_words(code)), code
