"""Reset, links, the downloaded table, and texts and links that mean harm."""

from __future__ import annotations

import csv
from urllib.parse import urlsplit

import numpy as np
import pytest
from plain import business, plan

import growth

pytest.importorskip("babel")
from calculator_page import follow, opened

from growth.engine import SERIES

PLANS = [plan(name="a", share=0.5), plan(name="b", share=0.3), plan(name="c", share=0.2)]
MOVE = """(moves) => {
  for (const [path, value] of Object.entries(moves)) {
    const slider = place.querySelector(`[type=range][data-path="${path}"]`);
    slider.value = value;
    slider.dispatchEvent(new Event("input"));
  }
  return place.calculator.get().scenario;
}"""
NOW = "place.calculator.get().scenario"


@pytest.fixture
def scenario():
    return business(goal_mrr=900, opening={"customers": 40, "mrr": 1000}, pay={"plans": PLANS})


def test_back_to_the_original_numbers(browser, tmp_path, scenario):
    page = opened(browser, scenario, tmp_path)
    sentence = page.locator(".growth-answer").inner_text()
    moves = {"stay.churn.monthly_churn_rate": 0.02, "pay.plans.1.share": 0.6, "opening.customers": 0}
    moved = page.evaluate(MOVE, moves)
    assert moved != scenario.model_dump(mode="json")
    page.get_by_role("button", name="Back to the original numbers").click()
    assert page.evaluate(NOW) == scenario.model_dump(mode="json")
    assert page.locator(".growth-answer").inner_text() == sentence


def test_a_link_carries_the_numbers_exactly(browser, tmp_path, scenario):
    page = opened(browser, scenario, tmp_path)
    moves = {"stay.churn.monthly_churn_rate": 0.036, "months": 12, "pay.plans.0.share": 0.41, "opening.mrr": 1200}
    moved = page.evaluate(MOVE, moves)
    page.get_by_role("button", name="Copy a link to these numbers").click()
    page.get_by_text("Copy the link from the field above.").or_(page.get_by_text("Copied.")).wait_for()
    assert page.get_by_label("The link to these numbers").input_value() == page.url
    fragment = "#" + urlsplit(page.url).fragment
    assert "stay.churn.monthly_churn_rate=0.036" in fragment
    assert opened(browser, scenario, tmp_path, fragment=fragment).evaluate(NOW) == moved


def test_what_a_link_changed_is_not_left_folded(browser, tmp_path):
    plans = [plan(name=f"plan {n}", share=0.25) for n in range(4)]  # a conversion rate, four prices and four shares
    scenario = business(pay={"plans": plans})
    assert opened(browser, scenario, tmp_path).locator(".growth-more[open]").count() == 0
    page = opened(browser, scenario, tmp_path, fragment="#pay.plans.3.monthly_price=30")
    price = page.locator('.growth-number[data-path="pay.plans.3.monthly_price"]')
    assert price.is_visible() and price.input_value() == "30"


def test_a_link_followed_within_the_page_sets_its_numbers(browser, tmp_path):
    page = opened(browser, business(), tmp_path)
    page.evaluate("location.hash = '#months=48'")
    page.get_by_text("This link came with changed numbers:").wait_for()
    page.evaluate("location.hash = '#cautions'")  # a heading of the page is no link to numbers
    assert page.evaluate(NOW)["months"] == 48


BAD_LINKS = [
    "stay.churn.monthly_churn_rate=NaN",
    "stay.churn.monthly_churn_rate=Infinity&months=",
    "stay.churn.monthly_churn_rate=4",  # 400% is no share
    "months=48&goal_mrr=-5",  # one number out of range: the good one changes nothing either
    "months=12.5",
    "months=1e9",
    "pay.plans.0.share=1&pay.plans.1.share=1",  # shares that do not add to one
    "__proto__.polluted=1&constructor.prototype.polluted=1",
    "business=1&pay.plans.9.share=1&pay.plans.0.name=5&months.x=3",
    "<img src=x onerror=alert(1)>=1",
    "months=48&if=nothing_of_the_kind",
    "%E0%A4%A",
    "months=12abc&months=%3Cscript%3E",
    "months=1&" * 3000 + "%",
]


def test_a_bad_link_changes_nothing_and_says_so(browser, tmp_path, scenario):
    page = opened(browser, scenario, tmp_path, fragment=f"#{BAD_LINKS[-1]}")
    for fragment in BAD_LINKS:
        follow(page, fragment)
        assert page.evaluate(NOW) == scenario.model_dump(mode="json"), fragment
        assert page.get_by_text("does not fit this page, so the original numbers are shown").count() == 1, fragment
        assert page.evaluate("({}).polluted") is None
    assert page.complaints == []


def test_a_link_says_which_numbers_differ_and_offers_the_way_back(browser, tmp_path, scenario):
    page = opened(browser, scenario, tmp_path, fragment="#stay.churn.monthly_churn_rate=0.05&months=48")
    assert page.locator(".growth-linked li").all_inner_texts() == [
        "Customers leaving each month: 5% instead of 10%",
        "Months to look ahead: 48 months instead of 3 months",
    ]
    assert page.locator(".growth-head .growth-kicker").inner_text() == "With your numbers"
    page.locator(".growth-linked").get_by_role("button", name="Back to the original numbers").click()
    assert page.evaluate(NOW) == scenario.model_dump(mode="json")
    assert page.locator(".growth-linked").inner_text() == "" and page.url.endswith("#")
    assert page.locator(".growth-head .growth-kicker").inner_text() == "As things stand"


def test_the_downloaded_table_holds_every_series(browser, tmp_path, scenario):
    page = opened(browser, scenario, tmp_path)
    with page.expect_download() as downloading:
        page.get_by_role("button", name="Download the table (CSV)").click()
    downloading.value.save_as(tmp_path / "table.csv")
    rows = list(csv.DictReader((tmp_path / "table.csv").open(encoding="utf-8", newline="")))
    forecast = growth.forecast(scenario)
    assert [row["calendar_month"] for row in rows] == ["Jan 2027", "Feb 2027", "Mar 2027"]
    assert set(rows[0]) == {"month", "calendar_month", *SERIES}
    for name in SERIES:
        read = [float(row[name] or "nan") for row in rows]  # nothing but numbers: no cell can be a formula
        np.testing.assert_allclose(read, getattr(forecast, name), rtol=1e-9, atol=1e-9, err_msg=name)


HOSTILE = [
    "</script><script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    '"><svg onload=alert(1)>',
    "javascript:alert(1)",
    "</style><style>*{display:none}",
    '=HYPERLINK("http://example.invalid")',
    "{new} ${alert(1)} {{ 7*7 }}",
]


def test_hostile_names_stand_as_text_and_run_nothing(browser, tmp_path):
    plans = [plan(name=name, share=1 / len(HOSTILE)) for name in HOSTILE]
    channels = [{"name": name, "monthly_visitors": 1} for name in HOSTILE]
    texts = {"business": HOSTILE[0], "owner": HOSTILE[1], "teaches": HOSTILE[2]}
    page = opened(browser, business(pay={"plans": plans}, arrive={"channels": channels}, **texts), tmp_path)
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    for name in HOSTILE:
        assert page.locator(".growth-line").get_by_text(f"Visitors a month: {name}", exact=True).count() == 1
        assert page.locator(".growth-line").get_by_text(f"Price: {name}", exact=True).count() == 1
    assert page.locator("#calculator script, #calculator img, #calculator style").count() == 0
    page.wait_for_timeout(100)
    assert page.complaints == []
