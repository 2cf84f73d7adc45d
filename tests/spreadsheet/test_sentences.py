"""The workbook's answer, computed by LibreOffice, in every case in which the page's and Python's are worked by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from answer_cases import CASES
from office import differences, needs_office, recalculated

import growth
from growth.spreadsheet import spreadsheet


@pytest.fixture(scope="module")
def workbooks(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The workbook of every case, recalculated."""
    folder = tmp_path_factory.mktemp("cases")
    paths = []
    for number, (scenario, _) in enumerate(CASES.values()):
        paths.append(folder / f"{number}.xlsx")
        paths[-1].write_bytes(spreadsheet(growth.forecast(scenario)))
    return recalculated(paths, folder=folder)


@needs_office
def test_the_workbook_says_what_is_worked_by_hand(workbooks: dict[str, Path]):
    """`differences` compares the whole answer, and the numbers beneath it, with Python's."""
    wrong = {}
    for number, (name, (scenario, _)) in enumerate(CASES.items()):
        if found := differences(growth.forecast(scenario), workbooks[str(number)]):
            wrong[name] = found
    assert wrong == {}
