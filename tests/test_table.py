"""The pandas tables: a forecast by month, and its measures in words."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from plain import NOBODY, business, plan

import growth
from growth.engine import SERIES
from growth.errors import MeasureError

TWO_DRAWS = {"churn": np.array([0.1, 0.2])}


# --- by month ---------------------------------------------------------------------------------------------------------


def test_a_row_a_month_and_a_column_a_series_in_the_documented_order():
    frame = growth.to_frame(growth.forecast(business(months=14, first_month="2027-11")))
    assert list(frame.columns) == SERIES
    assert frame.index.equals(pd.period_range("2027-11", "2028-12", freq="M")) and frame.index.name == "month"
    assert set(frame.dtypes) == {np.dtype(float)}


def test_the_frame_holds_the_forecast():
    """Example A: 200, 380, 542; 10% of what was there is churned; nobody was on board before month 1."""
    forecast = growth.forecast(business())
    frame = growth.to_frame(forecast)
    assert frame["closing_mrr"].tolist() == pytest.approx([200, 380, 542])
    assert frame["churned_mrr"].tolist() == pytest.approx([0, 20, 38])
    assert np.isnan(frame["monthly_customer_churn_rate"].iloc[0])  # 0 / 0
    for name in SERIES:
        np.testing.assert_array_equal(frame[name], getattr(forecast, name))


def test_a_frame_is_a_copy():
    forecast = growth.forecast(business())
    frame = growth.to_frame(forecast)
    frame.loc[:, "closing_mrr"] = 0.0
    frame.loc["2027-01", "revenue"] = -1.0
    assert forecast.closing_mrr[0] == forecast.revenue[0] == 200


@pytest.mark.parametrize(("draw", "churn"), [(0, 0.1), (1, 0.2)])
def test_a_draw_is_the_frame_of_its_numbers(draw, churn):
    frame = growth.to_frame(growth.forecast(business(**TWO_DRAWS)), draw=draw)
    pd.testing.assert_frame_equal(frame, growth.to_frame(growth.forecast(business(churn=churn))), rtol=1e-12)


@pytest.mark.parametrize("draw", [None, -1, 2])
def test_a_draw_that_is_not_there_is_refused(draw):
    with pytest.raises(MeasureError, match=rf"draw: a whole number from 0 to 1 \(found {draw}\)"):
        growth.to_frame(growth.forecast(business(**TWO_DRAWS)), draw=draw)


@pytest.mark.parametrize("draw", [0.5, "0", True])
def test_a_draw_that_is_no_whole_number_is_refused(draw):
    with pytest.raises(MeasureError, match="draw: a whole number"):
        growth.to_frame(growth.forecast(business(**TWO_DRAWS)), draw=draw)


def test_a_draw_of_a_scenario_without_draws_is_refused():
    with pytest.raises(MeasureError, match="this scenario has no draws"):
        growth.to_frame(growth.forecast(business()), draw=0)


# --- the measures in words --------------------------------------------------------------------------------------------


def test_measures_are_written_for_people():
    """Example A over 24 months with a goal of 1,000 and 50 a month spent on its channel.

    Retention over a year 0.9^12 = 28.2%; month 24 gains 200 and loses 200 x (1 - 0.9^23): 1.10 to 1; CAC 50 / 10; LTV
    at 1% discount 20 x 1.01 / 0.11 = 184; 20 of margin pay back 5 in the first month; cash is least today, at 0.
    """
    channel = {"name": "all", "monthly_visitors": 10, "monthly_cost": 50}
    table = growth.table_of_measures(
        growth.forecast(business(months=24, goal_mrr=1000, arrive={"channels": [channel]}))
    )
    assert table["value"].to_dict() == {
        "month in which the goal is reached": "7",
        "growth ceiling, MRR": "2,000",
        "growth ceiling, customers": "100.0",
        "customers kept over a year": "28.2%",
        "net revenue retention over a year (NRR)": "28.2%",
        "gross revenue retention over a year (GRR)": "28.2%",
        "quick ratio of the last month: gained / lost MRR": "1.10",
        "cost of winning a customer (CAC), all channels, last year": "5.00",
        "lifetime value of a customer joining in the last month (LTV)": "184",
        "months until a customer joining in the last month pays back CAC": "1",
        "month from which no more cash goes out than comes in": "1",
        "lowest cash": "0",
        "month of the lowest cash": "0",
    }
    assert set(table["why not"]) == {""}
    assert table.index.name == "measure"


def test_what_is_undefined_is_a_dash_with_its_reason():
    table = growth.table_of_measures(
        growth.forecast(business(months=12, arrive=NOBODY, goal_mrr=10, bill={"monthly_fixed_costs": 10}))
    )
    undefined = table[table["value"] == "\N{EN DASH}"]["why not"].to_dict()
    assert undefined == {
        "month in which the goal is reached": "not within 12 months",
        "customers kept over a year": "nobody was on board at the start",
        "net revenue retention over a year (NRR)": "there was no MRR at the start",
        "gross revenue retention over a year (GRR)": "there was no MRR at the start",
        "quick ratio of the last month: gained / lost MRR": "nothing was lost",
        "cost of winning a customer (CAC), all channels, last year": "nobody joined",
        "months until a customer joining in the last month pays back CAC": "nobody joined",
        "month from which no more cash goes out than comes in": "not within 12 months",
    }
    assert not (
        table["value"].str.contains("nan", case=False) | table["why not"].str.contains("nan ", case=False)
    ).any()


def test_growth_without_end_says_why_there_is_no_ceiling():
    table = growth.table_of_measures(growth.forecast(business(churn=0.02, grow={"monthly_expansion_rate": 0.05})))
    why = "those who stay add at least as much as those who leave take away"
    assert table.loc["growth ceiling, MRR"].tolist() == ["\N{EN DASH}", why]
    assert table.loc["growth ceiling, customers", "value"] != ""


def test_a_forecast_shorter_than_a_year_looks_at_all_of_it():
    """Three months: the customers of the opening, followed for 3: 0.9^3 = 72.9%. The label says three months too."""
    table = growth.table_of_measures(growth.forecast(business(opening={"customers": 5, "mrr": 100})))
    assert table.loc["customers kept over the 3 months", "value"] == "72.9%"
    assert (
        "cost of winning a customer (CAC), all channels, last 3 months" in table.index
        and not table.index.str.contains("year").any()
    )
    plans = {"plans": [plan(billing="yearly", renewal_rate=0.7)]}
    scenario = business(months=6, pay=plans, opening={"customers": 5, "mrr": 100, "mean_age_months": 0})
    yearly = growth.table_of_measures(growth.forecast(scenario))
    kept = yearly.loc["customers kept over the 6 months"].tolist()
    assert kept == ["100.0%", "yearly plans renew after these months, too"]


def test_measures_of_draws_are_refused():
    with pytest.raises(MeasureError, match=r"one scenario.*2 draws"):
        growth.table_of_measures(growth.forecast(business(**TWO_DRAWS)))
