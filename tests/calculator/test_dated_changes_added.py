"""Changes from a month on that a reader adds: in the form, in the link, and in JupyterLab in the file."""

from __future__ import annotations

from urllib.parse import urlsplit

import pytest
from plain import business

import growth

pytest.importorskip("babel")
from calculator_page import follow, opened

from growth.calculator import Calculator

CHURN = "stay.churn.monthly_churn_rate"
NOW = "place.calculator.get().scenario"


def scenario(**more):
    return business(months=24, **more)


def steady(opening: float, churn: float, months: int) -> float:
    """MRR of ten joiners a month at 20: M q^t + n p (1 - q^t) / (1 - q)."""
    return opening * (1 - churn) ** months + 200 * (1 - (1 - churn) ** months) / churn


def add(page, month: str, label: str) -> None:
    page.get_by_label("this number changes").select_option(label=label)
    page.get_by_role("textbox", name="From month", exact=True).fill(month)
    page.get_by_role("button", name="Add the change").click()


def type_in(page, path: str, shown: str) -> None:
    page.locator(f".growth-number[data-path='{path}']").fill(shown)


def as_python_has_it(page) -> float:
    """MRR at the end, as Python forecasts what the page shows; both have to agree."""
    mrr = growth.forecast(growth.load_scenario({"scenario": page.evaluate(NOW)})).closing_mrr[-1]
    assert page.evaluate("place.calculator.series().closing_mrr.at(-1)") == pytest.approx(mrr, rel=1e-9)
    return mrr


def test_a_change_is_added_moved_carried_by_a_link_and_removed(browser, tmp_path):
    page = opened(browser, scenario(), tmp_path)
    add(page, "13", "Customers leaving each month")
    assert as_python_has_it(page) == pytest.approx(steady(0, 0.1, 24))  # nothing has changed yet
    assert page.evaluate("document.activeElement.dataset.path") == f"from.13.{CHURN}"
    type_in(page, f"from.13.{CHURN}", "5")
    assert as_python_has_it(page) == pytest.approx(steady(steady(0, 0.1, 12), 0.05, 12))
    add(page, "20", "Visitors a month")  # a level, which is multiplied
    type_in(page, "from.20.arrive.channels.0.monthly_visitors", "3")
    assert as_python_has_it(page) == pytest.approx(steady(steady(0, 0.1, 12), 0.05, 12) + 400 * (1 - 0.95**5) / 0.05)
    assert [one["field"] for one in page.evaluate(NOW)["changes"]] == [CHURN, "arrive.channels.all.monthly_visitors"]

    page.get_by_role("button", name="Copy a link to these numbers").click()
    link = "#" + urlsplit(page.get_by_label("The link to these numbers").input_value()).fragment
    there = opened(browser, scenario(), tmp_path, fragment=link)
    assert there.evaluate(NOW) == page.evaluate(NOW)
    assert (
        "Customers leaving each month, from month 13: 5% instead of 10%" in there.locator(".growth-linked").inner_text()
    )
    there.get_by_role("button", name="Remove this change").last.click()
    assert as_python_has_it(there) == pytest.approx(steady(0, 0.1, 24) + 400 * (1 - 0.9**5) / 0.1)
    there.get_by_role("button", name="Back to the original numbers").first.click()
    assert there.evaluate(NOW) == scenario().model_dump(mode="json")
    assert there.get_by_role("button", name="Remove this change").count() == 0
    assert page.complaints == there.complaints == []


def test_a_month_outside_the_forecast_and_the_same_change_twice_are_refused(browser, tmp_path):
    page = opened(browser, scenario(), tmp_path)
    for month in ("1", "25", "7.5", "-3", "", "many"):
        add(page, month, "Price")
        assert "from 2 to 24" in page.locator(".growth-said").inner_text(), month
    add(page, "2", "Price")
    add(page, "2", "Price")
    assert "changes once" in page.locator(".growth-said").inner_text()
    assert len(page.evaluate(NOW)["changes"]) == 1


