"""What a workbook holds, what follows when its input cells change, and what it refuses."""

from __future__ import annotations

import re
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
from generated import scenario_of
from how_many import few_or_many
from library import CALCULATED, LIBRARY, SCENARIOS
from office import HEAD_ROW, WORDS, beside, differences, months_of, needs_office, recalculated, sheet_values
from plain import business, plan

import growth
from growth.calculator.language import locale_of
from growth.calculator.words import answer
from growth.cli import main
from growth.errors import PublishError, ScenarioError
from growth.giveaway.placeholders import load_giveaway
from growth.scenario.address import put
from growth.spreadsheet import spreadsheet, write_spreadsheet
from growth.spreadsheet.assumptions_sheet import FIRST_LINE
from growth.spreadsheet.formula import FUNCTIONS
from growth.spreadsheet.inputs import Input, Inputs
from growth.spreadsheet.texts import workbook_words

HOSTILE = ["=1+1|'/C calc'!A0", "+SUM(A1)", "-2+3", "@x \"quoted\" 'too' _x0041_ SORT(a)"]
LONG = "a/b\\c?d*e[f]g:h " * 7
LOOKED_AT = ("yearly-plans", "brief-when-can-i-live-from-it")  # as written; LibreOffice calculates others
MOVED = (7, 2, 9, 3, 4, 5)  # months to which changes are moved: also past each other
CHANGED = few_or_many((1091,), (17, 40, 65, 117))  # seeds of scenarios whose numbers are then changed


def hostile() -> growth.Scenario:
    """Names that a program might run, that sheets refuse, that are too long and alike but for their ends."""
    names = [*HOSTILE, LONG + "1", LONG + "2", LONG.upper() + "2"]
    plans = [
        plan(name=name, share=1 / len(names), billing=("monthly", "yearly")[i % 2]) for i, name in enumerate(names)
    ]
    channels = [{"name": name, "monthly_visitors": 10} for name in names]
    text = '=HYPERLINK("http://example.org")\n+1'
    return business(months=2, pay={"plans": plans}, arrive={"channels": channels}, owner=text, teaches=text)


def examples() -> dict[str, growth.Scenario]:
    """Worked by hand in model.md: A, then A with 5% expansion, then one customer on a yearly plan."""
    once = {"channels": [{"name": "all", "monthly_visitors": 1, "last_month": 1, "running_before": False}]}
    yearly = {"plans": [plan(monthly_price=100, billing="yearly", renewal_rate=0.8)]}
    return {
        "A": business(),
        "B": business(grow={"monthly_expansion_rate": 0.05, "last_age_months": 120}),
        "C": business(months=13, arrive=once, pay=yearly),
    }


def dated(*months: int) -> growth.Scenario:
    """Numbers that change in these months, one of them twice, and churn, which no plan has by age."""
    channels = [
        {"name": "search", "monthly_visitors": 800, "monthly_growth_rate": 0.01},
        {"name": "ads", "kind": "paid", "monthly_budget": 300, "cost_per_visit": 1.5},
    ]
    plans = [plan(share=0.6), plan(name="two", share=0.4, churn={"curve": "constant", "monthly_churn_rate": 0.02})]
    changes = [
        {"field": "arrive.channels.search.monthly_visitors", "times": 1.5},
        {"field": "stay.churn.monthly_churn_rate", "times": 0.5},
        {"field": "pay.plans.two.monthly_price", "becomes": 55},
        {"field": "arrive.channels.ads.monthly_budget", "becomes": 600},
        {"field": "grow.monthly_expansion_rate", "becomes": 0.01},
        {"field": "arrive.channels.search.monthly_visitors", "times": 0.8},
    ]
    later = [{"from_month": month, **change} for month, change in zip(months, changes, strict=True)]
    return business(months=9, pay={"plans": plans}, arrive={"channels": channels}, changes=later)


