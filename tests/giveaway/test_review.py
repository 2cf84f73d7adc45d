"""The reading of a brief: each rule fires on the passage that breaks it, on its line, and on nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest

from growth.cli import main
from growth.giveaway.review import notebook_findings, page_findings, review

SCENARIOS = Path(__file__).parents[2] / "scenarios"
BRIEFS = sorted(SCENARIOS.glob("brief-*.yaml"))

GOOD = """scenario:
  business: Fernhollow
  opening: {customers: 40, mrr: 1160}
  goal_mrr: 2500
  arrive: {channels: [{name: search, monthly_visitors: 1000}]}
  pay: {plans: [{name: Studio, monthly_price: 29}]}
giveaway:
  name: when
  question: I have forty studios and free evenings. When can I live from it?
  case:
    quotations:
      - {words: "I say soon. I have said soon for two years and 3 months.", who: An owner (invented)}
    details:
      - You have {opening_customers} studios at 29 a month.
  answer: You reach {goal} in month {goal_month}.
  cautions:
    - It knows nothing of tax.
  invitation:
    text: "Shall I send you the next one?"
    link: https://example.org/
  address: https://example.org/when.html
  byline: By Runa Kilnstead (invented)
"""


def rules(tmp_path, old: str = "", new: str = "", **more) -> list[tuple[str, int | None]]:
    assert old in GOOD
    file = tmp_path / "brief.yaml"
    file.write_text(GOOD.replace(old, new) if old else GOOD, encoding="utf-8")
    return [(finding.rule, finding.line) for finding in review(file, **more)]


def test_a_good_brief_gets_no_remark(tmp_path):
    assert rules(tmp_path) == []


@pytest.mark.parametrize("file", BRIEFS, ids=lambda path: path.stem)
def test_our_own_briefs_get_no_remark(file):
    assert len(BRIEFS) == 4 and review(file) == []


@pytest.mark.parametrize(
    ("old", "new", "rule", "line"),
    [
        (
            "question: I have forty studios and free evenings. When can I live from it?",
            "question: How do I grow my business?",
            "general question",
            9,
        ),
        (
            "question: I have forty studios and free evenings. When can I live from it?",
            "question: What is the best way for a company to think about growth?",
            "general question",
            9,
        ),
        (
            '- {words: "I say soon. I have said soon for two years and 3 months.", who: An owner (invented)}',
            "[]",
            "no quotation",
            7,
        ),
        ("answer: You", "answer: It depends. You", "more than one answer", 15),
        ("in month {goal_month}.", "in month {goal_month}. Or you stop. Or you sell.", "more than one answer", 15),
        (
            "Shall I send you the next one?",
            "Shall I send you the next one? Or book a call and follow me.",
            "more than one invitation",
            19,
        ),
        (
            "It knows nothing of tax.",
            "It knows nothing of tax; subscribe to learn more.",
            "more than one invitation",
            17,
        ),
        ("at 29 a month", "at 35 a month", "number not computed", 14),
        ("You reach {goal}", "You reach half of {goal}", "number not computed", 15),
        ("It knows nothing of tax.", "You will earn more than today.", "promise", 17),
        ("It knows nothing of tax.", "This is guaranteed.", "promise", 17),
        ("  cautions:\n    - It knows nothing of tax.\n", "", "no caution", 7),
        ("  address: https://example.org/when.html\n", "", "no address", 7),
        ("  byline: By Runa Kilnstead (invented)\n", "", "no byline", 7),
        ("It knows nothing of tax.", "It knows " + "and so on and on " * 8 + "to the end.", "long sentence", 17),
        ("at 29 a month", "at 29 a month, with churn on top", "term not explained", 14),
    ],
)
def test_each_rule_says_where(tmp_path, old, new, rule, line):
    assert (rule, line) in rules(tmp_path, old, new)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("It knows nothing of tax.", "Nobody can promise that you will earn it, and this is no guarantee."),
        ("at 29 a month", "at 29 a month; the share who leave is called churn"),
        ("at 29 a month", "at 29 a month. Churn, the share who leave, is not in here"),
        ("It knows nothing of tax.", "Between 3.5% and 5% may leave, by a 95% interval, which holds chance alone."),
        ("It knows nothing of tax.", "With {opening_customers} studios a single month says little."),
    ],
)
def test_what_is_well_put_is_let_be(tmp_path, old, new):
    assert [
        rule
        for rule, _ in rules(tmp_path, old, new)
        if rule in ("promise", "term not explained", "number not computed")
    ] == []


@pytest.mark.parametrize(("count", "found"), [(26, []), (27, ["long sentence"])])
def test_a_sentence_may_have_26_words(tmp_path, count, found):
    """Common practice, no source: guides to plain language ask for 15 to 20 words on average, about 25 at most."""
    assert [rule for rule, _ in rules(tmp_path, "It knows nothing of tax.", " ".join(["word"] * count) + ".")] == found


@pytest.mark.parametrize(("question", "found"), [("Can my six studios pay my rent?", []), ("Can I live from it?", 1)])
def test_a_question_has_seven_words_or_more(tmp_path, question, found):
    """Common practice, no source: fewer words leave no room for one reader's case."""
    old = "I have forty studios and free evenings. When can I live from it?"
    assert [rule for rule, _ in rules(tmp_path, old, question)] == ["general question"] * bool(found)


