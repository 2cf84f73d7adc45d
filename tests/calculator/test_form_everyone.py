"""The form for everyone: by keyboard, read aloud, on a phone, enlarged, in the dark, printed."""

from __future__ import annotations

from pathlib import Path

import pytest

import growth

pytest.importorskip("babel")
from calculator_page import opened

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.fixture(scope="module")
def demo():
    return growth.load_scenario(SCENARIOS / "fernhollow.yaml")


def test_by_keyboard_alone_an_assumption_is_changed_and_the_answer_read(browser, tmp_path, demo):
    page = opened(browser, demo, tmp_path)
    before = page.locator(".growth-answer").inner_text()
    focused = "document.activeElement.dataset.path"
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate(focused) == "stay.churn.monthly_churn_rate":
            break
    slider = page.locator(":focus")
    assert slider.get_attribute("type") == "range"
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert slider.get_attribute("aria-valuetext") == "4.2 %"
    assert page.evaluate(focused) == "stay.churn.monthly_churn_rate"  # redrawing leaves the focus where it was
    aloud = page.locator("[aria-live=polite]").filter(has_text="4.2%")
    aloud.wait_for(state="attached")
    assert page.locator(".growth-answer").inner_text() != before
    assert aloud.inner_text().startswith(page.locator(".growth-answer").inner_text())
    page.keyboard.press("Tab")
    page.keyboard.type("3")  # the whole number is selected on arrival
    assert page.evaluate("place.calculator.get().scenario.stay.churn.monthly_churn_rate") == 0.03


def test_both_inputs_of_a_line_carry_its_label_and_the_chart_tells_the_answer(browser, tmp_path, demo):
    page = opened(browser, demo, tmp_path)
    lines = page.locator(".growth-line")
    for index in range(lines.count()):
        label = lines.nth(index).locator("label").inner_text()
        assert lines.nth(index).get_by_label(label, exact=True).count() == 2
    assert page.get_by_role("img", name="growth stops near €5,200").count() == 1


@pytest.mark.parametrize(("name", "scheme"), [("fernhollow", "light"), ("yearly-plans", "dark")])
def test_axe_finds_nothing(browser, tmp_path, name, scheme):
    axe = pytest.importorskip("axe_core_python.sync_playwright").Axe()
    page = opened(browser, growth.load_scenario(SCENARIOS / f"{name}.yaml"), tmp_path, color_scheme=scheme)
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    page.locator(".growth-number").first.fill("-1")  # with a complaint on screen
    violations = axe.run(page)["violations"]
    assert [(one["id"], [node["html"][:120] for node in one["nodes"]]) for one in violations] == []


@pytest.mark.parametrize("name", ["yearly-plans", "ten-thousand"])
def test_no_sideways_scrolling(browser, tmp_path, name):
    page = opened(browser, growth.load_scenario(SCENARIOS / f"{name}.yaml"), tmp_path)
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    parts = "[...document.querySelectorAll('.growth-line *, .growth-buttons *, svg')]"
    beyond = f"{parts}.filter((part) => part.getBoundingClientRect().right > innerWidth)"
    for width in (320, 360, 450, 900):  # 450 is a page of 900 enlarged to 200%
        page.set_viewport_size({"width": width, "height": 700})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(f"{beyond}.length") == 0


def test_printed_the_form_is_a_list_of_assumptions(browser, tmp_path, demo):
    page = opened(browser, demo, tmp_path)
    page.emulate_media(media="print")
    assert page.locator("[type=range]").first.is_hidden()
    assert page.get_by_role("button", name="Back to the original numbers").is_hidden()
    assert page.get_by_label("Customers today").and_(page.locator(".growth-number")).is_visible()
    assert page.locator("svg").is_visible()
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.locator("tbody tr").count() == demo.months
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator("details").get_attribute("open") is None
