"""Places for computed numbers and what-ifs: what passes the check is published, and nothing unfilled ever is."""

from __future__ import annotations

from pathlib import Path

import pytest

from growth.cli import main
from growth.errors import ScenarioError
from growth.giveaway.placeholders import load_giveaway
from growth.scenario.file import load_scenario
from growth.whole_file import check_file

DEMO = (Path(__file__).parents[2] / "scenarios" / "fernhollow.yaml").read_text("utf-8")
NAME = "  name: how-big-can-it-get\n"


def with_words(tmp_path: Path, words: str, scenario: str = DEMO) -> Path:
    """The demo with more lines in its giveaway, or what-ifs at the end of its scenario."""
    path = tmp_path / "shop.yaml"
    words, split, what_ifs = words.partition("  what_ifs:")
    scenario = scenario.replace("\ngiveaway:", f"\n{split}{what_ifs}\ngiveaway:")
    path.write_text(scenario.replace(NAME, NAME + words), "utf-8")
    return path


def what_if(field: str, change: str) -> str:
    return f"  what_ifs:\n    - name: other\n      changes:\n        - {{field: {field}, {change}}}\n"


WRONG = {
    "a goal that the scenario does not have": ('  answer: "Worth {goal}."\n', "there is no goal"),
    "a goal that is never reached": ('  answer: "In month {goal_month}."\n', "there is no month"),
    "a place that is not closed": ('  answer: "In month {goal_month."\n', "both braces of a place"),
    "a place that is not opened": ('  answer: "In month closing_mrr}."\n', "both braces of a place"),
    "a place that is not known": ('  answer: "In {closing_mr}."\n', "Did you mean {closing_mrr}?"),
    "a what-if that is not there": ('  answer: "{a.closing_mrr}."\n', "a place that the model can fill"),
    "a place in a text that is not filled": ("  language: en\n", "only the answer, the details and the cautions"),
    "a what-if on a text": (what_if("business", "becomes: 5"), "the address of a number of the scenario"),
    "a what-if on a truth value": (what_if("invented", "times: 2"), "the address of a number of the scenario"),
    "a what-if on a section": (what_if("pay", "becomes: 2"), "the address of a number of the scenario"),
    "a what-if on nothing": (what_if("goal_mrr", "times: 2"), "the address of a number of the scenario"),
    "months that are no whole number": (what_if("months", "becomes: 6.7"), "months: a whole number"),
    "months without end": (what_if("months", "becomes: .inf"), "months: a whole number"),
    "no number at all": (what_if("months", "becomes: .nan"), "months: a whole number"),
    "a share above 1": (what_if("stay.churn.monthly_churn_rate", "times: 900"), "monthly_churn_rate"),
    "a what-if called base": (what_if("months", "becomes: 6").replace("other", "base"), "base is the scenario itself"),
    "what-ifs in their former place": (
        what_if("months", "becomes: 6").replace("  what_ifs:", '  "what_ifs":'),
        "what-ifs stand under scenario",
    ),
}


@pytest.mark.parametrize(("words", "said"), WRONG.values(), ids=WRONG)
def test_check_refuses_what_publishing_would(words, said, tmp_path, capsys):
    scenario = "\n".join(line for line in DEMO.splitlines() if "goal_mrr" not in line) + "\n"
    if "never" in words or "{goal_month}" in words:
        scenario = DEMO.replace("goal_mrr: 2500", "goal_mrr: 900000")
    if "only the answer" in said:
        scenario = scenario.replace("  byline: From", "  byline: In month {closing_mrr}. From")
    path = with_words(tmp_path, words, scenario)
    assert main(["check", str(path)]) == 2
    checked = capsys.readouterr().err
    assert said in checked and "line " in checked and len(checked.splitlines()) == 1
    assert main(["publish", str(path), "--to", str(tmp_path / "out")]) == 2
    assert [line for line in capsys.readouterr().err.splitlines() if line.startswith("growth:")] == checked.splitlines()
    assert not (tmp_path / "out").exists()


def test_every_problem_of_the_words_is_told_at_once(tmp_path):
    path = with_words(tmp_path, '  answer: "{nothing} and {nowhere} {"\n')
    with pytest.raises(ScenarioError) as caught:
        check_file(path)
    assert len(caught.value.problems) == 3


def test_a_what_if_sets_a_number_as_written(tmp_path):
    """29 as a whole number in the file must not cut 29.5 to 29."""
    words = '  answer: "{other.price}"\n' + what_if("pay.plans.0.monthly_price", "becomes: 29.5")
    path = with_words(tmp_path, words)
    assert load_giveaway(path, scenario=load_scenario(path)).answer == "€29.50"


@pytest.mark.parametrize("text", ["{ a set }", "function () { }"])
def test_braces_in_texts_that_hold_no_place_are_only_text(text, tmp_path):
    path = with_words(tmp_path, "", DEMO.replace("  byline: From", f"  byline: '{text}'\n  #"))
    check_file(path)
