"""A client's folder: five answers, what to ask, and what happened since."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

import growth
from growth.calculator.language import languages, locale_of
from growth.cli import main
from growth.client import Answers, compare_with_actuals, first_scenario, questions_text, read_actuals, slug_of
from growth.client.actuals import comparison_lines
from growth.client.first_meeting import question_words
from growth.errors import ScenarioError
from growth.scenario.file import parse, scenario_of
from growth.whole_file import check_file

SAID = Answers("Fernhollow", customers=63, price=29, joining=5, leaving=2, goal=2500)


def scenario_from(said: Answers) -> growth.Scenario:
    return scenario_of(parse(first_scenario(said, today=date(2026, 12, 15)), file="a.yaml"))


def test_five_answers_are_a_forecast() -> None:
    forecast = growth.forecast(scenario_from(SAID))
    # by hand: 63 customers, 2 of 63 (3.17%) leave, 5 join; each pays 29
    assert forecast.lost_customers[0] == pytest.approx(2)
    assert forecast.closing_customers[0] == pytest.approx(63 - 2 + 5)
    assert forecast.opening_mrr[0] == 63 * 29 and forecast.scenario.first_month == "2027-01"


def test_the_file_keeps_what_was_said() -> None:
    text = first_scenario(SAID, today=date(2027, 1, 15))
    assert "monthly_churn_rate: {count: 2, of: 63}" in text and 'when: "2027-01-15"' in text


@pytest.mark.parametrize(
    "business",
    [
        "Müller & Söhne: “Töpfe”",
        "'); <script>alert(1)</script>",
        "# no comment",
        "{a}",
        "???",
        "yes",
        "x" * 120,
        "a\nscenario: b",
    ],
)
def test_any_name_makes_a_valid_folder(business: str, tmp_path: Path) -> None:
    folder = tmp_path / "new"
    answers = ["--customers", "63", "--price", "29", "--joining", "5", "--leaving", "2"]
    if "\n" in business:
        assert main(["new", business, "--to", str(folder), *answers]) == 2  # a name is one line
        return
    assert main(["new", business, "--to", str(folder), *answers]) == 0
    assert check_file(folder / f"{slug_of(business)}.yaml").business == business
    assert sorted(path.suffix for path in folder.iterdir()) == [".csv", ".ipynb", ".md", ".yaml"]
    before = {path: path.read_bytes() for path in folder.iterdir()}
    assert main(["new", business, "--to", str(folder), *answers]) == 2  # nothing is overwritten
    assert {path: path.read_bytes() for path in folder.iterdir()} == before


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"leaving": 64}, "leaving"),
        ({"leaving": -1}, "leaving"),
        ({"price": 0}, "price"),
        ({"joining": float("nan")}, "joining"),
    ],
)
def test_an_answer_that_cannot_be_is_named(wrong: dict[str, float], field: str) -> None:
    answers = {"customers": 63, "price": 29, "joining": 5, "leaving": 2} | wrong
    with pytest.raises(ScenarioError) as error:
        first_scenario(Answers("Kiln", **answers), today=date(2027, 1, 1))
    assert [problem.field for problem in error.value.problems] == [field]


def test_where_nobody_can_be_asked_the_answer_that_is_missing_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", "Kiln", "--to", str(tmp_path / "k"), "--customers", "63"]) == 2
    assert "--price is needed" in capsys.readouterr().err and not (tmp_path / "k").exists()


def test_questions_come_in_the_order_of_what_moves_the_answer() -> None:
    text = questions_text(scenario_from(SAID))
    then = [line for line in text.split("## Then")[1].splitlines() if line[:1].isdigit()]
    moved = [int(line.split(" by ")[1].split("%")[0]) for line in then if " by " in line]
    assert moved == sorted(moved, reverse=True) and len(moved) >= 3
    leaving = next(line for line in then if "Customers leaving each month" in line)
    assert "told by the owner; given as 2 of 63, which is 3.17%" in leaving


def test_what_happened_stands_beside_what_was_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scenario = scenario_from(SAID)
    likely = growth.forecast(scenario).closing_mrr
    path = tmp_path / "actuals.csv"
    path.write_text(f"month,customers,mrr\n2027-01,66,{likely[0]:.2f}\n2027-02,20,{likely[1] / 2:.2f}\n1999-01,1,1\n")
    first, second = compare_with_actuals(scenario, read_actuals(path))
    assert first.error == pytest.approx(0, abs=1e-5) and first.inside
    assert second.error == pytest.approx(1, abs=1e-4) and not second.inside  # twice what came: +100%
    assert comparison_lines([first, second])[-1].startswith("The forecast was off by 50% on average; 1 of 2 months")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("month,mrr\n", "the columns month, customers, mrr"),
        ("", "the columns"),
        ("month,customers,mrr\nJanuary,1,1\n", "line 2"),
        ("month,customers,mrr\n2027-01,1,1\n2027-01,1,1\n", "line 3"),
        ("month,customers,mrr\n2027-01,many,1\n", "customers"),
        ("month,customers,mrr\n2027-01,1\n", "mrr"),
        ("month,customers,mrr\n2027-01,1,-5\n", "mrr"),
        ("month,customers,mrr\n2027-01,1,nan\n", "mrr"),
    ],
)
def test_a_row_that_cannot_be_read_is_named(text: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(text)
    with pytest.raises(ScenarioError, match=said):
        read_actuals(tmp_path / "a.csv")


def test_large_numbers_keep_their_digits() -> None:
    said = Answers("Kiln", customers=1234567, price=1234.56, joining=98765.4, leaving=1234, goal=123456789)
    scenario = scenario_from(said)
    assert scenario.opening.customers == 1234567 and scenario.goal_mrr == 123456789
    assert scenario.pay.plans[0].monthly_price == 1234.56


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"month,customers,mrr\n2027-01," + b"4" * 140_000 + b",5\n", "line 2: rows of a CSV file"),
        (b"PK\x03\x04 and the rest of a workbook", "found a spreadsheet"),
        (b"\0" * 900, "line 1: the columns"),
    ],
)
def test_a_file_that_is_no_table_of_months_is_one_line(content, said, tmp_path, capsys):
    (tmp_path / "actuals.csv").write_bytes(content)
    scenario = Path(__file__).parents[2] / "scenarios" / "fernhollow.yaml"
    assert main(["actuals", str(scenario), str(tmp_path / "actuals.csv")]) == 2
    told = capsys.readouterr().err
    assert said in told and len(told.splitlines()) == 1


@pytest.mark.parametrize("language", languages())
def test_the_list_follows_the_language_of_the_file(
    language: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = ["--customers", "63", "--price", "29", "--joining", "5", "--leaving", "2", "--language", language]
    assert main(["new", "Kiln", "--to", str(tmp_path / "k"), *answers]) == 0
    capsys.readouterr()
    words = question_words(locale_of(language))
    assert main(["questions", str(tmp_path / "k" / "kiln.yaml")]) == 0
    told = capsys.readouterr().out
    assert (tmp_path / "k" / "questions.md").read_text("utf-8").startswith(told.rstrip()[:400])
    assert words["first"][0] in told and words["ask"]["monthly_churn_rate"] in told and words["caution"] in told
    assert check_file(tmp_path / "k" / "kiln.yaml").business == "Kiln"
    english = question_words("en-GB")
    assert words.keys() == english.keys() and words["ask"].keys() == english["ask"].keys()
    assert language == "en" or not {*english["first"], *english["ask"].values()} & {
        *words["first"],
        *words["ask"].values(),
    }
    assert main(["new", "Kiln", "--to", str(tmp_path / "x"), *answers[:-1], "xx"]) == 2
    assert "de (Deutsch)" in capsys.readouterr().err and not (tmp_path / "x").exists()
