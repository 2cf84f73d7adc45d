"""The pictures: what they say of where two lines meet, and that Python and the page draw and say the same."""

from __future__ import annotations

import re

import pytest
from how_many import few_or_many
from library import LIBRARY, SCENARIOS
from plain import business

import growth

pytest.importorskip("babel")
from calculator_page import opened

from growth.calculator.picture_view import View, flows, meeting
from growth.calculator.pictures import SIZE, flows_svg, left_svg, mrr_svg, told
from growth.calculator.what_ifs import compared
from growth.calculator.words import headline
from growth.comparison import what_if_forecasts
from growth.giveaway.brief import brief_data
from growth.giveaway.placeholders import load_giveaway
from growth.scenario.address import value_at
from growth.scenario.range import likely_values
from growth.scenario.what_if import changed

# the page's own drawing of its present view, at the size of the still pictures
DRAWN = """([width, em]) => {
  const size = (height) => ({ width, height, em });
  const { view } = place.calculator;
  const html = (nodes) => nodes.map((one) => one.outerHTML).join("");
  const left = view().left ? html(leftNodes(view(), size(210))) : "";
  return [html(mrrNodes(view(), size(270))), html(flowNodes(view(), size(210))), left, toldByPictures(view())];
}"""

# of each line of the form: what is typed in its box, where its slider's thumb stands, and the address of its number
BOXES = """[...document.querySelectorAll('.growth-line')].map((line) => {
  const slider = line.querySelector('[type=range]');
  return [line.querySelector('.growth-number').value, slider.value, slider.dataset.path];
})"""


@pytest.mark.parametrize(
    ("came", "lost", "way", "expected"),
    [
        ([10, 10, 10], [5, 6, 7], "above", ("beyond", None)),  # closing on each other, not there yet
        ([10, 10, 10], [5, 9, 12], "later", ("crosses", 3)),
        ([10, 10, 10], [12, 11, 9], "above", ("crosses_up", 3)),
        ([10, 10, 10, 10], [5, 9.9, 9.95, 10], "above", ("met", 2)),  # within 2% from month 2 on
        ([10, 4, 10, 4], [5, 5, 5, 5], "above", ("often_near", None)),  # a season
        ([10, 4, 10, 4], [5, 5, 5, 5], "growing", ("often", None)),
        ([4, 4, 4], [9, 8, 7], "below", ("below", None)),  # shrinking towards it
        ([4, 5, 6], [1, 1, 1], "growing", ("never", None)),
        ([0, 0, 0], [0, 0, 0], "", ("none", None)),
        ([10], [5], "above", ("beyond", None)),  # a forecast of one month
    ],
)
def test_where_what_is_lost_meets_what_comes_in(came, lost, way, expected):
    assert meeting(came, lost, way) == expected


def test_the_pictures_are_those_of_the_month_worked_by_hand():
    """Example A of the model's text: MRR 200, 380, 542; new 200 a month, churned 0, 20, 38; ceiling 2,000."""
    forecast = growth.forecast(business(goal_mrr=380))
    assert flows(forecast) == ([200, 200, 200], pytest.approx([0, 20, 38]))
    says = told(View(forecast))
    # 27.1 customers at 20, a Poisson number: c^2 = ln(1 + 1 / 27.1) = 0.0362;
    # 542 exp(-c^2 / 2 -+ 1.645 c) = 389 and 728
    assert says["mrr"] == (
        "A line chart of monthly recurring revenue: from €0 in Dec 2026 to €542 in Mar 2027. "
        "In 9 of 10 cases it ends between €390 and €730. "
        "It first reaches the goal of €380 in Feb 2027."
    )
    # ten join, Poisson, c^2 = ln(1 + 1 / 10): 200 exp(-c^2 / 2 -+ 1.645 c) = 115 and 317, half a customer further out;
    # 1.9 leave: c^2 = ln(1 + 1 / 1.9), 38 exp(...) + 10 = 100, and nobody in e^-1.9 = 15% of months
    assert says["flows"] == (
        "Two lines by month. What comes in: €200 in Jan 2027, €200 in Mar 2027. What is lost: €0 in Jan 2027, €38.00 "
        "in Mar 2027. In 9 of 10 cases, what comes in in Mar 2027 is between €100 and €330, what is lost between "
        "€0 and €100. The two do not meet in the months shown. They meet when MRR is near €2,000, and growth stops "
        "there."
    )


ENGLISH = ("brief-halving-churn", "fernhollow", "raising-the-price", "shrinking", "ten-thousand")
GERMAN = ("brief-when-can-i-live-from-it-de", "from-zero", "seasonal", "yearly-plans")
LOCALES = [
    *((path, "en-GB") for path in LIBRARY if path.stem in few_or_many(ENGLISH, [path.stem])),
    *((path, "de-DE") for path in LIBRARY if path.stem in few_or_many(GERMAN, [path.stem])),
]


@pytest.mark.parametrize(("path", "locale"), LOCALES, ids=lambda value: getattr(value, "stem", value))
def test_the_page_draws_and_says_what_python_does_and_its_boxes_show_its_numbers(browser, tmp_path, path, locale):
    scenario = growth.load_scenario(path)
    words = load_giveaway(path, scenario=scenario)
    page = opened(browser, scenario, tmp_path, locale=locale, brief=brief_data(words))
    view = View(growth.forecast(scenario), locale, what_if_forecasts(scenario))
    *drawn, said = page.evaluate(DRAWN, [SIZE["width"], SIZE["em"]])
    assert {name: cents(text) for name, text in said.items()} == {
        name: cents(text) for name, text in told(view).items()
    }
    for live, still in zip(drawn, (mrr_svg(view), flows_svg(view), left_svg(view)), strict=True):
        assert pieces(live) == pieces(still.partition("</title>")[2].removesuffix("</svg>"))
    line = page.locator(".growth-answer").inner_text()
    assert line == "".join(text for text, _ in headline(growth.forecast(scenario), locale))
    values = likely_values(scenario.model_dump(mode="json"))
    for typed, thumb, address in page.evaluate(BOXES):
        assert typed != "" and float(thumb) == pytest.approx(value_at(values, address))


