"""A page and its kit in another language: nothing of English is left in them, and browsers are told the language."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from browser_tabs import tab
from made_page import page_of

import growth
from growth.calculator import whole_answer
from growth.calculator.language import languages, locale_of, messages
from growth.calculator.number_words import month_names
from growth.comparison import what_if_forecasts
from growth.errors import ScenarioError
from growth.giveaway import load_giveaway
from growth.giveaway.brief import Giveaway
from growth.giveaway.publishing import MOST_BYTES
from growth.kit.email_message import email_html, email_text
from growth.kit.embed import embed_page
from growth.kit.handout import handout_html
from growth.kit.share_picture import picture_svg
from growth.scenario import Scenario
from growth.scenario.entries import entries
from growth.whole_file import json_schema

BRIEF = Path(__file__).parents[2] / "scenarios" / "brief-when-can-i-live-from-it-de.yaml"


def english_texts() -> list[str]:
    """The pieces of several words of every English message, and the assumptions' English labels and help lines."""

    def leaves(part):
        if isinstance(part, str):
            yield part
        else:
            for one in part.values() if isinstance(part, dict) else part:
                yield from leaves(one)

    pieces = [piece.strip() for text in leaves(messages()) for piece in re.split(r"\{\w+\}", text)]
    table = [text for one in entries(Scenario) for text in (one.assumption.label, one.assumption.help)]
    return [text for text in (*pieces, *table) if len(text) > 10 and " " in text]


@pytest.fixture(scope="module")
def german() -> tuple[Giveaway, growth.Forecast, Scenario]:
    scenario = growth.load_scenario(BRIEF)
    return load_giveaway(BRIEF, scenario=scenario), growth.forecast(scenario), scenario


@pytest.fixture(scope="module")
def page(pages) -> str:
    return pages["de"]


def test_nothing_of_english_is_left_on_the_page_or_in_the_kit(german, page):
    words, result, scenario = german
    what_ifs = what_if_forecasts(scenario)
    made = [
        page,
        embed_page(page, words),
        email_text(words, result),
        email_html(words, result),
        handout_html(words, result, what_ifs=what_ifs),
        picture_svg(words, result, what_ifs=what_ifs),
    ]
    for text in made:
        seen = " ".join(text.split())
        assert [english for english in english_texts() if english in seen] == []
        assert " ".join(words.answer.split()) in seen


def test_browsers_and_those_who_share_the_page_are_told_its_language(german, page):
    words, result, _ = german
    assert '<html lang="de">' in page and '<meta property="og:locale" content="de_DE">' in page
    assert '<html lang="de">' in email_html(words, result) and '<html lang="de">' in handout_html(words, result)
    assert email_text(words, result).startswith("Betreff: Mein Planer trägt sich")
    assert "erreichen Sie mit diesen Zahlen 4.200\xa0€ im Monat." in words.answer


@pytest.fixture(scope="module")
def pages(german) -> dict[str, str]:
    """The heaviest page there is, but for the words of its author, in each language."""
    words, result, scenario = german
    return {
        language: page_of(words.model_copy(update={"language": language}), result, scenario) for language in languages()
    }


@pytest.mark.parametrize("language", languages())
def test_the_page_is_within_its_weight(pages, language):
    assert len(pages[language].encode("utf-8")) < MOST_BYTES


# labels of the charts that their picture does not show whole
CUT_OFF = """() => [...document.querySelectorAll('svg.growth-chart')].flatMap((svg) => {
  const frame = svg.getBoundingClientRect();
  if (!frame.width) return [];
  return [...svg.querySelectorAll('text')].filter((one) => {
    const box = one.getBoundingClientRect();
    const sides = box.left < frame.left - 2 || box.right > frame.right + 2;
    return sides || box.top < frame.top - 3 || box.bottom > frame.bottom + 3;
  }).map((one) => one.textContent);
})"""


# what is pressed, and measures less than 24 by 24 pixels (WCAG 2.2, 2.5.8); a link in a sentence may
SMALL = """() => [...document.querySelectorAll("button, input, select, summary")].filter((one) => {
  const { width, height } = one.getBoundingClientRect();
  return width && (width < 23.9 || height < 23.9);
}).map((one) => one.outerHTML.slice(0, 150))"""


def test_in_every_language_the_page_fits_the_narrowest_phone_and_its_head_a_third_of_the_screen(
    browser, german, pages, tmp_path
):
    """At 320 pixels (WCAG 2.2, 1.4.10), with everything unfolded, and at 360 with text of 32 (1.4.4); so does the
    version for a blog. What is pressed is 24 by 24 pixels; the month of the headline stands in full."""
    page = tab(browser, viewport={"width": 320, "height": 640})
    for language in languages():
        file = tmp_path / f"{language}.html"
        file.write_text(pages[language], encoding="utf-8")
        page.goto(file.as_uri())
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        page.wait_for_timeout(100)
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, language
        assert page.evaluate(CUT_OFF) == [], language
        head = page.evaluate("document.querySelector('.growth-head').getBoundingClientRect().height")
        assert head <= 640 / 3 + 5, language
        january = month_names(locale_of(language), full=True)[0].replace("{y}", "2029")
        assert january in page.locator(".growth-answer strong").all_inner_texts(), language
        assert page.evaluate(SMALL) == [], language
        page.set_viewport_size({"width": 360, "height": 640})
        page.evaluate("document.documentElement.style.fontSize = '32px'; dispatchEvent(new Event('resize'))")
        page.wait_for_timeout(50)
        assert page.evaluate("document.documentElement.scrollWidth") <= 360, language
        page.set_viewport_size({"width": 320, "height": 640})
        file.write_text(embed_page(pages[language], german[0]), encoding="utf-8")
        page.goto(file.as_uri())
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, language
    assert page.complaints == []


def test_a_german_page_fits_a_phone_and_says_the_same_with_scripts_off(browser, page, german, tmp_path):
    words, result, _ = german
    file = tmp_path / "page.html"
    file.write_text(page, encoding="utf-8")
    for scripts in (True, False):
        opened = tab(browser, viewport={"width": 360, "height": 740}, java_script_enabled=scripts)
        opened.goto(file.as_uri())
        said = " ".join(opened.locator(".growth-rest p").all_inner_texts()[1 if scripts else 0 :])
        assert said.replace("\xa0", " ") == whole_answer(result, words.locale).replace("\xa0", " ")
        if scripts:
            opened.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
            assert opened.evaluate("document.documentElement.scrollWidth") <= 360
            assert opened.locator(".growth-table tbody tr").first.inner_text().startswith("1 Jan. 2027")
        else:
            assert "Kunden heute: 55 Kunden" in opened.locator("li").all_inner_texts()
        assert opened.complaints == []


def test_an_unknown_language_is_refused_with_those_there_are(german):
    for unknown in ("xx", "de-DE", "", None, 7, ["de"]):
        wrong = {"name": "a-piece", "question": "When can I live from it?", "language": unknown}
        with pytest.raises(ScenarioError, match=r"There is de \(Deutsch\), en \(English\)"):
            load_giveaway(wrong, scenario=german[2])
    schema = json_schema()["$defs"]["giveaway"]["properties"]["language"]
    assert schema["enum"] == [*languages()]
