"""Lines that a reader keeps: beside the original numbers, in the link, and in JupyterLab in the file."""

from __future__ import annotations

from urllib.parse import urlsplit

import pytest
from plain import business

import growth

pytest.importorskip("babel")
from calculator_page import follow, opened

from growth.calculator import Calculator

NOW = "place.calculator.get().scenario"
PRICE, CHURN = "pay.plans.0.monthly_price", "stay.churn.monthly_churn_rate"
HOSTILE = "<img src=x onerror=a(1)>&;=%25"


def scenario():
    return business(months=24, goal_mrr=900)


def move(page, path: str, shown: str) -> None:
    page.locator(f".growth-number[data-path='{path}']").fill(shown)


def keep(page, name: str = "") -> None:
    page.locator(".growth-lines").get_by_label("Name").fill(name)
    page.get_by_role("button", name="Keep this line").click()


def ends(page) -> dict[str, float]:
    return {name: one["mrr.24"] for name, one in page.evaluate("place.calculator.beside()")}


def mrr(price: float, churn: float) -> float:
    """Steady arrivals of 10, from nothing, after 24 months: n p (1 - q^24) / (1 - q)."""
    return 10 * price * (1 - (1 - churn) ** 24) / churn


def test_a_line_is_kept_switched_to_carried_by_a_link_and_removed(browser, tmp_path):
    page = opened(browser, scenario(), tmp_path)
    assert page.locator(".growth-beside").is_hidden() and page.locator(".growth-choice").is_hidden()
    move(page, PRICE, "26")
    keep(page, HOSTILE)
    assert ends(page) == pytest.approx({"nothing changed": mrr(20, 0.1), HOSTILE: mrr(26, 0.1)})
    assert page.evaluate(NOW)["pay"]["plans"][0]["monthly_price"] == 26  # what is shown has not changed
    page.get_by_role("button", name="nothing changed").click()
    assert page.evaluate(NOW) == scenario().model_dump(mode="json")
    move(page, CHURN, "5")  # the kept line stays what it was
    assert ends(page) == pytest.approx({"your numbers": mrr(20, 0.05), HOSTILE: mrr(26, 0.1)})
    keep(page)
    assert ends(page) == pytest.approx(
        {"nothing changed": mrr(20, 0.1), HOSTILE: mrr(26, 0.1), "Line 1": mrr(20, 0.05)}
    )

    page.get_by_role("button", name="Copy a link to these numbers").click()
    link = "#" + urlsplit(page.get_by_label("The link to these numbers").input_value()).fragment
    there = opened(browser, scenario(), tmp_path, fragment=link)
    assert ends(there) == ends(page)
    assert f"The line “{HOSTILE}”" in there.locator(".growth-linked").inner_text()
    there.get_by_role("button", name=HOSTILE, exact=True).click()
    there.get_by_role("button", name=f"Remove “{HOSTILE}”").click()
    assert ends(there) == pytest.approx({"nothing changed": mrr(20, 0.1), "Line 1": mrr(20, 0.05)})
    assert page.complaints == there.complaints == []


def test_three_are_kept_at_most_and_the_original_numbers_are_no_line(browser, tmp_path):
    page = opened(browser, scenario(), tmp_path)
    keep(page)
    assert "Move a number first" in page.locator(".growth-said").inner_text()
    for price in (21, 22, 23, 24):
        move(page, PRICE, str(price))
        keep(page)
    assert "Remove one first" in page.locator(".growth-said").inner_text()
    assert list(ends(page)) == ["your numbers", "Line 1", "Line 2", "Line 3"]


CRAFTED = [
    "line=a",
    "line=;pay.plans.0.monthly_price=26",
    "line=a;pay.plans.0.monthly_price=-1",
    "line=a;months=12",
    "line=a;business=5",
    "line=a;__proto__.x=1",
    "line=" + "a" * 31 + ";months=12",
    "line=a%2500;pay.plans.0.monthly_price=26",
    "line=a;pay.plans.0.monthly_price=26&line=a;pay.plans.0.monthly_price=27",
    "&".join(f"line=a{n};pay.plans.0.monthly_price=26" for n in range(4)),
    "months=12&line=a;pay.plans.0.monthly_price=26;x",
]


def test_a_crafted_line_changes_nothing_and_says_so(browser, tmp_path):
    page = opened(browser, scenario(), tmp_path, fragment=f"#{CRAFTED[-1]}")
    for line in CRAFTED:
        follow(page, line)
        page.get_by_text("does not fit this page").wait_for()
        assert page.evaluate(NOW) == scenario().model_dump(mode="json"), line
        assert page.locator(".growth-beside").is_hidden(), line


