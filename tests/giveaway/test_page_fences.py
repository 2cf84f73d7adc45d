"""What holds the published page together: its policy, its numbers beside Python's, and its largest text."""

from __future__ import annotations

import re

import pytest

import growth
from growth.calculator import answer, whole_answer

CHURN = "stay.churn.monthly_churn_rate"
SERIES = (
    "opening_mrr",
    "new_mrr",
    "expansion_mrr",
    "churned_mrr",
    "closing_mrr",
    "closing_customers",
    "net_cash",
    "cash",
)


def test_its_policy_allows_its_own_script_and_style_and_the_forms_address_alone(open_page, page_file):
    page = open_page(page_file)
    policy = page.locator("meta[http-equiv=Content-Security-Policy]").get_attribute("content")
    parts = dict(part.split(" ", 1) for part in policy.split("; "))
    digest = r"'sha256-[A-Za-z0-9+/]{43}='"
    assert parts["default-src"] == parts["base-uri"] == "'none'" and parts["img-src"] == "data:"
    assert re.fullmatch(digest, parts["script-src"]) and re.fullmatch(digest, parts["style-src"])
    assert parts["form-action"] == "https://lists.example.org/subscribe"
    assert len(parts) == 6  # whatever else there is to fetch is left to default-src


def test_a_script_that_is_not_the_pages_own_does_nothing(open_page, page_file):
    page = open_page(page_file)
    page.evaluate(
        "document.body.append(Object.assign(document.createElement('script'), {textContent: 'window.ran = 1'}))"
    )
    page.evaluate("document.querySelector('h1').setAttribute('onclick', 'window.ran = 1')")
    page.locator("h1").click()
    assert page.evaluate("window.ran") is None
    assert len(page.complaints) == 2 and all("Content Security Policy" in one for one in page.complaints)


def test_every_number_behind_the_page_is_pythons_before_and_after_a_slider_moves(open_page, page_file, demo):
    page = open_page(page_file)
    place = page.locator("#calculator")
    for churn in (0.04, 0.055):
        page.locator(f"input[type=range][data-path='{CHURN}']").fill(str(churn))
        values = place.evaluate("(place) => place.calculator.get().ranged")
        assert values["stay"]["churn"]["monthly_churn_rate"]["likely"] == churn
        forecast = growth.forecast(growth.load_scenario({"scenario": values}))
        assert place.evaluate("(place) => place.calculator.get().sentence") == whole_answer(forecast)
        series = place.evaluate("(place, names) => names.map((name) => [...place.calculator.series()[name]])", SERIES)
        for name, shown in zip(SERIES, series, strict=True):
            assert shown == pytest.approx(getattr(forecast, name).tolist(), rel=1e-9), name


@pytest.mark.parametrize("width", [360, 1000])
def test_the_answer_is_the_largest_text(open_page, page_file, width):
    page = open_page(page_file, viewport={"width": width, "height": 740})
    size = "(e) => [parseFloat(getComputedStyle(e).fontSize), e.closest('.growth-answer') !== null]"
    sizes = page.evaluate(f"[...document.querySelectorAll('main *')].map({size})")
    assert max(each for each, within in sizes if not within) < min(each for each, within in sizes if within)


def test_nothing_is_cut_off_on_a_phone(open_page, page_file):
    page = open_page(page_file, viewport={"width": 360, "height": 740})
    beyond = ".filter((e) => e.getBoundingClientRect().right > innerWidth).map((e) => e.className)"
    parts = "main > *, table.bridge, .growth-takes *, .invitation *"
    assert page.evaluate(f"[...document.querySelectorAll('{parts}')]{beyond}") == []


def test_the_head_says_what_the_page_is(open_page, page_file, demo):
    page = open_page(page_file)
    assert page.title().startswith("I have forty customers") and page.locator("html").get_attribute("lang") == "en"
    described = page.locator("meta[name=description]").get_attribute("content")
    assert described == answer(growth.forecast(growth.load_scenario(demo)))
