"""The command line: exit codes, one clear line for each problem, nothing heavy before it is needed."""

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

import growth
from growth import cli, commands
from growth.calculator.certainty import rests_on, whole_answer
from growth.cli import main

DEMO = Path(__file__).parents[2] / "scenarios" / "fernhollow.yaml"


def run(*words: object, **how) -> subprocess.CompletedProcess:
    return subprocess.run([sys.executable, "-m", "growth.cli", *map(str, words)], capture_output=True, text=True, **how)


def test_help_lists_the_commands_and_loads_nothing_heavy():
    code = (
        "import sys; from growth.cli import main; main(['--help']); "
        "heavy = {'numpy', 'pandas', 'plotly', 'papermill', 'pydantic', 'ruamel', 'nbconvert', 'scipy'}; "
        "print('loaded:', sorted(heavy & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    for command in ("check", "forecast", "publish", "schema", "assumptions"):
        assert f"    {command}" in out
    assert "loaded: []" in out


def test_importing_the_package_loads_nothing_heavy():
    code = "import growth, sys; print(sorted({'numpy', 'pandas', 'plotly', 'papermill'} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"


def test_version(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"growth {growth.__version__}\n"


@pytest.mark.parametrize("words", [[], ["unheard-of"], ["forecast"], ["publish", "x.yaml"], ["--vers"]])
def test_wrong_words_exit_with_2(words, capsys):
    assert main(words) == 2
    assert "usage: growth" in capsys.readouterr().err


def test_check_goes_on_after_a_file_that_is_wrong(tmp_path, capsys):
    wrong = tmp_path / "wrong.yaml"
    wrong.write_text(
        DEMO.read_text(encoding="utf-8").replace("months: 36", "months: 0").replace("EUR", "eur"), encoding="utf-8"
    )
    assert main(["check", str(wrong), str(DEMO)]) == 2
    out, err = capsys.readouterr()
    first, *more = out.splitlines()
    assert first == f"{DEMO}: valid. Fernhollow Studio Planner: 36 months, 1 channel, 1 plan"
    assert all("no source is given" in line for line in more)
    assert len(err.splitlines()) == 2 and all(line.startswith(f"growth: {wrong}: line ") for line in err.splitlines())


def test_forecast_says_the_answer_and_the_months(capsys):
    assert main(["forecast", str(DEMO)]) == 0
    lines = capsys.readouterr().out.splitlines()
    forecast = growth.forecast(growth.load_scenario(DEMO))
    assert lines[0] == "Fernhollow Studio Planner (an invented business)"
    assert lines[1] == f"{whole_answer(forecast)} {rests_on(forecast)}"
    rows = [line.split() for line in lines if line.startswith("20")]
    assert len(rows) == 36 and rows[0][0] == "2027-01" and rows[-1][0] == "2029-12"
    assert rows[-1][-1] == f"{forecast.closing_mrr[-1]:,.0f}"
    assert lines[-1] == commands.CAUTION


def test_forecast_writes_every_series_as_csv(tmp_path):
    target = tmp_path / "months.csv"
    assert main(["forecast", str(DEMO), "--csv", str(target)]) == 0
    rows = list(csv.DictReader(io.StringIO(target.read_text(encoding="utf-8"))))
    forecast = growth.forecast(growth.load_scenario(DEMO))
    assert [float(row["closing_mrr"]) for row in rows] == forecast.closing_mrr.tolist()
    assert rows[0]["month"] == "2027-01"


def test_a_csv_that_cannot_be_written_is_one_line_and_leaves_the_old_one(tmp_path, capsys, monkeypatch):
    target = tmp_path / "months.csv"
    target.write_text("old", encoding="utf-8")

    def full(*_):
        raise OSError(28, "No space left on device", str(target))

    monkeypatch.setattr(os, "replace", full)
    assert main(["forecast", str(DEMO), "--csv", str(target), "--replace"]) == 2
    monkeypatch.undo()
    assert capsys.readouterr().err == f"growth: {target}: No space left on device\n"
    assert target.read_text(encoding="utf-8") == "old" and os.listdir(tmp_path) == ["months.csv"]
    assert main(["forecast", str(DEMO), "--csv", str(tmp_path / "nowhere" / "months.csv")]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


@pytest.mark.parametrize(
    ("first", "month", "then"), [("2027-01", 1, "2027-01"), ("2027-01", 13, "2028-01"), ("2027-12", 2, "2028-01")]
)
def test_calendar_months(first, month, then):
    scenario = growth.Scenario(business="Kiln", first_month=first, pay={"plans": [{"name": "One", "monthly_price": 9}]})
    assert scenario.calendar(month) == then


def test_schema(tmp_path, capsys):
    assert main(["schema"]) == 0
    schema = json.loads(capsys.readouterr().out)
    assert schema["required"] == ["scenario"]
    assert main(["schema", "--to", str(tmp_path / "schema.json")]) == 0
    written = json.loads((tmp_path / "schema.json").read_text(encoding="utf-8"))
    assert written.pop("$comment") and written == schema


def test_assumptions(capsys):
    assert main(["assumptions"]) == 0
    text = capsys.readouterr().out
    row = next(line for line in text.splitlines() if line.startswith("stay.churn[constant].monthly_churn_rate"))
    assert row.split("  ")[0] and "Customers leaving each month" in row and row.split()[-4:] == ["0", "to", "1", "0.04"]
    assert main(["assumptions", "--markdown"]) == 0
    rows = capsys.readouterr().out.splitlines()
    assert rows[1] == "| --- | --- | --- | --- | --- |" and {row.count("|") for row in rows} == {6}


@pytest.fixture
def command(monkeypatch):
    """A command `try` that does what the test says."""

    def install(work):
        class Area:
            @staticmethod
            def add_command(subparsers):
                subparsers.add_parser("try", help="for the test").set_defaults(run=work)

        monkeypatch.setattr(cli, "AREAS", ("growth.commands",))
        monkeypatch.setattr(cli, "import_module", lambda name: Area)

    return install


def raising(error):
    def work(arguments):
        raise error

    return work


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (KeyboardInterrupt(), 130, "growth: interrupted\n"),
        (MemoryError(), 2, "growth: this machine, or the limit set for this command, has too little memory for it\n"),
        (ImportError("numpy: failed to map segment from shared object"), 2, f"growth: {cli.TOO_LITTLE_MEMORY}\n"),
        (growth.PublishError("no room"), 2, "growth: no room\n"),
        (PermissionError(13, "Permission denied", "page.html"), 2, "growth: page.html: Permission denied\n"),
    ],
)
def test_errors_become_exit_codes_without_a_traceback(command, capsys, error, code, said):
    command(raising(error))
    assert main(["try"]) == code
    assert capsys.readouterr().err == said


def test_an_error_of_our_own_making_is_not_hidden(command):
    command(raising(ZeroDivisionError()))
    with pytest.raises(ZeroDivisionError):
        main(["try"])


def test_a_reader_that_stops_reading_hears_nothing():
    pipe = f'"{sys.executable}" -m growth.cli assumptions | head -n 1'
    done = subprocess.run(
        ["sh", "-c", pipe], capture_output=True, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"}
    )
    assert done.stderr == "" and done.stdout.startswith("field")


def test_a_terminal_without_unicode_is_no_reason_to_fail(tmp_path):
    path = tmp_path / "shop.yaml"
    path.write_text(
        DEMO.read_text(encoding="utf-8").replace("Fernhollow Studio Planner", "Fernhöhle"), encoding="utf-8"
    )
    done = run("check", path, env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0 and "Fernh\\xf6hle" in done.stdout and done.stderr == ""


def test_check_says_which_main_assumptions_the_file_leaves_to_their_defaults(tmp_path, capsys):
    file = tmp_path / "short.yaml"
    file.write_text(
        "scenario: {business: S, opening: {customers: 9, mrr: 90}, pay: {plans: [{name: one, monthly_price: 9}]}}",
        "utf-8",
    )
    assert main(["check", str(file)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "  not in the file, taken as 0.04: customers leaving each month (stay.churn.monthly_churn_rate)" in lines
    assert not any("not in the file" in line and "opening" in line for line in lines)
