"""The workbook's answer, computed by LibreOffice, where the page's and Python's are worked by hand."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from answer_cases import CASES
from how_many import few_or_many
from office import differences, needs_office, recalculated

import growth
from growth.spreadsheet import spreadsheet


def each_clause_once() -> dict[str, tuple[growth.Scenario, str]]:
    """Cases that have every clause between them, numbers and amounts aside: always the one with the most new ones."""
    clauses = {name: set(re.split(r", |: |\. ", re.sub(r"\S*\d\S*", "", said))) for name, (_, said) in CASES.items()}
    found, seen = {}, set()
    while name := max(CASES, key=lambda name: len(clauses[name] - seen)):
        if not clauses[name] - seen:
            return found
        found[name] = CASES[name]
        seen |= clauses[name]
    return found


COMPARED = few_or_many(each_clause_once(), CASES)


@pytest.fixture(scope="module")
def workbooks(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The workbook of every case, recalculated."""
    folder = tmp_path_factory.mktemp("cases")
    paths = []
    for number, (scenario, _) in enumerate(COMPARED.values()):
        paths.append(folder / f"{number}.xlsx")
        paths[-1].write_bytes(spreadsheet(growth.forecast(scenario)))
    return recalculated(paths, folder=folder, charts=False)


@needs_office
def test_the_workbook_says_what_is_worked_by_hand(workbooks: dict[str, Path]):
    """`differences` compares the whole answer, and the numbers beneath it, with Python's."""
    wrong = {}
    for number, (name, (scenario, _)) in enumerate(COMPARED.items()):
        if found := differences(growth.forecast(scenario), workbooks[str(number)]):
            wrong[name] = found
    assert wrong == {}