def other_numbers(scenario: growth.Scenario, rng: np.random.Generator) -> tuple[growth.Scenario, list[Input]]:
    """The same structure with other valid numbers in nearly every input cell, and those cells."""
    values = scenario.model_dump(mode="json")
    cells = Inputs(scenario).cells
    stays = {"opening.customers", *(f"changes.{n}.from_month" for n in range(len(scenario.changes)))}  # as they are
    together = {"survival": 0.97, "delay_shares": None, "share": None, "opening_share": None}
    for one in cells:
        parent, _, field = one.place.rpartition(".")
        group = parent.rpartition(".")[2] if field.isdigit() else field
        if group == "survival":  # still falling with age
            new = one.value * together["survival"]
        elif group in together or one.place in stays or (group == "customers" and one.value):
            continue
        elif one.entry.whole:
            new = int(np.clip(one.value + 2, one.entry.low, one.entry.high))
        else:
            new = float(
                np.clip(one.value * rng.uniform(0.6, 1.3) + (one.value == 0) * 0.01, one.entry.low, one.entry.high)
            )
        if one.place == "opening.mrr" and not scenario.opening.customers:
            new = 0.0
        put(values, one.place, new)
    for name in ("share", "opening_share"):  # they still add up
        shares = [getattr(part, name) for part in scenario.pay.plans]
        for part, share in zip(values["pay"]["plans"], shares[::-1], strict=True):
            part[name] = share
    values["pay"]["delay_shares"].reverse()
    changed = growth.Scenario(**values)
    return changed, Inputs(changed).cells


def with_inputs(workbook: Path, cells: list[Input]) -> None:
    """Types numbers into the white cells, each found by its name. What is stored elsewhere stays as it was."""
    with zipfile.ZipFile(workbook) as parts:
        whole = {name: parts.read(name) for name in parts.namelist()}
    names, page = whole["xl/workbook.xml"].decode("utf-8"), "xl/worksheets/sheet2.xml"
    for one in cells:
        place = re.search(rf'name="{one.name}">Assumptions!\$(\w+)\$(\d+)<', names)
        cell = f'(<c r="{place[1]}{place[2]}"[^>]*><v>)[^<]*'.encode()
        whole[page], count = re.subn(cell, rb"\g<1>" + repr(one.value).encode(), whole[page])
        assert count == 1
    with zipfile.ZipFile(workbook, "w") as parts:
        for name, content in whole.items():
            parts.writestr(name, content)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Workbooks as they are written, by name: of the library, worked examples, hostile names, false values, changes."""
    folder = tmp_path_factory.mktemp("made")
    for path in LIBRARY:
        if path in CALCULATED or path.stem in LOOKED_AT:
            write_spreadsheet(path, to=folder / f"{path.stem}.xlsx")
    for name, scenario in {**examples(), "hostile": hostile()}.items():
        (folder / f"{name}.xlsx").write_bytes(spreadsheet(growth.forecast(scenario)))
    false_values(folder / "fernhollow.xlsx", folder / "false.xlsx")
    (folder / "dated.xlsx").write_bytes(spreadsheet(growth.forecast(dated(3, 4, 5, 6, 7, 8))))
    with_inputs(folder / "dated.xlsx", Inputs(dated(*MOVED)).cells)
    for seed in CHANGED:
        scenario = scenario_of(seed)
        (folder / f"changed {seed}.xlsx").write_bytes(spreadsheet(growth.forecast(scenario)))
        with_inputs(folder / f"changed {seed}.xlsx", other_numbers(scenario, np.random.default_rng(seed))[1])
    return {path.stem: path for path in sorted(folder.glob("*.xlsx"))}


@pytest.fixture(scope="module")
def computed(made: dict[str, Path], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The same workbooks, recalculated; of the library's those that are calculated in this run."""
    left_out = set(LOOKED_AT) - {path.stem for path in CALCULATED}
    wanted = [path for name, path in made.items() if name not in left_out]
    return recalculated(wanted, folder=tmp_path_factory.mktemp("computed"))


