"""Cause and effect on one screen: while a number is changed its effect is in view, and nothing lies over what has the
focus; whatever the screen, the language, the size of the text and the number of the scenario's assumptions.
"""

from __future__ import annotations

import pytest
from how_many import few_or_many
from library import SCENARIOS

import growth

pytest.importorskip("babel")
from calculator_page import opened

from growth.calculator.language import languages, locale_of
from growth.giveaway.brief import brief_data
from growth.giveaway.placeholders import load_giveaway

OPEN = "for (const one of document.querySelectorAll('details')) one.open = true"
# of the element that has the focus: what it is, whether it is in view, whether the head lies over it, and the most that
# is seen of a picture whose top is in view
SEEN = """() => {
  const focused = document.activeElement;
  if (focused === document.body) return null;
  const around = document.querySelector(".panel")?.getBoundingClientRect() ?? { top: 0, bottom: innerHeight };
  const box = focused.getBoundingClientRect();
  const head = document.querySelector(".growth-head").getBoundingClientRect();
  const sticky = getComputedStyle(document.querySelector(".growth-head")).position === "sticky";
  const within = focused.closest(".growth-head, .growth-now") !== null;
  const pictures = [...document.querySelectorAll("svg.growth-chart")].map((svg) => svg.getBoundingClientRect());
  const seen = pictures.filter(({ top, height }) => height > 0 && top >= around.top - 1)
    .map(({ top, bottom }) => Math.min(bottom, around.bottom) - top);
  return {
    which: [...document.querySelectorAll("*")].indexOf(focused),
    what: `${focused.type ?? focused.localName} ${focused.dataset.path ?? focused.textContent.slice(0, 20)}`,
    slider: focused.type === "range",
    inView: (box.top >= around.top - 1 && box.bottom <= around.bottom + 1) || box.height > 200,
    covered: sticky && !within && box.top < head.bottom - 1 && box.bottom > head.top + 1,
    picture: Math.max(0, ...seen),
    head: sticky ? head.height / (around.bottom - around.top) : 0,
  };
}"""
# what is seen at every stop of a walk through the page, forwards and back, without the time that keys take
WALK = f"""() => {{
  const seen = {SEEN};
  document.activeElement.blur();
  const stops = [...document.querySelectorAll("a[href], button, input, select, summary, textarea, [tabindex]")]
    .filter((one) => one.tabIndex >= 0 && !one.disabled && one.checkVisibility());
  return [...stops, ...stops.slice(0, -1).reverse()].flatMap((one) => {{
    one.focus();
    return document.activeElement === one ? [seen()] : [];
  }});
}}"""
SCREENS = [(320, 640), (360, 740), (1280, 800), (1920, 1080)]
LIVE = [(1280, 800), (1920, 1080)]  # JupyterLab is no screen for a phone


def with_brief(name: str) -> dict:
    path = SCENARIOS / f"{name}.yaml"
    scenario = growth.load_scenario(path)
    return {"scenario": scenario, "brief": brief_data(load_giveaway(path, scenario=scenario))}


def walked(page, key: str) -> list[dict]:
    """What is seen at every stop of a walk through the page with that key."""
    stops = []
    for _ in range(250):
        page.keyboard.press(key)
        seen = page.evaluate(SEEN)
        if seen is None or any(seen["which"] == stop["which"] for stop in stops):
            return stops
        stops.append(seen)
    raise AssertionError("the walk has no end")


def assert_in_sight(stops: list[dict]) -> None:
    for stop in stops:
        assert stop["inView"] and not stop["covered"], stop
        assert stop["head"] <= 1 / 3 + 0.01, stop
        assert not stop["slider"] or stop["picture"] >= 100, stop