def cents(text: str) -> list[str | float]:
    """A text with its amounts as numbers: the engines agree to 1e-9, and half a cent may be rounded either way."""
    parts = re.split(r"(\d+[.,]\d\d\b)", text)
    return [pytest.approx(float(one.replace(",", ".")), abs=0.011) if i % 2 else one for i, one in enumerate(parts)]


def pieces(svg: str) -> list[str | float]:
    """The marks of a drawing, its numbers rounded: the last tenth of a pixel may differ."""
    svg = svg.replace(' xmlns="http://www.w3.org/2000/svg"', "").replace("&nbsp;", "\xa0")
    parts = re.split(r'((?<=[ "ML])-?\d+\.\d(?=[ "LZ]))', svg)
    return [
        pytest.approx(float(one), abs=0.11) if i % 2 else re.sub(r"&(quot|#x27|amp);", "", one)
        for i, one in enumerate(parts)
    ]


def test_what_a_brief_compares_is_pythons_for_moved_numbers_and_its_buttons_set_the_sliders(browser, tmp_path):
    path = SCENARIOS / "brief-halving-churn.yaml"
    scenario = growth.load_scenario(path)
    words = load_giveaway(path, scenario=scenario)
    page = opened(browser, scenario, tmp_path, brief=brief_data(words))
    compare = page.locator(".growth-rest p").first
    values = scenario.model_dump(mode="json")
    for churn, price in ((0.06, 29), (0.04, 29), (0.1, 35), (0.4, 20)):
        for field, value in (("stay.churn.monthly_churn_rate", churn * 100), ("pay.plans.0.monthly_price", price)):
            page.locator(f".growth-number[data-path='{field}']").fill(f"{value:g}")
        page.wait_for_timeout(60)
        values["stay"]["churn"]["monthly_churn_rate"], values["pay"]["plans"][0]["monthly_price"] = churn, price
        moved = growth.load_scenario({"scenario": values})
        own = "nothing changed" if (churn, price) == (0.06, 29) else "your numbers"
        forecasts = {own: growth.forecast(moved), **what_if_forecasts(moved)}
        assert compare.inner_text() == "".join(text for text, _ in compared(forecasts)[0])
        for what_if in scenario.what_ifs:
            page.get_by_role("button", name=what_if.title, exact=True).click()
            wanted = changed(moved, what_if).model_dump(mode="json")
            assert page.evaluate("place.calculator.get().scenario") == wanted
            assert page.locator(".growth-head .growth-kicker").inner_text() == f"What if: {what_if.title}"
        page.locator(".growth-choice button").first.click()
    page.locator(".growth-number[data-path='sign_up.signup_rate']").fill("60")
    page.wait_for_timeout(60)
    assert page.get_by_role("button", name="doubled sign-ups").is_disabled()  # 120% of the visitors cannot sign up
    assert page.locator(".growth-given .growth-kicker").inner_text() == "On the numbers this page came with"
    assert page.complaints == []


# labels that leave their picture, and pairs of labels of one picture that lie on each other
UNREADABLE = """() => [...document.querySelectorAll("svg.growth-chart")].flatMap((svg) => {
  const frame = svg.getBoundingClientRect();
  const boxes = [...svg.querySelectorAll("text")].map((one) => [one.textContent, one.getBoundingClientRect()]);
  const out = boxes.filter(([, box]) => box.left < frame.left - 1 || box.right > frame.right + 1);
  const on = boxes.filter(([, one], i) => boxes.slice(i + 1).some(([, other]) =>
    Math.min(one.right, other.right) - Math.max(one.left, other.left) > 1 &&
    Math.min(one.bottom, other.bottom) - Math.max(one.top, other.top) > one.height / 3));
  return [...out, ...on].map(([text]) => text);
})"""


@pytest.mark.parametrize(("currency", "width", "text"), [("KWD", 1280, 16), ("USD", 320, 16), ("EUR", 360, 32)])
def test_every_label_is_read_in_wide_currencies_narrow_places_and_large_text(browser, tmp_path, currency, width, text):
    path = SCENARIOS / "brief-halving-churn.yaml"
    values = growth.load_scenario(path).model_dump(mode="json")
    scenario = growth.load_scenario({"scenario": {**values, "currency": currency}})
    page = opened(browser, scenario, tmp_path, viewport={"width": width, "height": 900})
    page.evaluate(f"document.documentElement.style.fontSize = '{text}px'; dispatchEvent(new Event('resize'))")
    page.wait_for_timeout(60)
    assert page.evaluate(UNREADABLE) == []


def test_where_nobody_is_on_board_and_nobody_joins_the_page_says_so_and_goes_on(browser, tmp_path):
    page = opened(browser, business(), tmp_path)
    visitors = page.locator(".growth-number[data-path='arrive.channels.0.monthly_visitors']")
    for count, line in (("0", "Nothing to forecast yet"), ("10", None)):
        visitors.fill(count)
        page.wait_for_timeout(60)
        assert line is None or page.locator(".growth-answer").inner_text() == line
    assert "Nothing" not in page.locator(".growth-answer").inner_text() and page.complaints == []