def false_values(workbook: Path, to: Path) -> None:
    """A copy in which every stored value of a formula is 7."""
    with zipfile.ZipFile(workbook) as before, zipfile.ZipFile(to, "w") as after:
        for name in before.namelist():
            content = before.read(name)
            if name.startswith("xl/worksheets/sheet"):
                content, count = re.subn(rb"(</f>)<v>[^<]*</v>", rb"\1<v>7</v>", content)
                content = re.sub(rb' t="(str|e|b)"(><f>)', rb"\2", content)
                assert count or name.endswith("sheet4.xml")  # the band, which is plain numbers
            after.writestr(name, content)


# --- computed by LibreOffice ------------------------------------------------------------------------------------------


@needs_office
def test_the_library_agrees_and_says_the_page_s_sentences(computed: dict[str, Path]):
    """In each file's own language; separators within numbers are those of the program."""
    assert CALCULATED
    for path in CALCULATED:
        scenario = growth.load_scenario(path)
        locale = locale_of(load_giveaway(path, scenario=scenario).language)
        forecast, words = growth.forecast(scenario), workbook_words(locale)
        assert differences(forecast, computed[path.stem], words) == [], path.name
        sheets = sheet_values(computed[path.stem], words["sheets"]["answer"], words["sheets"]["months"])
        rows, months = sheets.values()
        said = " ".join(text for text in (rows[3][1], rows[4][1]) if text)
        assert unseparated(said) == unseparated(answer(forecast, locale)), path.name
        checks = [column for column, head in enumerate(months[HEAD_ROW]) if head == words["series"]["check_mrr"]]
        assert len(checks) == 2
        assert {row[column] for row in months[HEAD_ROW + 2 :] for column in checks if row} <= {0, None}, path.name


def unseparated(text: str) -> str:
    """Numbers without what stands between their digits."""
    return re.sub(r"(?<=\d)[.,](?=\d)", "", text)


@needs_office
def test_false_stored_values_are_computed_anew(made: dict[str, Path], computed: dict[str, Path]):
    """So the checks here compare with what was computed, not with what we stored."""
    forecast = growth.forecast(growth.load_scenario(SCENARIOS / "fernhollow.yaml"))
    assert set(months_of(sheet_values(made["false"], "Months")["Months"])["closing_mrr"]) == {7.0}
    assert differences(forecast, computed["false"]) == []


@needs_office
@pytest.mark.parametrize("seed", CHANGED)
def test_other_numbers_in_the_input_cells_are_python_s_forecast_of_them(computed: dict[str, Path], seed: int):
    scenario = scenario_of(seed)
    changed, cells = other_numbers(scenario, np.random.default_rng(seed))
    moved = sum(a.value != b.value for a, b in zip(Inputs(scenario).cells, cells, strict=True))
    assert moved > 0.7 * len(cells)
    assert differences(growth.forecast(changed), computed[f"changed {seed}"]) == []


@needs_office
def test_the_months_of_changes_are_numbers_like_any_other(computed: dict[str, Path]):
    """They are typed into their cells; labels that name them follow, and a rule tells of two that fall together."""
    assert differences(growth.forecast(dated(*MOVED)), computed["dated"]) == []
    rows = sheet_values(computed["dated"], "Assumptions")["Assumptions"]
    values = {row[1]: row[2] for row in rows if len(row) > 2 and row[1]}
    assert values["Visitors a month: search, multiplied from month 7 by"] == 1.5
    assert values["From month: Price: two"] == 9 and values["Price: two, from month 9"] == 55
    assert values["A number changes once in a month: Visitors a month: search"] == 0


