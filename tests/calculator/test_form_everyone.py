"""The form for everyone: by keyboard, read aloud, on a phone, enlarged, in the dark, printed."""

from __future__ import annotations

from pathlib import Path

import pytest
from axe import violations
from browser_tabs import empty
from how_many import few_or_many

import growth

pytest.importorskip("babel")
from calculator_page import opened

from growth.giveaway.brief import brief_data
from growth.giveaway.placeholders import load_giveaway

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
    page.keyboard.press("Tab")  # from the number to its slider
    slider = page.locator(":focus")
    assert slider.get_attribute("type") == "range"
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert slider.get_attribute("aria-valuetext") == "4.2%"
    assert page.evaluate(focused) == "stay.churn.monthly_churn_rate"  # redrawing leaves the focus where it was
    aloud = page.locator("[aria-live=polite]").filter(has_text="4.2%")
    aloud.wait_for(state="attached")
    assert page.locator(".growth-answer").inner_text() != before
    assert aloud.inner_text().startswith(page.locator(".growth-answer").inner_text())
    page.keyboard.press("Shift+Tab")
    page.keyboard.type("3")  # the whole number is selected on arrival
    assert page.evaluate("place.calculator.get().scenario.stay.churn.monthly_churn_rate") == 0.03


@pytest.mark.parametrize("kind", ["[type=range]", ".growth-number"])
def test_keys_move_a_number_in_steps_finer_and_coarser_ones(browser, tmp_path, demo, kind):
    page = opened(browser, demo, tmp_path)
    page.locator(f"{kind}[data-path='stay.churn.monthly_churn_rate']").focus()
    value = lambda: page.evaluate("place.calculator.get().scenario.stay.churn.monthly_churn_rate")  # noqa: E731
    for key, expected in [
        ("ArrowUp", 0.041), ("Shift+ArrowUp", 0.0411), ("PageUp", 0.0511), ("PageDown", 0.0411), ("ArrowDown", 0.0401),
    ]:  # fmt: skip
        page.keyboard.press(key)
        assert value() == pytest.approx(expected, rel=1e-12), key
    page.locator("[data-path=months][type=range]").focus()
    page.keyboard.press("Shift+ArrowRight")  # there is nothing finer than a month
    assert page.evaluate("place.calculator.get().scenario.months") == 37


def test_step_buttons_move_a_number_by_a_step_and_stop_at_what_is_valid(browser, tmp_path, demo):
    page = opened(browser, demo, tmp_path)
    price = lambda: page.evaluate("place.calculator.get().scenario.pay.plans[0].monthly_price")  # noqa: E731
    page.get_by_role("button", name="More: Price").click()
    assert price() == 30
    for _ in range(2):
        page.get_by_role("button", name="Less: Price").click()
    assert price() == 28
    page.get_by_role("button", name="Less: Price").evaluate("(less) => { for (let n = 0; n < 29; n++) less.click(); }")
    assert price() == 0


def test_targets_are_24_pixels_at_least_and_do_not_touch(browser, tmp_path, demo):
    """WCAG 2.2, 2.5.8. A slider's whole track is its target."""
    page = opened(browser, demo, tmp_path, viewport={"width": 320, "height": 640})
    boxes = page.evaluate("""[...place.querySelectorAll("button, input, summary")].map((one) => {
      const { left, right, top, bottom } = one.getBoundingClientRect();
      return [left, right, top, bottom];
    }).filter(([left, right]) => right > left)""")
    for left, right, top, bottom in boxes:
        assert right - left >= 24 and bottom - top >= 24
    for i, (left, right, top, bottom) in enumerate(boxes):
        for other in boxes[i + 1 :]:
            assert right <= other[0] or other[1] <= left or bottom <= other[2] or other[3] <= top


def test_both_inputs_of_a_line_carry_its_label_and_the_pictures_tell_what_they_show(browser, tmp_path, demo):
    page = opened(browser, demo, tmp_path)
    lines = page.locator(".growth-line")
    for index in range(lines.count()):
        label = lines.nth(index).locator("label").inner_text()
        assert lines.nth(index).get_by_label(label, exact=True).count() == 2
    assert page.get_by_role("img", name="from €1,160 in Dec 2026 to €3,713 in Dec 2029").count() == 1
    assert page.get_by_role("img", name="They meet when MRR is near €5,200").count() == 1


@pytest.mark.parametrize(
    ("name", "locale", "scheme", "width"),
    [
        ("fernhollow", "en-GB", "light", 1280),
        ("brief-halving-churn", "fr-FR", "dark", 360),
        *few_or_many(
            [],
            [
                ("yearly-plans", "de-DE", "dark", 1280),
                ("brief-when-can-i-live-from-it-de", "de-DE", "light", 1280),
                ("ten-thousand", "en-GB", "light", 360),
            ],
        ),
    ],
)
def test_axe_finds_nothing_in_any_state(browser, tmp_path, name, locale, scheme, width):
    """As it came, opened by a link, by a bad link, with a complaint, a kept line, a what-if and a link shown. In the
    usual run scenarios other than the demo are opened by the link alone, which shows the most."""
    path = SCENARIOS / f"{name}.yaml"
    scenario = growth.load_scenario(path)
    brief = brief_data(load_giveaway(path, scenario=scenario))
    states = ("", "#months=24&opening.customers=30", "#months=none")
    for fragment in few_or_many(states if name == "fernhollow" else states[1:2], states):
        page = opened(browser, scenario, tmp_path, fragment=fragment, locale=locale, brief=brief, color_scheme=scheme,
                      viewport={"width": width, "height": 800})  # fmt: skip
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        if fragment:
            page.locator(".growth-number").first.fill("-1")
            page.locator(".growth-lines button").first.click()  # beside the what-ifs stands a line that is kept
            page.locator(".growth-buttons:not(.growth-lines) button").nth(1).click()
        for what_if in page.locator(".growth-choice button").all()[1:2]:
            what_if.click()
        page.wait_for_timeout(100)
        assert violations(page) == [], fragment
        empty(browser)


def test_printed_the_form_is_a_list_of_assumptions(browser, tmp_path, demo):
    page = opened(browser, demo, tmp_path)
    page.emulate_media(media="print")
    assert page.locator("[type=range]").first.is_hidden()
    assert page.get_by_role("button", name="Back to the original numbers").is_hidden()
    assert page.get_by_label("Customers today").and_(page.locator(".growth-number")).is_visible()
    assert page.locator("svg.growth-mrr").is_visible() and page.locator("svg.growth-flows").is_visible()
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.locator("tbody tr").count() == demo.months
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator("details").get_attribute("open") is None