CRAFTED = [
    f"from.1.{CHURN}=0.05",
    f"from.121.{CHURN}=0.05",
    f"from.07.{CHURN}=0.05",
    f"from.7.{CHURN}=1.5",
    f"from.7.{CHURN}=",
    f"from.7.{CHURN}=0.05&from.7.{CHURN}=0.06",
    "from.7.months=12",
    "from.7.opening.customers=12",
    "from.7.business=5",
    "from.7.__proto__.x=1",
    "from.7.pay.plans.0.monthly_price=nan",
    "from.7.arrive.channels.0.monthly_visitors=101",  # times as many, at most a hundred
]


def test_a_crafted_change_changes_nothing_and_says_so(browser, tmp_path):
    page = opened(browser, scenario(), tmp_path, fragment=f"#{CRAFTED[-1]}")
    for fragment in CRAFTED:
        follow(page, fragment)
        page.get_by_text("does not fit this page").wait_for()
        assert page.evaluate(NOW) == scenario().model_dump(mode="json"), fragment


def test_a_kept_line_has_changes_of_its_own(browser, tmp_path):
    page = opened(browser, scenario(), tmp_path)
    add(page, "13", "Price")
    type_in(page, "from.13.pay.plans.0.monthly_price", "30")
    page.get_by_role("button", name="Keep this line").click()
    assert page.get_by_role("button", name="Remove this change").count() == 1
    page.get_by_role("button", name="nothing changed").click()
    assert page.evaluate(NOW) == scenario().model_dump(mode="json")
    assert page.get_by_role("button", name="Remove this change").count() == 0
    page.get_by_role("button", name="Line 1", exact=True).click()
    assert page.evaluate(NOW)["changes"][0]["becomes"] == 30
    assert page.complaints == []


def test_what_the_file_already_changes_has_a_line_after_its_number():
    changes = [
        {"from_month": 7, "field": CHURN, "becomes": 0.05},
        {"from_month": 9, "field": "arrive.channels.all.monthly_visitors", "times": 2},
    ]
    lines = Calculator(scenario(changes=changes)).data["controls"]
    at = {line["path"]: (number, line["label"]) for number, line in enumerate(lines)}
    assert at["changes.0.becomes"] == (at[CHURN][0] + 1, "Customers leaving each month: from month 7")
    visitors = at["arrive.channels.0.monthly_visitors"][0]
    assert at["changes.1.times"] == (visitors + 1, "Visitors a month: multiplied from month 9 by")
    assert not any(line["dated"] for line in lines if line["path"].startswith(("changes.", "opening.", "months")))


def test_in_the_notebook_it_goes_into_the_file_with_comments_kept(tmp_path):
    path = tmp_path / "kiln.yaml"
    growth.save_scenario(scenario(), path)
    path.write_text(path.read_text().replace("  months: 24", "  # two years\n  months: 24"))
    calculator = Calculator(path, path)
    change = {"from_month": 13, "field": CHURN, "becomes": 0.05, "times": None, "note": ""}
    base = {**calculator.scenario.model_dump(mode="json"), "changes": [change]}
    calculator.tuned = base  # as the front end sends it
    assert calculator.scenario.in_force(13).stay.churn.monthly_churn_rate == 0.05
    calculator._heard(None, {"kind": "keep", "scenario": base, "lines": []}, [])
    found = growth.load_scenario(path)
    assert [(one.from_month, one.field, one.becomes) for one in found.changes] == [(13, CHURN, 0.05)]
    assert "  # two years\n  months: 24" in path.read_text()

    # of two, with a comment each, the first is removed
    other = "    - {from_month: 20, field: pay.plans.one.monthly_price, becomes: 25}  # once we have the new room\n"
    told = path.read_text().replace("  changes:\n", "  changes:\n    # a guide\n", 1).rstrip("\n")
    path.write_text(f"{told}\n{other}")
    calculator = Calculator(path, path)
    calculator.tuned = {**calculator.tuned, "changes": calculator.tuned["changes"][1:]}
    calculator.keep()
    assert path.read_text().endswith(f"  changes:\n{other}")