@needs_office
def test_the_worked_examples_come_out_of_the_formulas(computed: dict[str, Path]):
    """By hand. A: 20 a month, 10 new, churn 10%. B: with 5% expansion. C: one customer, 100 a month billed by the
    year, 80% renew: 1,200 in month 1 and 960 in month 13; 1,100 owed at the close of month 1, 0 at that of month 12."""
    a, b, c = (months_of(sheet_values(computed[name], "Months")["Months"]) for name in "ABC")
    np.testing.assert_allclose(a["closing_customers"], [10, 19, 27.1], rtol=1e-12)
    np.testing.assert_allclose(a["closing_mrr"], [200, 380, 542], rtol=1e-12)
    np.testing.assert_allclose(a["churned_mrr"], [0, 20, 38], rtol=1e-12)
    np.testing.assert_allclose(b["closing_mrr"], [200, 389, 567.605], rtol=1e-12)
    np.testing.assert_allclose(b["expansion_mrr"], [0, 9, 17.505], rtol=1e-12)
    np.testing.assert_allclose(c["closing_mrr"], [100] * 12 + [80], rtol=1e-12)
    np.testing.assert_allclose(c["cash_in"], [1200] + [0] * 11 + [960], rtol=1e-12)
    np.testing.assert_allclose(c["deferred_revenue"], [100 * left for left in range(11, -1, -1)] + [880], rtol=1e-12)
    level = beside(sheet_values(computed["A"], "Ceiling")["Ceiling"], WORDS["ceiling"]["level_mrr"])
    assert level == pytest.approx(2000, rel=1e-12)  # 10 / 0.10 customers at 20
    cohorts = sheet_values(computed["B"], "Plan one")["Plan one"]
    assert 200 * (0.9 * 1.05) ** 2 in [pytest.approx(value, rel=1e-12) for value in cohorts[10] if is_number(value)]


@needs_office
@pytest.mark.parametrize("name", ["fernhollow", "C"])
def test_every_cell_is_stored_with_what_it_comes_to(made: dict[str, Path], computed: dict[str, Path], name: str):
    """What a previewer shows, which computes nothing."""
    stored, found = sheet_values(made[name]), sheet_values(computed[name])
    for sheet, rows in stored.items():
        for there, here in zip(rows, found[sheet], strict=False):
            for kept, value in zip(there, here, strict=False):
                same = kept == value or (kept or "") == (value or "") or is_number(value)
                assert same and (not is_number(value) or kept == pytest.approx(value, rel=1e-9, abs=1e-9)), sheet


@needs_office
def test_hostile_names_change_nothing(computed: dict[str, Path]):
    assert differences(growth.forecast(hostile()), computed["hostile"]) == []


def is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


# --- as written -------------------------------------------------------------------------------------------------------


def formulas(workbook: Path) -> Iterator[str]:
    with zipfile.ZipFile(workbook) as parts:
        for name in parts.namelist():
            if name.startswith("xl/worksheets/sheet"):
                text = parts.read(name).decode("utf-8")
                assert 't="array"' not in text
                found = re.findall(r"<f>([^<]*)</f>", text)
                yield from (
                    formula.replace("&quot;", '"').replace("&lt;", "<").replace("&amp;", "&") for formula in found
                )


@pytest.mark.parametrize("name", [*LOOKED_AT, "hostile", f"changed {CHANGED[0]}"])
def test_formulas_use_only_functions_that_every_program_has(made: dict[str, Path], name: str):
    """Common practice, no source: 255 characters of text and 8,192 of formula are the least that programs take."""
    count = 0
    for formula in formulas(made[name]):
        count += 1
        assert len(formula) <= 8192
        bare = re.sub(r"'(?:[^']|'')*'!", "", formula)
        assert all(len(text) <= 255 for text in re.findall(r'"((?:[^"]|"")*)"', bare))
        used = set(re.findall(r"([A-Z][A-Z0-9.]*)\(", re.sub(r'"(?:[^"]|"")*"', "", bare)))
        assert used <= FUNCTIONS, used - FUNCTIONS
    assert count > 300


