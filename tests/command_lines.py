"""A command line for each command, for the tests that go through all of them.

IN/ stands for a folder of what commands read (the fixture `inputs`), TO for what a command is told to write. A new
command needs a line here, and tests that find commands in the parser fail until it has one.
"""

from __future__ import annotations

import argparse
import shutil
from collections.abc import Iterator
from pathlib import Path

# A command line for each command that writes; TO stands for what it is told to write. A new command needs a line here.
EXAMPLES = {
    ("forecast", "--csv"): "forecast IN/fernhollow.yaml --csv TO",
    ("publish", "--to"): "publish IN/fernhollow.yaml --to TO",
    ("schema", "--to"): "schema --to TO",
    ("kit", "--to"): "kit IN/fernhollow.yaml --to TO",
    ("site", "--to"): "site IN/fernhollow.yaml --to TO --address https://fernhollow.example/questions",
    ("measure", "--to"): "measure IN/records/fernhollow-charges.csv --columns IN/columns.yaml --to TO",
    ("measure", "--remember"): "measure IN/records/fernhollow-charges.csv --columns IN/columns.yaml --remember TO",
    ("records-demo", "--to"): "records-demo --months 3 --to TO",
    ("earned import", "--remember"): "earned import IN/ledger IN/earned/buyers.csv --yes --remember TO",
    ("earned export", "--to"): "earned export IN/ledger --to TO",
    ("earned scenario", "--to"): "earned scenario IN/ledger IN/earned/list.yaml --channel pieces --to TO",
    ("new", "--to"): "new Kiln --to TO --customers 63 --price 29 --joining 5 --leaving 2 --goal 2500",
    ("exercises", "--to"): "exercises IN/fernhollow.yaml --to TO",
    ("questions", "--to"): "questions IN/fernhollow.yaml --to TO",
    ("spreadsheet", "--to"): "spreadsheet IN/fernhollow.yaml --to TO",
}
READING = {  # commands, or uses of them, that write nothing to a place of the user's choice
    "check": "check IN/fernhollow.yaml",
    "assumptions": "assumptions",
    "compare": "compare IN/fernhollow.yaml IN/earned/list.yaml",
    "solve": "solve IN/fernhollow.yaml",
    "levers": "levers IN/fernhollow.yaml",
    "review": "review IN/fernhollow.yaml --words-only",
    "actuals": "actuals IN/fernhollow.yaml IN/actuals.csv",
    "sweep": "sweep IN/sweep.yaml --to TO --kernels stock",
    "earned report": "earned report IN/ledger",
    "earned compare": "earned compare IN/ledger halving-churn-or-doubling-sign-ups halving-churn-or-doubling-sign-ups",
    "earned launch": "earned launch IN/ledger",
    "earned named": "earned named IN/ledger",
    "earned history": "earned history IN/ledger",
}
SUFFIXES = {  # of what a command writes, by command and option or by command alone; none: a folder
    ("forecast", "--csv"): ".csv",
    ("schema", "--to"): ".json",
    ("measure", "--to"): ".yaml",
    ("measure", "--remember"): ".yaml",
    ("records-demo", "--to"): ".csv",
    ("spreadsheet", "--to"): ".xlsx",
    ("questions", "--to"): ".md",
    ("earned import", "--remember"): ".yaml",
    ("earned scenario", "--to"): ".yaml",
}


SCENARIOS = Path(__file__).parents[1] / "scenarios"
SWEEP = """\
sweep:
  title: Churn
  scenario: fernhollow.yaml
  axes:
    - {name: churn, field: stay.churn.monthly_churn_rate, values: [0.02, 0.04]}
  points: {method: grid}
  reports: {choose: none}
"""


def make_inputs(folder: Path) -> Path:
    """Put what the commands read into a folder, under the names of the lines above."""
    from growth.cli import main

    for name in ("fernhollow.yaml", "records", "earned"):
        if (SCENARIOS / name).is_dir():
            shutil.copytree(SCENARIOS / name, folder / name)
        else:
            shutil.copy(SCENARIOS / name, folder)
    (folder / "columns.yaml").write_text("columns: {}\n", "utf-8")
    (folder / "actuals.csv").write_text("month,customers,mrr\n2027-01,43,1250\n", "utf-8")
    (folder / "sweep.yaml").write_text(SWEEP, "utf-8")
    assert main(["earned", "import", str(folder / "ledger"), *map(str, (folder / "earned").glob("*.csv"))]) == 0
    return folder


def words_of(line: str, inputs: Path, to: object) -> list[str]:
    """A line as words, with its places filled in."""
    return [str(to) if word == "TO" else word.replace("IN/", f"{inputs}/") for word in line.split()]


def commands(parser: argparse.ArgumentParser, name: str = "") -> Iterator[tuple[str, argparse.ArgumentParser]]:
    """Every command of the parser and of its subparsers, with its name as typed."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for word, one in action.choices.items():
                yield from commands(one, f"{name} {word}".strip())
    yield name, parser