def test_a_kept_line_with_a_change_becomes_a_what_if_of_the_file(tmp_path, browser):
    """One that lacks a change of the numbers beside which it is kept has that change multiply by 1."""
    path = tmp_path / "kiln.yaml"
    growth.save_scenario(scenario(), path)
    calculator = Calculator(path, path)
    plain = calculator.scenario.model_dump(mode="json")
    churn = {"from_month": 13, "field": CHURN, "becomes": 0.05, "times": None, "note": ""}
    visitors = {"from_month": 20, "field": "arrive.channels.all.monthly_visitors", "times": 3, "note": ""}
    later = {"label": "better, then louder", "note": "", "scenario": {**plain, "changes": [churn, visitors]}}
    never = {"label": "as before", "note": "", "scenario": plain}
    base = {**plain, "changes": [churn]}
    calculator._heard(None, {"kind": "keep", "scenario": base, "lines": [later, never]}, [])
    compared = growth.compare(growth.load_scenario(path)).forecasts
    better = steady(steady(0, 0.1, 12), 0.05, 12)
    ends = {name: forecast.closing_mrr[-1] for name, forecast in compared.items()}
    louder = better + 400 * (1 - 0.95**5) / 0.05
    assert [*ends.values()] == pytest.approx([better, louder, steady(0, 0.1, 24)])

    page = opened(browser, growth.load_scenario(path), tmp_path)
    assert [one["mrr.24"] for _, one in page.evaluate("place.calculator.beside()")] == pytest.approx([*ends.values()])
    page.get_by_role("button", name="better, then louder").click()
    type_in(page, "from.20.arrive.channels.0.monthly_visitors", "1")  # from here on the numbers are the reader's
    assert as_python_has_it(page) == pytest.approx(better)
    page.get_by_role("button", name="as before").click()
    assert as_python_has_it(page) == pytest.approx(steady(0, 0.1, 24))
    assert page.complaints == []


def test_a_change_that_came_with_the_file_is_removed_carried_by_a_link_and_brought_back(browser, tmp_path):
    given = [
        {"from_month": 13, "field": CHURN, "becomes": 0.05},
        {"from_month": 20, "field": "arrive.channels.all.monthly_visitors", "times": 3},
    ]
    told = scenario(changes=given)
    page = opened(browser, told, tmp_path)
    months_20_on = 400 * (1 - 0.95**5) / 0.05  # of twenty more a month
    assert as_python_has_it(page) == pytest.approx(steady(steady(0, 0.1, 12), 0.05, 12) + months_20_on)
    line = ".growth-line:has([data-path='{}']) button:has-text('Remove this change')"
    page.locator(line.format("changes.0.becomes")).click()
    assert as_python_has_it(page) == pytest.approx(steady(0, 0.1, 24) + 400 * (1 - 0.9**5) / 0.1)
    assert page.evaluate(NOW)["changes"] == told.model_dump(mode="json")["changes"][1:]
    assert page.evaluate("document.activeElement.closest('.growth-line').innerText").startswith("Customers leaving")
    assert page.locator(".growth-number[data-path='changes.0.becomes']").is_hidden()

    add(page, "13", "Customers leaving each month")  # another in its place, taken back again
    page.locator(line.format(f"from.13.{CHURN}")).click()
    page.get_by_role("button", name="Copy a link to these numbers").click()
    link = "#" + urlsplit(page.get_by_label("The link to these numbers").input_value()).fragment
    there = opened(browser, told, tmp_path, fragment=link)
    assert there.evaluate(NOW) == page.evaluate(NOW)
    assert "from month 13: no change instead of 5%" in there.locator(".growth-linked").inner_text()
    there.get_by_role("button", name="Back to the original numbers").first.click()
    assert there.evaluate(NOW) == told.model_dump(mode="json")
    there.evaluate("next => place.calculator.set(next)", scenario(changes=given[1:]).model_dump(mode="json"))
    assert as_python_has_it(there) == pytest.approx(steady(0, 0.1, 24) + 400 * (1 - 0.9**5) / 0.1)
    assert page.complaints == there.complaints == []
