"""The commands, and that no customer's identifier ever leaves the reading."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import growth
from growth.cli import main
from growth.giveaway.placeholders import load_giveaway
from growth.records.demo import DemoBusiness, write_demo
from growth.records.scenario_file import scenario_text
from growth.whole_file import check_file

DEMO = Path(__file__).parents[2] / "scenarios" / "records" / "fernhollow-charges.csv"
IDENTIFIER = re.compile(r"studio-\d{7}")


def test_measure_writes_a_scenario_that_forecasts(tmp_path, capsys):
    file = tmp_path / "measured.yaml"
    assert main(["measure", str(DEMO), "--to", str(file), "--business", "Fernhollow Studio Planner", "--invented"]) == 0
    scenario = growth.load_scenario(file)
    assert scenario.invented and scenario.business == "Fernhollow Studio Planner"
    forecast = growth.forecast(scenario)
    out = capsys.readouterr().out
    assert scenario.opening.customers == 236 and scenario.opening.mrr == pytest.approx(4848.28 + 1853.58)
    assert "(162 customers, 4,848.28 MRR)" in out and "(74 customers, 1,853.58 MRR)" in out
    assert forecast.new_customers[0] == pytest.approx(
        143 / 12, rel=0.1
    )  # 143 joined in the last 12 months; growth carries the mean on
    text = file.read_text()
    lines = text.splitlines()
    for field in (
        "customers:",
        "mrr:",
        "monthly_price:",
        "renewal_rate:",
        "monthly_expansion_rate:",
        "alpha:",
        "conversion_rate:",
    ):
        at = next(at for at, line in enumerate(lines) if field in line)
        assert "#" in lines[at] or "#" in lines[at - 1], lines[at]  # what it was measured from, beside or above it
    assert "Not in the records, left at defaults: arrive.channels.monthly_visitors, sign_up.signup_rate" in " ".join(
        text.replace("#", "").split()
    )
    assert "data-protection law governs" in out and "neither advice nor a promise" in out


def test_the_file_says_what_is_not_known_and_drafts_the_words_of_the_page(tmp_path, capsys):
    file = tmp_path / "measured.yaml"
    assert main(["measure", str(DEMO), "--to", str(file), "--business", "Fernhollow Studio Planner", "--invented"]) == 0
    out, text = capsys.readouterr().out, " ".join(file.read_text().replace("#", "").split())
    for said in (
        "5 customers were on board before the records begin",  # those of 2024-01: nothing says since when
        "no interval, all are the same",  # of a price that all who joined pay
        "customers differ, so fewer leave the longer they have stayed",
    ):
        assert said in " ".join(out.split()) and said in text, said
    assert "seen to an age of 34 months" in text and "not told apart from none" in text
    check_file(file)
    giveaway = load_giveaway(file, scenario=growth.load_scenario(file))
    lost = 73  # counted in the rows: who paid in a month of 2026 or in 2025-12, and not in the month after
    assert giveaway.question == f"I have 236 customers and lose about {lost / 12:.0f} a month: how big can this get?"
    assert "236 customers pay €6,702" in giveaway.case.details[1]
    assert "Of those whose year ends 66% to 85% might renew" in giveaway.cautions[0]


def test_a_single_month_tells_no_rate_and_the_file_says_so(tmp_path, capsys):
    (tmp_path / "rows.csv").write_text("customer,date,amount\na,2024-01-03,29\nb,2024-01-29,29\n")
    assert main(["measure", str(tmp_path / "rows.csv"), "--to", str(tmp_path / "x.yaml")]) == 0
    text = " ".join((tmp_path / "x.yaml").read_text().replace("#", "").split())
    assert "monthly_churn_rate: 0.04 not in the records: a default" in text
    assert "monthly_visitors: 0 not in the records: a single month does not tell who joins" in text
    assert (
        "left at defaults: arrive.channels.monthly_visitors, sign_up.signup_rate, pay.conversion_rate, stay.churn"
        in text
    )
    assert "The records reach back 1 month." in text and "might" not in text
    check_file(tmp_path / "x.yaml")


def test_the_demo_file_is_what_the_command_makes(tmp_path):
    assert main(["records-demo", "--to", str(tmp_path / "demo.csv")]) == 0
    assert (tmp_path / "demo.csv").read_bytes() == DEMO.read_bytes()
    assert DEMO.stat().st_size < 300_000


def test_an_existing_file_is_kept_unless_told(tmp_path, capsys):
    file = tmp_path / "mine.yaml"
    file.write_text("mine")
    assert main(["measure", str(DEMO), "--to", str(file)]) == 2
    assert file.read_text() == "mine" and "--replace" in capsys.readouterr().err
    assert main(["measure", str(DEMO), "--to", str(file), "--replace"]) == 0


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--until", "2025"], "year-month"),
        (["--until", "2020-01"], "not before the first"),
        (["--months", "0"], "--months"),
        (["--columns", "nowhere.yaml"], "nowhere.yaml"),
        (["--to", "no-such-folder/x.yaml"], "the folder to write it to does not exist"),
    ],
)
def test_bad_arguments_get_one_line_and_write_nothing(tmp_path, capsys, more, said):
    assert main(["measure", str(DEMO), "--to", str(tmp_path / "x.yaml"), *more]) == 2
    error = capsys.readouterr().err
    assert said in error and "Traceback" not in error
    assert not list(tmp_path.iterdir())


def test_no_such_records(tmp_path, capsys):
    assert main(["measure", str(tmp_path / "none.csv"), "--to", str(tmp_path / "x.yaml")]) == 2
    assert "no such file" in capsys.readouterr().err


def test_no_identifier_is_in_anything_written(tmp_path, capsys):
    """Two customers in faulty rows as well: what is said about them names lines, never values."""
    rows = tmp_path / "rows.csv"
    write_demo(DemoBusiness(months=18), rows, seed=4)
    assert IDENTIFIER.search(rows.read_text())
    with rows.open("a") as stream:
        stream.write("studio-9999999,soon,29,1,Studio,EUR\n,2024-02-01,29,1,Studio,EUR\n")
    assert main(["measure", str(rows), "--to", str(tmp_path / "out" / "x.yaml")]) == 2
    (tmp_path / "out").mkdir()
    assert main(["measure", str(rows), "--to", str(tmp_path / "out" / "x.yaml"), "--leave-out", "2"]) == 0
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["out", "rows.csv", "x.yaml"]  # nothing beside it
    said = capsys.readouterr()
    written = said.out + said.err + (tmp_path / "out" / "x.yaml").read_text()
    assert "2 rows could not be read" in " ".join(written.replace("#", "").split())
    assert not IDENTIFIER.search(written)


def test_plans_called_after_customers_are_numbered(tmp_path, capsys):
    rows = tmp_path / "rows.csv"
    names = ("Anna", "Bob", "Cat", "Dan", "Eve")
    lines = [f"{name}@example.org,2024-0{month}-03,29,Deal for {name}" for month in (1, 2) for name in names]
    rows.write_text("\n".join(["customer,date,amount,plan", *lines]))
    assert main(["measure", str(rows), "--to", str(tmp_path / "x.yaml")]) == 0
    written = (tmp_path / "x.yaml").read_text() + capsys.readouterr().out
    assert "name: plan 5" in written and "their names might be customers'" in " ".join(written.split())
    assert not any(name in written for name in names)


@pytest.mark.parametrize("what", ["records", "--columns"])
def test_the_scenario_never_lies_on_what_it_is_made_from(tmp_path, capsys, what):
    rows = tmp_path / "rows.csv"
    write_demo(DemoBusiness(months=3), rows, seed=4)
    (tmp_path / "mine.yaml").write_text("columns: {}\n" + "#" * 20)
    target, more = (rows, []) if what == "records" else (tmp_path / "mine.yaml", [what, str(tmp_path / "mine.yaml")])
    before = target.read_bytes()
    assert main(["measure", str(rows), "--to", str(target), "--replace", *more]) == 2
    assert target.read_bytes() == before and len(capsys.readouterr().err.splitlines()) == 1


def test_no_identifier_is_held_after_reading():
    import pickle

    from growth.records.estimate import measure
    from growth.records.paid_months import spread_payments
    from growth.records.read import read_records

    measured = measure(spread_payments(read_records(DEMO)))
    assert not IDENTIFIER.search(pickle.dumps(measured).decode("latin-1"))
    assert not IDENTIFIER.search(scenario_text(measured, business="x"))


def test_no_identifier_is_in_the_notebook():
    notebook = Path(__file__).parents[2] / "notebooks" / "records.ipynb"
    assert not IDENTIFIER.search(notebook.read_text())
    assert notebook.stat().st_size < 300_000


def test_the_measured_scenario_publishes(tmp_path):
    pytest.importorskip("papermill")
    file = tmp_path / "measured.yaml"
    assert main(["measure", str(DEMO), "--to", str(file), "--business", "Fernhollow Studio Planner", "--invented"]) == 0
    assert main(["publish", str(file), "--to", str(tmp_path / "page")]) == 0
    (page,) = (tmp_path / "page").glob("*.html")
    text = page.read_text()
    assert "Fernhollow Studio Planner" in text and not IDENTIFIER.search(text)


def test_the_backtest_is_printed_beside_its_rivals(tmp_path, capsys):
    assert main(["measure", str(DEMO), "--to", str(tmp_path / "x.yaml"), "--backtest"]) == 0
    out = capsys.readouterr().out
    assert "straight line" in out and "last net growth" in out and "12 months ahead, over 7 forecasts" in out
    assert main(["measure", str(DEMO), "--to", str(tmp_path / "y.yaml"), "--backtest", "--until", "2025-12"]) == 2
    assert "at least 30 months for a backtest" in capsys.readouterr().err
