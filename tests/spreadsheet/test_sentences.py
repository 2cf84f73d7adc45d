"""The workbook's answer, computed by LibreOffice, where the page's and Python's are worked by hand."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from answer_cases import CASES
from generated import scenario_of
from how_many import few_or_many
from library import CALCULATED, CALCULATED_SEEDS
from office import differences, needs_office, recalculated

import growth
from growth.calculator.words import answer
from growth.spreadsheet import spreadsheet


def clauses(said: str) -> set[str]:
    """The clauses of an answer, numbers and amounts aside."""
    return set(re.split(r", |: |\. ", re.sub(r"\S*\d\S*", "", said)))


def most_clauses(most: int = 14) -> dict[str, tuple[growth.Scenario, str]]:
    """Cases with as many clauses between them as so many can have, beside those of the workbooks that are calculated
    elsewhere: always the one with the most new ones."""
    elsewhere = [*map(growth.load_scenario, CALCULATED), *map(scenario_of, CALCULATED_SEEDS)]
    seen = set().union(*(clauses(answer(growth.forecast(one))) for one in elsewhere))
    found = {}
    for _ in range(most):
        name = max(CASES, key=lambda name: len(clauses(CASES[name][1]) - seen))
        found[name] = CASES[name]
        seen |= clauses(CASES[name][1])
    return found


@pytest.fixture(scope="module")
def compared() -> dict[str, tuple[growth.Scenario, str]]:
    return few_or_many(most_clauses, CASES.copy)()


@pytest.fixture(scope="module")
def workbooks(compared, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The workbook of every case, recalculated."""
    folder = tmp_path_factory.mktemp("cases")
    paths = []
    for number, (scenario, _) in enumerate(compared.values()):
        paths.append(folder / f"{number}.xlsx")
        paths[-1].write_bytes(spreadsheet(growth.forecast(scenario)))
    return recalculated(paths, folder=folder, charts=False)


@needs_office
def test_the_workbook_says_what_is_worked_by_hand(compared, workbooks: dict[str, Path]):
    """`differences` compares the whole answer, and the numbers beneath it, with Python's."""
    wrong = {}
    for number, (name, (scenario, _)) in enumerate(compared.items()):
        if found := differences(growth.forecast(scenario), workbooks[str(number)]):
            wrong[name] = found
    assert wrong == {}