@pytest.mark.parametrize("key", ["Tab", "Shift+Tab"])
def test_by_keyboard_every_slider_is_reached_with_the_picture_in_view(browser, tmp_path, key):
    case = with_brief("fernhollow")
    page = opened(browser, case["scenario"], tmp_path, brief=case["brief"], viewport={"width": 360, "height": 740})
    page.evaluate(OPEN)
    if key == "Shift+Tab":
        page.locator(".growth-table summary").focus()
    stops = walked(page, key)
    assert sum(stop["slider"] for stop in stops) == page.locator("[type=range]:enabled").count()
    assert_in_sight(stops)


FEW = [
    ("fernhollow", "en-GB", False),
    ("fernhollow", "es-ES", True),
    ("ten-thousand", "de-DE", False),  # the longest form
    ("brief-halving-churn", "fr-FR", False),
    ("seasonal", "es-ES", False),
    ("yearly-plans", "pt-BR", False),
]
NAMES = ("fernhollow", "ten-thousand", "seasonal", "brief-halving-churn")
MANY = [(name, locale_of(code), live) for name in NAMES for code in languages() for live in (False, True)]


@pytest.mark.parametrize(("name", "locale", "live"), few_or_many(FEW, MANY))
def test_the_picture_is_in_view_at_every_slider_and_nothing_covers_the_focus(browser, tmp_path, name, locale, live):
    case = with_brief(name)
    page = opened(browser, case["scenario"], tmp_path, locale=locale, brief=case["brief"], live=live)
    page.evaluate(OPEN)
    for width, height in LIVE if live else SCREENS:
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(60)
        stops = page.evaluate(WALK)
        assert sum(stop["slider"] for stop in stops) == 2 * page.locator("[type=range]:enabled").count(), stops[-1]
        assert_in_sight(stops)


# the longest words, the most assumptions, the most text above the form
WORST = [("ten-thousand", "de-DE"), ("yearly-plans", "de-DE"), ("brief-halving-churn", "en-GB")]


@pytest.mark.parametrize(("name", "locale"), few_or_many(WORST, [*((name, "en-GB") for name in NAMES), *WORST]))
def test_no_sideways_scrolling_however_narrow_the_screen_or_large_the_text(browser, tmp_path, name, locale):
    """320 pixels (WCAG 2.2, 1.4.10), and a browser's text set to 32 px on a screen of 360 (1.4.4)."""
    case = with_brief(name)
    page = opened(browser, case["scenario"], tmp_path, locale=locale, brief=case["brief"])
    page.evaluate(OPEN)
    parts = "[...place.querySelectorAll('.growth-line *, button, svg, svg text, p')]"
    beyond = f"{parts}.filter((one) => one.getBoundingClientRect().right > innerWidth + 1).map((one) => one.outerHTML)"
    for width, text in ((320, 16), (360, 16), (450, 16), (700, 16), (900, 16), (360, 32), (1280, 32)):
        page.set_viewport_size({"width": width, "height": 700})
        page.evaluate(f"document.documentElement.style.fontSize = '{text}px'; dispatchEvent(new Event('resize'))")
        page.wait_for_timeout(50)
        assert page.evaluate("place.scrollWidth <= place.clientWidth"), (width, text)
        assert page.evaluate(beyond) == [], (width, text)


def test_moving_a_slider_does_not_move_the_form(browser, tmp_path):
    """The text above the form takes more lines or fewer as the numbers change; the form stays under the finger."""
    case = with_brief("brief-halving-churn")
    page = opened(browser, case["scenario"], tmp_path, brief=case["brief"], viewport={"width": 360, "height": 740})
    churn = page.locator("[type=range][data-path='stay.churn.monthly_churn_rate']")
    churn.focus()
    for value in ("0.001", "0.2", "0.06"):  # once up and down, so that every text has been as long as it gets
        churn.fill(value)
        page.wait_for_timeout(60)
    before = churn.bounding_box()["y"]
    for value in ("0.1", "0.03", "0.15"):
        churn.fill(value)
        page.wait_for_timeout(60)
        assert churn.bounding_box()["y"] == pytest.approx(before, abs=1)
