"""Scenarios side by side, against closed forms, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from plain import business, plan

import growth
from growth.cli import main
from growth.errors import MeasureError, ScenarioError
from growth.scenario.file import save_scenario
from growth.scenario.what_if import changes_between, with_kept

HALVED = {"name": "halved", "note": "a call", "changes": [{"field": "stay.churn.monthly_churn_rate", "times": 0.5}]}


def mrr(month: int, churn: float) -> float:
    """Steady arrivals of 10 at a price of 20, from nothing: M_t = n p (1 - q^t) / (1 - q), q = 1 - churn."""
    return 10 * 20 * (1 - (1 - churn) ** month) / churn


def test_a_table_of_the_closed_form_with_its_differences():
    found = growth.compare(business(months=40, what_ifs=[HALVED]))
    for month in (12, 24, 36, 40):
        row = found.frame.loc[f"MRR, month {month}"]
        assert row.tolist() == pytest.approx([mrr(month, 0.1), mrr(month, 0.05)])
        gap = found.differences.loc[f"MRR, month {month}", "halved"]
        assert gap == pytest.approx(mrr(month, 0.05) - mrr(month, 0.1))
    assert found.frame.loc["growth ceiling, MRR"].tolist() == pytest.approx([2000, 4000])
    assert list(found.frame.columns) == ["today's numbers", "halved"]
    assert [trace.name for trace in found.figure().data] == ["today's numbers", "halved"]
    assert found.text().endswith("halved: a call")


def test_several_scenarios_by_name_the_first_is_the_base():
    found = growth.compare({"short": business(months=12), "long": business(months=24)})
    assert found.differences.loc["MRR, month 12", "long"] == pytest.approx(0)
    assert np.isnan(growth.compare({"long": business(months=24), "short": business(months=12)}).frame["short"].iloc[1])


@pytest.mark.parametrize(
    ("scenarios", "says"),
    [
        (business(), "at least one what-if"),
        ({"one": business()}, "at least two scenarios"),
        ({"one": business(), "two": business(currency="USD")}, "one currency"),
        ({"one": business(), "two": business(bill={"payment_fee_rate": np.array([0.1, 0.2])})}, "no draws"),
    ],
)
def test_what_cannot_be_compared_is_told(scenarios, says):
    with pytest.raises(MeasureError, match=says):
        growth.compare(scenarios)


def test_the_terminal_says_the_same_and_forecast_points_to_it(tmp_path, capsys):
    path = save_scenario(business(months=12, what_ifs=[HALVED]), tmp_path / "kiln.yaml")
    assert main(["compare", str(path)]) == 0
    assert f"{mrr(12, 0.05):,.0f} (+{mrr(12, 0.05) - mrr(12, 0.1):,.0f})" in capsys.readouterr().out
    assert main(["forecast", str(path)]) == 0
    assert f"growth compare {path}" in capsys.readouterr().out


def test_kept_numbers_become_a_what_if_that_gives_them_back():
    base = business(pay={"plans": [plan(name="Studio", monthly_price=20)]}, what_ifs=[HALVED])
    other = business(months=24, pay={"plans": [plan(name="Studio", monthly_price=26)]})
    kept = with_kept(base, [("Raise the price!", "slowly", other)])
    assert [one.name for one in kept.what_ifs] == ["halved", "raise_the_price"]
    assert dict(changes_between(base, other)) == {"months": 24, "pay.plans.0.monthly_price": 26}
    assert growth.compare(kept).forecasts["Raise the price!"].scenario.pay.plans[0].monthly_price == 26
    again = with_kept(kept, [("Raise the price!", "at once", other)])  # the same title replaces it
    assert [one.note for one in again.what_ifs] == ["a call", "at once"]
    with pytest.raises(ScenarioError, match="numbers that differ"):
        with_kept(base, [("Nothing", "", base)])


def test_saving_what_is_kept_leaves_comments_and_order(tmp_path):
    path = tmp_path / "kiln.yaml"
    path.write_text(
        "# mine\nscenario:\n  business: Kiln\n  months: 12   # a year\n  pay:\n    plans:\n"
        "      - {name: Studio, monthly_price: 20}\n\ngiveaway:\n  name: how-big\n  question: How big can it get?\n"
    )
    base = growth.load_scenario(path)
    dearer = growth.load_scenario(
        {"scenario": base.model_dump(mode="json") | {"grow": {"monthly_expansion_rate": 0.01}}}
    )
    before = path.read_text()
    save_scenario(with_kept(base, [("Sell more: to those on board", "", dearer)]), path)
    after = path.read_text()
    lines = [line for line in after.splitlines() if line not in before.splitlines()]
    assert lines[0] == "  what_ifs:" and all(line in after.splitlines() for line in before.splitlines())
    assert growth.load_scenario(path).what_ifs[0].title == "Sell more: to those on board"