def test_pictures_and_weight():
    silent, heavy = '<img src="data:image/png;base64,AA" alt="">', "<p>" + "x" * 160 * 1024
    assert [finding.rule for finding in page_findings(silent)] == ["picture without text"]
    assert [finding.rule for finding in page_findings(heavy)] == ["page too heavy"]
    assert page_findings('<img src="x" alt="MRR rises to 6,000 by month 19">') == []


def test_a_picture_in_a_notebook_needs_text(tmp_path):
    file = tmp_path / "own.ipynb"
    file.write_text(
        '{"cells": [{"cell_type": "markdown", "source": ["A\\n", "![](kiln.png)"]}, {"cell_type": "code", '
        '"source": "![]()"}]}'
    )
    assert [(one.rule, one.field, one.line) for one in notebook_findings(file)] == [
        ("picture without text", "cell 1 of the notebook", 2)
    ]


def test_the_command_warns_and_strict_is_an_error(tmp_path, capsys):
    file = tmp_path / "brief.yaml"
    file.write_text(GOOD, encoding="utf-8")
    assert main(["review", str(file), "--words-only", "--strict"]) == 0
    file.write_text(GOOD.replace("It knows nothing of tax.", "This is guaranteed."), encoding="utf-8")
    assert main(["review", str(file), "--words-only"]) == 0
    said = capsys.readouterr().out
    assert f"{file}:17: cautions[0]: promise. “guaranteed”" in said and "Why:" in said and "Try:" in said
    assert main(["review", str(file), "--words-only", "--strict"]) == 2
    file.write_text(GOOD.replace("{goal_month}", "{goal_moth}"), encoding="utf-8")
    assert main(["review", str(file), "--words-only"]) == 2
    assert "Did you mean {goal_month}?" in capsys.readouterr().err


def test_in_another_language_only_what_hangs_on_no_language_is_read_and_that_is_said(tmp_path, capsys):
    german = GOOD.replace("name: when\n", "name: when\n  language: de\n")
    german = german.replace(
        "It knows nothing of tax.", "Sie werden reich. Sie zahlen 2,5% und 1.160 Euro, nicht 1,160."
    )
    file = tmp_path / "brief.yaml"
    file.write_text(german, encoding="utf-8")
    found = [(one.rule, one.words) for one in review(file)]
    assert found == [("number not computed", "2,5%"), ("number not computed", "1,160")]  # 1.160 is what they pay
    assert main(["review", str(file), "--words-only"]) == 0
    assert "The brief is in de (Deutsch)" in capsys.readouterr().out