def test_in_the_notebook_lines_become_what_ifs_of_the_file_with_comments_kept(tmp_path):
    path = tmp_path / "kiln.yaml"
    growth.save_scenario(scenario(), path)
    path.write_text(path.read_text().replace("  months: 24", "  # two years\n  months: 24"))
    calculator = Calculator(path, path)
    base = calculator.scenario.model_dump(mode="json")
    dearer = {**base, "pay": {**base["pay"], "plans": [{**base["pay"]["plans"][0], "monthly_price": 26}]}}
    line = {"label": "Raise the price", "note": "From May on: write to all", "scenario": dearer}
    calculator._heard(None, {"kind": "keep", "scenario": base, "lines": [line]}, [])
    found = growth.load_scenario(path)
    assert [(one.title, one.note) for one in found.what_ifs] == [("Raise the price", "From May on: write to all")]
    assert growth.compare(found).forecasts["Raise the price"].closing_mrr[-1] == pytest.approx(mrr(26, 0.1))
    assert "  # two years\n  months: 24" in path.read_text()
    assert [one["label"] for one in calculator.data["what_ifs"]] == ["Raise the price"]  # the form shows it as one


def test_a_line_that_cannot_be_saved_leaves_file_and_scenario_as_they_were(tmp_path):
    path = tmp_path / "kiln.yaml"
    growth.save_scenario(scenario(), path)
    calculator, before = Calculator(path, path), path.read_text()
    base = calculator.scenario.model_dump(mode="json")
    for lines in ([{"label": "same", "scenario": base}], [{"label": "bad", "scenario": {**base, "months": -1}}]):
        calculator._heard(None, {"kind": "keep", "scenario": base, "lines": lines}, [])
        assert path.read_text() == before and calculator.scenario.what_ifs == ()


def test_the_notebooks_form_asks_for_a_note_and_sends_the_lines(browser, tmp_path):
    page = opened(browser, scenario(), tmp_path, live=True)
    move(page, PRICE, "26")
    page.locator(".growth-lines").get_by_label("Note").fill("why")
    keep(page, "dearer")
    assert page.get_by_role("button", name="dearer", exact=True).is_visible()
    assert page.complaints == []


def test_in_the_notebook_a_plan_is_changed_under_its_name_renamed_noted_and_removed(browser, tmp_path):
    """Plans of the file and lines of the day alike; the file has it all once the numbers are kept."""
    path = tmp_path / "kiln.yaml"
    plans = [
        {"name": "dearer", "label": "Raise the price", "changes": [{"field": PRICE, "times": 1.2}]},
        {"name": "loyal", "changes": [{"field": CHURN, "becomes": 0.05}]},
    ]
    growth.save_scenario(business(months=24, goal_mrr=900, what_ifs=plans), path)
    path.write_text(path.read_text().replace("  months: 24", "  # two years\n  months: 24"))
    calculator = Calculator(path, path)
    page = opened(browser, calculator.scenario, tmp_path, live=True)
    fields = page.locator(".growth-lines")
    name, note = fields.get_by_label("Name"), fields.get_by_label("Note")
    rename = page.get_by_role("button", name="Change name and note")

    assert rename.is_hidden()
    page.get_by_role("button", name="loyal", exact=True).click()
    assert name.input_value() == "loyal"
    name.fill("Raise the price")
    rename.click()
    page.get_by_text("There is a “Raise the price” already.").wait_for()
    name.fill("Halve churn")
    note.fill("Call those who pause")
    rename.click()
    page.get_by_role("button", name="Halve churn", exact=True).wait_for()

    page.get_by_role("button", name="Raise the price", exact=True).click()
    move(page, PRICE, "26")  # from the plan's 24
    page.get_by_role("button", name="Keep this line").click()  # under the name it has
    assert page.get_by_role("button", name="Raise the price", exact=True).count() == 1

    page.get_by_role("button", name="nothing changed").click()
    move(page, CHURN, "2")
    keep(page, "a mistake")
    page.get_by_role("button", name="Remove “a mistake”").click()
    page.get_by_role("button", name="Keep these numbers").click()
    calculator._heard(None, page.evaluate("sent.at(-1)"), [])
    found = growth.load_scenario(path)
    assert [(one.name, one.title, one.note) for one in found.what_ifs] == [
        ("dearer", "Raise the price", ""),
        ("loyal", "Halve churn", "Call those who pause"),
    ]
    assert growth.compare(found).forecasts["Raise the price"].closing_mrr[-1] == pytest.approx(mrr(26, 0.1))
    assert "  # two years\n  months: 24" in path.read_text()

    page.get_by_role("button", name="Halve churn", exact=True).click()
    page.get_by_role("button", name="Remove “Halve churn”").click()
    page.get_by_role("button", name="Keep these numbers").click()
    calculator._heard(None, page.evaluate("sent.at(-1)"), [])
    assert [one.title for one in growth.load_scenario(path).what_ifs] == ["Raise the price"]
    assert page.complaints == []
