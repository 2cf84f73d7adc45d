"""The table of what-ifs: worked by hand, the page against Python, and as it stands without scripts."""

from __future__ import annotations

import math
from itertools import product

import pytest
from how_many import few_or_many
from library import SCENARIOS
from plain import business

import growth

pytest.importorskip("babel")
from calculator_page import opened

from growth.calculator.what_ifs import beside_html, beside_rows
from growth.comparison import amounts, what_if_forecasts

WITH = [path for path in sorted(SCENARIOS.glob("brief-*.yaml"))]
CELLS = """() => [...place.querySelectorAll(".growth-beside tbody tr")].map((row) => [
  row.cells[0].textContent,
  [...row.cells].slice(1).map((cell) => [cell.firstChild.data, cell.children[0]?.textContent ?? ""])])"""
PAGE = ("churn", "goal_month", "left_month", "ceiling_mrr", "lowest_cash", "lifetime_value", "payback_months")
DOUBLED = {
    "name": "doubled",
    "changes": [{"field": "pay.plans.0.monthly_price", "times": 2}],
    "note": "<b>why</b> & how",
}


def test_doubling_the_price_of_the_business_worked_by_hand():
    """Example A of the model's text: MRR 200, 380, 542 and a ceiling of 2,000; at twice the price, all of it twice."""
    scenario = business(goal_mrr=380, what_ifs=[DOUBLED])
    rows = dict(beside_rows([growth.forecast(scenario), *what_if_forecasts(scenario).values()]))
    assert rows["Monthly revenue, Mar 2027"] == [("€542", ""), ("€1,084", "+€542")]
    assert rows["Customers, Mar 2027"] == [("27.1", ""), ("27.1", "")]
    assert rows["Leaving in Mar 2027"] == [("10%", ""), ("10%", "")]
    assert rows["Goal reached"] == [("Feb 2027", ""), ("Jan 2027", "−1 month")]
    assert rows["Levels off at"] == [("€2,000", ""), ("€4,000", "+€2,000")]
    assert rows["A new customer is worth"] == [("€184", ""), ("€367", "+€184")]  # 20 x 1.01 / (0.01 + 0.1)
    assert "Enough left from" not in rows  # without such a goal
    assert "Cost of winning one is back after" not in rows  # where winning one costs nothing


LOCALES = ("en-GB", "de-DE")
ONE_EACH = [(path, LOCALES[n % 2]) for n, path in enumerate(WITH)]


@pytest.mark.parametrize(
    ("path", "locale"), few_or_many(ONE_EACH, [*product(WITH, LOCALES)]), ids=lambda one: getattr(one, "stem", one)
)
def test_the_page_says_what_python_does_and_follows_every_move(browser, tmp_path, path, locale):
    scenario = growth.load_scenario(path)
    page = opened(browser, scenario, tmp_path, locale=locale)
    for months in (scenario.months, 30):
        page.locator(".growth-number[data-path='months']").fill(str(months))
        moved = growth.load_scenario({"scenario": scenario.model_dump(mode="json") | {"months": months}})
        forecasts = [growth.forecast(moved), *what_if_forecasts(moved).values()]
        for (_, there), one in zip(page.evaluate("place.calculator.beside()"), forecasts, strict=True):
            here = amounts(one, months)
            assert {key for key in here if "." in key} | set(PAGE) == there.keys()
            for key, value in there.items():
                absent = value is None or math.isnan(value)
                assert math.isnan(here[key]) if absent else value == pytest.approx(here[key], rel=1e-9, abs=1e-9), key
        told = [[label, [list(cell) for cell in cells]] for label, cells in beside_rows(forecasts, locale)]
        assert page.evaluate(CELLS) == told
    assert page.complaints == []


def test_without_scripts_the_same_table_stands_there_with_texts_escaped():
    scenario = business(what_ifs=[DOUBLED])
    html = beside_html(growth.forecast(scenario), what_if_forecasts(scenario), {"doubled": "<b>why</b> & how"})
    assert '<th scope="col">doubled<' in html and "doubled: &lt;b&gt;why&lt;/b&gt; &amp; how" in html
    assert "<td>€1,084<span>+€542</span><" in html
    assert beside_html(growth.forecast(business()), {}, {}) == ""


def test_on_a_phone_the_table_scrolls_within_its_own_frame(browser, tmp_path):
    page = opened(browser, growth.load_scenario(WITH[0]), tmp_path, viewport={"width": 320, "height": 640})
    page.locator(".growth-beside tbody tr").first.wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
