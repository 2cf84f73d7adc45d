"""The sheet of the what-ifs: example A of the model's text, at once and twice the price."""

from __future__ import annotations

from io import BytesIO

import openpyxl
import pytest
from plain import business

import growth
from growth.calculator.language import languages, locale_of, messages
from growth.giveaway.brief import Giveaway
from growth.kit.handout import handout_html
from growth.spreadsheet import spreadsheet
from growth.spreadsheet.texts import workbook_words

DOUBLED = {
    "name": "doubled",
    "changes": [{"field": "pay.plans.0.monthly_price", "times": 2}],
    "note": "=1+1 & how",
}
LASTING = {"name": "lasting", "changes": [{"field": "stay.churn.monthly_churn_rate", "becomes": 0}]}


def rows(scenario: growth.Scenario, language: str = "en") -> dict[str, list]:
    """The sheet's rows by their first cell, as they are written."""
    giveaway = Giveaway(name="x", question="How big can it get?", language=language)
    book = openpyxl.load_workbook(BytesIO(spreadsheet(growth.forecast(scenario), giveaway=giveaway)))
    sheet = book[workbook_words(locale_of(language))["sheets"]["what_ifs"]]
    return {str(row[0]): list(row[1:]) for row in sheet.iter_rows(values_only=True) if row[0] is not None}


def test_it_holds_what_each_comes_to_and_its_difference_as_a_formula():
    """MRR 200, 380, 542 and a ceiling of 2,000 at 10% leaving; at twice the price, all of it twice. Where nobody
    leaves 30 customers pay 600, and there is no ceiling."""
    found = rows(business(goal_mrr=380, what_ifs=[DOUBLED, LASTING]))
    mrr = found["Monthly revenue, Mar 2027"]
    assert mrr[:2] + mrr[3:4] == pytest.approx([542, 1084, 600])
    assert all(cell.startswith("=") and "-" in cell for cell in (mrr[2], mrr[4]))
    customers = found["Customers, Mar 2027"]
    assert [customers[0], customers[1], customers[3]] == pytest.approx([27.1, 27.1, 30])
    assert customers[2] is None  # no difference at all
    assert found["Goal reached"] == ["Feb 2027", "Jan 2027", "−1 month", "Feb 2027", None]
    level = found["Levels off at"]
    assert level[:2] == pytest.approx([2000, 4000]) and level[3:] == ["–", None]
    assert found["Mar 2027"][:2] == pytest.approx([542, 1084])  # of the chart
    assert "doubled: =1+1 & how" in found
    assert "Enough left from" not in found  # without such a goal
    assert "Cost of winning one is back after" not in found  # it costs nothing


def test_what_an_advertised_customer_costs_is_back_sooner_at_twice_the_price():
    """Ten join at a cost of 500: 50 each. 20 + 18 + 16.2 = 54.2 in the third month, 40 + 36 = 76 in the second."""
    scenario = business(
        arrive={"channels": [{"name": "ads", "kind": "customers", "monthly_customers": 10, "monthly_cost": 500}]},
        what_ifs=[DOUBLED],
    )
    assert rows(scenario)["Cost of winning one is back after"] == ["3 months", "2 months", "−1 month"]


@pytest.mark.parametrize("language", languages())
def test_it_says_in_every_language_that_it_does_not_follow_the_cells(language):
    found = rows(business(what_ifs=[DOUBLED]), language)
    words = workbook_words(locale_of(language))
    assert words["band"]["fixed"] in found
    assert messages(locale_of(language))["beside"]["title"] == words["sheets"]["what_ifs"]


def test_without_what_ifs_there_is_no_such_sheet():
    book = openpyxl.load_workbook(BytesIO(spreadsheet(growth.forecast(business()))))
    assert workbook_words()["sheets"]["what_ifs"] not in book.sheetnames


def test_the_handout_has_a_column_for_each():
    scenario = business(what_ifs=[DOUBLED])
    forecasts = growth.compare(scenario).forecasts
    what_ifs = {name: one for name, one in forecasts.items() if name == "doubled"}
    giveaway = Giveaway(name="x", question="How big can it get?")
    html = handout_html(giveaway, growth.forecast(scenario), what_ifs=what_ifs)
    assert "they pay a month, doubled</th>" in html and "<td>€542</td><td>€1,084</td>" in html
