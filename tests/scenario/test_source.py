"""Where numbers come from: written beside them, kept, checked, listed where missing, shown where wanted."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

import growth
from growth.calculator.widget import Calculator
from growth.errors import ScenarioError
from growth.giveaway import sections
from growth.giveaway.brief import Giveaway
from growth.records import measure, scenario_text
from growth.records.demo import DemoBusiness, demo_book
from growth.scenario.about_numbers import sources_by_path
from growth.scenario.file import parse, scenario_of

FILE = """\
scenario:
  business: Fernhollow
  opening: {customers: 63, mrr: 1827}
  pay:
    plans:
      - name: Studio
        monthly_price: 29   # kept
  stay:
    churn: {curve: constant, monthly_churn_rate: 0.0317}
  # about the numbers
  sources:
    - of: stay.churn.monthly_churn_rate   # said in the meeting
      source: told
      when: "2027-01-15"
      note: about 2 of 63 leave a month <b>&
    - of: pay.plans.Studio.monthly_price
      source: measured
"""
FLOW = "- {of: pay.plans.Studio.monthly_price, source: measured}"


def test_numbers_stay_plain_and_know_their_source(tmp_path: Path) -> None:
    scenario = scenario_of(parse(FILE, file="a.yaml"))
    assert scenario.stay.churn.monthly_churn_rate == 0.0317
    assert {path: one.source for path, one in sources_by_path(scenario).items()} == {
        "stay.churn.monthly_churn_rate": "told",
        "pay.plans.0.monthly_price": "measured",
    }
    without = FILE[: FILE.index("  # about")]
    assert (
        growth.forecast(scenario).closing_mrr == growth.forecast(scenario_of(parse(without, file=""))).closing_mrr
    ).all()


def test_the_calculator_keeps_sources_comments_and_order(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text(FILE)
    calculator = Calculator(path, path=path)
    tuned = calculator.scenario.model_dump(mode="json")
    tuned["stay"]["churn"]["monthly_churn_rate"] = 0.05
    calculator.tuned = tuned
    calculator.keep()
    assert path.read_text() == FILE.replace("0.0317", "0.05")


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("stay.churn.monthly_chrun_rate", "Did you mean stay.churn.monthly_churn_rate"),
        ("pay.plans.Atelier.monthly_price", "Known here|Did you mean"),
        ("stay.churn", "not of text or a section"),
        ("business", "not of text or a section"),
        ("pay.plans.Studio.monthly_price", "one source for each number"),
    ],
)
def test_a_source_belongs_to_a_number_that_is_there(address: str, said: str) -> None:
    text = FILE.replace("stay.churn.monthly_churn_rate ", f"{address} ")
    text = text.replace(f"- of: {address}", "- of: pay.plans.0.monthly_price", 1) if "Studio" in address else text
    with pytest.raises(ScenarioError, match=said) as wrong:
        scenario_of(parse(text, file="a.yaml"))
    assert all(problem.line for problem in wrong.value.problems)


@pytest.mark.parametrize("day", ["2027-13", "2027-02-30", "January"])
def test_a_date_is_one_of_the_calendar(day: str) -> None:
    with pytest.raises(ScenarioError, match="when"):
        scenario_of(parse(FILE.replace("2027-01-15", day), file="a.yaml"))


def test_the_page_says_it_where_the_author_wants() -> None:
    scenario = scenario_of(parse(FILE, file="a.yaml"))
    words = Giveaway(name="how-big", question="How big can it get?", show_sources=True)
    shown = sections.cautions(words, growth.forecast(scenario)).html
    assert (
        "Customers leaving each month: told by the owner; about 2 of 63 leave a month &lt;b&gt;&amp;; 15 January 2027"
        in shown
    )
    german = words.model_copy(update={"language": "de"})
    assert "vom Inhaber genannt" in sections.cautions(german, growth.forecast(scenario)).html
    quiet = words.model_copy(update={"show_sources": False})
    assert "told by" not in sections.cautions(quiet, growth.forecast(scenario)).html


def test_check_lists_what_matters_and_has_no_source(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from growth.cli import main

    path = tmp_path / "a.yaml"
    path.write_text(FILE)
    assert main(["check", str(path)]) == 0
    listed = [line for line in capsys.readouterr().out.splitlines() if "no source is given" in line]
    assert any("opening.mrr" in line for line in listed)
    assert not any("monthly_churn_rate" in line for line in listed)


def test_measured_numbers_say_so() -> None:
    measured = measure(demo_book(DemoBusiness(months=24), seed=1))
    scenario = scenario_of(parse(scenario_text(measured, business="Fernhollow"), file="m.yaml"))
    known = sources_by_path(scenario)
    assert {one.source for one in known.values()} == {"measured"}
    assert any(path.startswith("stay.churn") for path in known) and "bill.payment_fee_rate" not in known


def test_a_source_does_not_outlive_its_number() -> None:
    text = FILE.replace("source: told", "source: told\n      was: 0.0317", 1)
    assert "stay.churn.monthly_churn_rate" in sources_by_path(scenario_of(parse(text, file="a.yaml")))
    changed = scenario_of(parse(text.replace("monthly_churn_rate: 0.0317", "monthly_churn_rate: 0.05"), file="a.yaml"))
    assert "stay.churn.monthly_churn_rate" not in sources_by_path(changed)
    words = Giveaway(name="how-big", question="How big can it get?", show_sources=True)
    assert "2 of 63" not in sections.cautions(words, growth.forecast(changed)).html


def test_what_is_told_beside_a_slider_is_kept_in_the_file(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    flow = FILE.replace("- of: pay.plans.Studio.monthly_price\n      source: measured", FLOW)
    path.write_text(flow)
    calculator = Calculator(path, path=path)
    assert calculator.sources["stay.churn.monthly_churn_rate"]["note"] == "about 2 of 63 leave a month <b>&"
    hostile = "'); <script>alert(1)</script> # no: comment, {a}"
    told = {"pay.plans.0.monthly_price": {"source": "told", "note": "since spring", "fresh": True}}
    told |= {"opening.mrr": {"source": "guess", "note": hostile, "fresh": True}, "no.such": {"fresh": True}, "x": 3}
    calculator.set_state({"sources": {**calculator.sources, **told}})
    calculator.keep()
    day = date.today().isoformat()
    new = flow.replace("source: measured}", f'source: told, when: "{day}", was: 29, note: since spring}}')
    assert path.read_text().startswith(new)
    kept = sources_by_path(growth.load_scenario(path))
    assert (kept["opening.mrr"].source, kept["opening.mrr"].note, kept["opening.mrr"].was) == ("guess", hostile, 1827)
    assert kept["stay.churn.monthly_churn_rate"].when == "2027-01-15"  # not told anew
    before = path.read_bytes()
    calculator.keep()
    assert path.read_bytes() == before


def test_a_source_that_is_told_away_goes_with_its_comment_and_no_other(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text(FILE)
    calculator = Calculator(path, path=path)
    gone = {"stay.churn.monthly_churn_rate": {"source": "", "note": "", "fresh": True}}
    calculator.set_state({"sources": {**calculator.sources, **gone}})
    calculator.keep()
    assert [one.of for one in growth.load_scenario(path).sources] == ["pay.plans.Studio.monthly_price"]
    assert "29   # kept" in path.read_text() and "said in the meeting" not in path.read_text()


def test_a_wrong_kind_or_a_long_note_is_said_and_nothing_is_written(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text(FILE)
    for wrong in ({"source": "hearsay"}, {"source": "told", "note": "x" * 301}, {"source": ["told"]}):
        calculator = Calculator(path, path=path)
        calculator.set_state({"sources": {"opening.mrr": {**wrong, "fresh": True}}})
        with pytest.raises(ScenarioError, match="sources"):
            calculator.keep()
        assert path.read_text() == FILE


@pytest.mark.parametrize(
    ("efforts", "said"),
    [
        ("[{of: sign_up.signup_rat, better_by: 0.2}]", "Did you mean sign_up.signup_rate"),
        ("[{of: stay.churn, better_by: 0.2}]", "not of text or a section"),
        ("[{of: pay.conversion_rate, better_by: 0}]", "better_by"),
        (
            "[{of: pay.conversion_rate, better_by: 0.2}, {of: pay.conversion_rate, better_by: 0.1}]",
            "one effort for each",
        ),
    ],
)
def test_an_effort_is_a_share_of_a_number_that_is_there(efforts: str, said: str) -> None:
    with pytest.raises(ScenarioError, match=said) as wrong:
        scenario_of(parse(f"{FILE}  efforts: {efforts}\n", file="a.yaml"))
    assert all(problem.line for problem in wrong.value.problems)
