"""The form in Chromium: every slider moved, every number typed, and what the page then shows held against Python."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from how_many import few_or_many
from plain import business, plan

import growth

pytest.importorskip("babel")
from calculator_page import opened

from growth.calculator.certainty import whole_answer
from growth.calculator.controls import controls
from growth.calculator.data import COLUMNS
from growth.calculator.number_words import column
from growth.calculator.picture_view import View
from growth.calculator.pictures import told
from growth.calculator.words import headline

SCENARIOS = Path(__file__).parents[2] / "scenarios"
SET = """([path, kind, text]) => {
  const named = kind === "range" ? "[type=range]" : ".growth-number";
  const input = place.querySelector(`input${named}[data-path="${path}"]`);
  input.value = text;
  input.dispatchEvent(new Event("input", { bubbles: true }));
  const shown = place.calculator.get();
  const numbers = (values) => [...values].map((value) => (Number.isNaN(value) ? null : value));
  return {
    ...shown,
    answer: [...place.querySelectorAll(".growth-rest p")].map((p) => p.textContent).join(" "),
    line: place.querySelector(".growth-answer").textContent,
    described: [...place.querySelectorAll(".growth-pictures title")].map((title) => title.textContent),
    table: [...place.querySelectorAll("tbody tr")].map((row) => [...row.cells].map((cell) => cell.textContent)),
    series: Object.fromEntries(Object.entries(place.calculator.series()).map(([name, all]) => [name, numbers(all)])),
  };
}"""


def value_at(numbers: dict, path: str) -> float:
    for key in path.split("."):
        numbers = numbers[int(key)] if isinstance(numbers, list) else numbers[key]
    return numbers


def shows_what_python_says(shown: dict) -> growth.Scenario:
    """The page's scenario is valid as it is, and its answer, chart words, table and series are Python's."""
    scenario = growth.load_scenario({"scenario": shown["ranged"]})
    forecast = growth.forecast(scenario)
    assert shown["answer"] == shown["sentence"] == whole_answer(forecast)
    assert shown["line"] == "".join(text for text, _ in headline(forecast))
    says = told(View(forecast))
    assert shown["described"][0].startswith(says["mrr"]) and shown["described"][1] == says["flows"]
    columns = [
        column(getattr(forecast, name), kind, scenario.currency)
        for name, kind, always in COLUMNS
        if always or np.any(getattr(forecast, name) != 0)
    ]
    assert [row[1:] for row in shown["table"]] == [list(row) for row in zip(*columns, strict=True)]
    for name, values in shown["series"].items():
        python = getattr(forecast, name)
        np.testing.assert_allclose(np.array(values, dtype=float), python, rtol=1e-9, atol=1e-9, err_msg=name)
    return scenario


@pytest.mark.parametrize("name", few_or_many(["fernhollow"], ["fernhollow", "yearly-plans"]))
def test_every_slider_and_every_typed_number_moves_answer_chart_and_table(browser, tmp_path, name):
    """The numbers moved before stay moved."""
    scenario = growth.load_scenario(SCENARIOS / f"{name}.yaml")
    page = opened(browser, scenario, tmp_path)
    page.locator(".growth-table summary").click()
    for control in controls(scenario):
        low, high, step = control["slider"]
        moved = round(low + round((high - low) * 0.4 / step) * step, 10)
        shown = page.evaluate(SET, [control["path"], "range", str(moved)])
        assert value_at(shown["scenario"], control["path"]) == pytest.approx(moved, rel=1e-12)
        shows_what_python_says(shown)
        scale = 100 if control["share"] else 1
        # between the slider's own steps
        typed = round((low + (high - low) * 0.13) * scale, 0 if control["whole"] else 3)
        shown = page.evaluate(SET, [control["path"], "number", f"{typed:g}"])
        assert value_at(shown["scenario"], control["path"]) == pytest.approx(float(f"{typed:g}") / scale, rel=1e-12)
        shows_what_python_says(shown)
    assert page.complaints == []


def test_a_typed_number_may_lie_beyond_the_slider_but_not_beyond_what_is_valid(browser, tmp_path):
    page = opened(browser, business(), tmp_path)
    churn = page.get_by_label("Customers leaving each month").and_(page.locator(".growth-number"))
    churn.fill("60")
    assert page.get_by_text("Beyond the slider, which ends at 40%.").count() == 1  # four times the 10% of the scenario
    assert page.evaluate("place.calculator.get().scenario.stay.churn.monthly_churn_rate") == 0.6
    for wrong in ("101", "-1", ""):
        churn.fill(wrong)
        assert churn.get_attribute("aria-invalid") == "true"
        note = page.locator(f"[id='{churn.get_attribute('aria-describedby')}']")
        assert re.match(r"A number from 0% to 100%\.", note.inner_text())
        assert page.evaluate("place.calculator.get().scenario.stay.churn.monthly_churn_rate") == 0.6
    churn.press("Tab")  # leaving the field brings the last good number back
    assert churn.input_value() == "60"
    assert churn.get_attribute("aria-invalid") is None


def test_what_customers_pay_moves_with_their_number_whatever_the_way_there(browser, tmp_path):
    page = opened(browser, growth.load_scenario(SCENARIOS / "fernhollow.yaml"), tmp_path)  # 40 customers pay 29 each
    number = {name: page.locator(f'.growth-number[data-path="opening.{name}"]') for name in ("customers", "mrr")}
    mrr = lambda: page.evaluate("document.getElementById('calculator').calculator.get().scenario.opening.mrr")  # noqa: E731
    number["customers"].fill("50")
    assert mrr() == 1450
    for value in ("0", "7", "50"):
        number["customers"].fill(value)
    assert mrr() == 1450 and number["mrr"].input_value() == "1,450"
    number["mrr"].fill("2000")  # 40 each from now on
    number["customers"].fill("100")
    assert mrr() == 4000 and number["mrr"].input_value() == "4,000"


def test_numbers_are_read_as_people_type_them(browser, tmp_path):
    """1,160 is a thousand and more, 4.5% is 4.5; a comma for decimals is refused with words, never read as another
    number.
    """
    page = opened(browser, growth.load_scenario(SCENARIOS / "fernhollow.yaml"), tmp_path)

    def value(path):
        return value_at(page.evaluate("document.getElementById('calculator').calculator.get().scenario"), path)

    churn = page.locator('.growth-number[data-path="stay.churn.monthly_churn_rate"]')
    mrr = page.locator('.growth-number[data-path="opening.mrr"]')
    churn.fill("4,5")
    assert value("stay.churn.monthly_churn_rate") == 0.04 and churn.get_attribute("aria-invalid") == "true"
    assert page.get_by_text("with a point for decimals").count() == 1
    churn.fill("4.5%")
    assert value("stay.churn.monthly_churn_rate") == 0.045 and churn.get_attribute("aria-invalid") is None
    mrr.fill("2,320")
    assert value("opening.mrr") == 2320
    for text in ("5,200", "5 200", "5\N{NO-BREAK SPACE}200", "5'200", "€5,200", "5200.0"):
        mrr.fill("1,234,567.5")
        assert value("opening.mrr") == 1234567.5
        mrr.fill(text)
        assert value("opening.mrr") == 5200, text
    # 2.500 may be two and a half here, or 2,500 typed as elsewhere: either would be a number of this slider
    mrr.fill("2.500")
    assert value("opening.mrr") == 5200 and mrr.get_attribute("aria-invalid") == "true"
    assert page.get_by_text("This may mean 2,500 or 2.5.").count() == 1
    mrr.press("Tab")
    assert mrr.input_value() == "5,200"  # its thousands set apart again
    mrr.focus()
    assert mrr.input_value() == "5200"  # but not while it is edited
    mrr.fill("2,320")
    for junk in ("", "abc", "52,00", "5,2000", "5 20", "1e999", "4.5.6", "Infinity", "0x10", "--1", "1 2"):
        mrr.fill(junk)
        assert value("opening.mrr") == 2320 and mrr.get_attribute("aria-invalid") == "true", junk


def test_whole_months_refuse_fractions(browser, tmp_path):
    page = opened(browser, business(), tmp_path)
    months = page.get_by_label("Months to look ahead").and_(page.locator(".growth-number"))
    months.fill("12.5")
    assert months.get_attribute("aria-invalid") == "true"
    months.fill("121")
    assert months.get_attribute("aria-invalid") == "true"
    assert page.evaluate("place.calculator.get().scenario.months") == 3


def test_shares_of_plans_keep_adding_to_one(browser, tmp_path):
    plans = [plan(name="a", share=0.5), plan(name="b", share=0.3), plan(name="c", share=0.2)]
    page = opened(browser, business(pay={"plans": plans}), tmp_path)
    shares = lambda shown: [one["share"] for one in shown["scenario"]["pay"]["plans"]]  # noqa: E731
    shown = page.evaluate(SET, ["pay.plans.0.share", "range", "0.75"])
    assert shares(shown) == pytest.approx([0.75, 0.15, 0.1])
    assert shares(page.evaluate(SET, ["pay.plans.0.share", "range", "1"])) == [1, 0, 0]
    shown = page.evaluate(SET, ["pay.plans.0.share", "number", "20"])  # nothing to share out by: equally
    assert shares(shown) == pytest.approx([0.2, 0.4, 0.4])
    growth.load_scenario({"scenario": shown["scenario"]})


def test_without_customers_nobody_pays_and_what_they_paid_comes_back_with_them(browser, tmp_path):
    page = opened(browser, business(opening={"customers": 40, "mrr": 1000}), tmp_path)
    opening = lambda value: page.evaluate(SET, ["opening.customers", "range", value])["scenario"]["opening"]  # noqa: E731
    assert (opening("0")["customers"], opening("0")["mrr"]) == (0, 0)
    assert page.get_by_label("What they pay in all").first.is_disabled()
    assert opening("20")["mrr"] == 500


def test_fifty_moves_within_a_frame_are_drawn_once_and_end_on_the_last(browser, tmp_path):
    page = opened(browser, business(months=120), tmp_path)
    drawn, churn, sentence = page.evaluate("""() => new Promise((done) => {
      const slider = place.querySelector("[type=range][data-path='stay.churn.monthly_churn_rate']");
      let drawn = 0;
      new MutationObserver(() => (drawn += 1)).observe(place.querySelector(".growth-answer"), { childList: true });
      for (let i = 1; i <= 50; i++) { slider.value = i / 1000; slider.dispatchEvent(new Event("input")); }
      requestAnimationFrame(() => requestAnimationFrame(() => {
        const { scenario, sentence } = place.calculator.get();
        done([drawn, scenario.stay.churn.monthly_churn_rate, sentence]);
      }));
    })""")
    assert (drawn, churn) == (1, 0.05)
    assert sentence == whole_answer(growth.forecast(business(months=120, churn=0.05)))