def test_no_macros_no_links_and_nothing_fetched(made: dict[str, Path]):
    for path in made.values():
        with zipfile.ZipFile(path) as parts:
            names = " ".join(parts.namelist())
            assert not re.search(r"vbaProject|externalLink|connections|hyperlink", names, re.IGNORECASE)
            outside = [name for name in parts.namelist() if b'TargetMode="External"' in parts.read(name)]
            assert outside == []


def test_hostile_texts_are_texts(made: dict[str, Path]):
    book = openpyxl.load_workbook(made["hostile"])
    assert all(len(name) <= 31 and not re.search(r"[\\/?*\[\]:]", name) for name in book.sheetnames)
    assert len({name.lower() for name in book.sheetnames}) == len(book.sheetnames)
    texts = {cell.value: cell.data_type for row in book["Arrivals"].iter_rows() for cell in row if cell.value}
    assert all(texts[name] == "s" for name in HOSTILE)
    seen = [cell for page in book for row in page.iter_rows() for cell in row if isinstance(cell.value, str)]
    assert not any(cell.data_type == "f" and "HYPERLINK" in cell.value for cell in seen)


def test_only_input_cells_are_open_and_each_has_its_range(made: dict[str, Path]):
    book = openpyxl.load_workbook(made["yearly-plans"])
    cells = Inputs(growth.load_scenario(SCENARIOS / "yearly-plans.yaml")).cells
    page = book["Assumptions"]
    rules = {str(rule.sqref): rule for rule in page.data_validations.dataValidation}
    open_cells = {cell.coordinate for row in page.iter_rows() for cell in row if not cell.protection.locked}
    assert all(sheet.protection.sheet for sheet in book) and len(cells) == len(rules) == len(open_cells)
    for one in cells:
        ((_, place),) = book.defined_names[one.name].destinations
        place = place.replace("$", "")
        rule = rules[place]
        assert place in open_cells and page[place].value == one.value and int(place[1:]) > FIRST_LINE
        assert (float(rule.formula1), float(rule.formula2)) == (one.entry.low, one.entry.high)
        assert rule.type == ("whole" if one.entry.whole else "decimal") and one.help[:200] in rule.prompt


def test_the_same_scenario_gives_the_same_bytes():
    scenario = growth.load_scenario(SCENARIOS / "seasonal.yaml")
    assert spreadsheet(growth.forecast(scenario)) == spreadsheet(growth.forecast(scenario))


# --- what goes wrong --------------------------------------------------------------------------------------------------


def test_draws_are_refused():
    with pytest.raises(ScenarioError, match="2 draws"):
        spreadsheet(growth.forecast(business(churn=np.array([0.1, 0.2]))))


def test_without_xlsxwriter_the_error_names_the_extra(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setitem(sys.modules, "xlsxwriter", None)
    with pytest.raises(PublishError, match=re.escape("growth-workbook[spreadsheet]")):
        spreadsheet(growth.forecast(business()))


def test_the_command_writes_whole_or_not_at_all(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    scenario, to = str(SCENARIOS / "fernhollow.yaml"), tmp_path / "forecast.xlsx"
    assert main(["spreadsheet", scenario, "--to", str(to)]) == 0
    assert to.name in capsys.readouterr().out and [path.name for path in tmp_path.iterdir()] == [to.name]
    for where, said in ((tmp_path / "forecast.csv", ".xlsx"), (tmp_path / "nowhere" / "forecast.xlsx", "folder")):
        assert main(["spreadsheet", scenario, "--to", str(where)]) == 2
        assert said in capsys.readouterr().err
    before = to.read_bytes()
    broken = tmp_path / "broken.yaml"
    broken.write_text("scenario: {business: x, months: 0, pay: {plans: [{name: a, monthly_price: 1}]}}", "utf-8")
    assert main(["spreadsheet", str(broken), "--to", str(to)]) == 2
    assert "months" in capsys.readouterr().err and to.read_bytes() == before
