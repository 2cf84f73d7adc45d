"""The workbook's formulas, computed by LibreOffice, against the Python engine: scenarios from the whole model."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from generated import for_workbooks
from how_many import few_or_many
from library import CALCULATED
from office import differences, needs_office, recalculated

import growth
from growth.scenario.entries import entries
from growth.spreadsheet import spreadsheet
from growth.spreadsheet.inputs import Inputs

# seeds of small workbooks that, with the library's (test_workbook.py), meet every feature of model.md; 11 runs for
# 120 months
SEEDS = few_or_many(
    (3, 11, 17, 18, 40, 90, 145), (3, 11, 17, 18, 39, 40, 72, 81, 86, 90, 117, 120, 122, 123, 133, 145, 349)
)


def scenario(seed: int) -> growth.Scenario:
    return growth.Scenario(**for_workbooks(np.random.default_rng(seed)))


@pytest.fixture(scope="module")
def workbooks(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The workbook of every seed, recalculated."""
    folder = tmp_path_factory.mktemp("generated")
    paths = []
    for seed in SEEDS:
        paths.append(folder / f"{seed}.xlsx")
        paths[-1].write_bytes(spreadsheet(growth.forecast(scenario(seed))))
    return recalculated(paths, folder=folder)


@needs_office
def test_every_series_the_goal_month_and_the_ceiling_agree(workbooks: dict[str, Path]):
    wrong = {
        seed: found for seed in SEEDS if (found := differences(growth.forecast(scenario(seed)), workbooks[str(seed)]))
    }
    assert wrong == {}


@needs_office
def test_a_price_off_by_one_in_a_hundred_million_is_told(workbooks: dict[str, Path]):
    """The comparison itself can fail: Python gets prices a hundred-millionth higher than the workbook."""
    mapping = for_workbooks(np.random.default_rng(17))
    for plan in mapping["pay"]["plans"]:
        plan["monthly_price" if "monthly_price" in plan else "yearly_price"] *= 1 + 1e-8
    found = differences(growth.forecast(growth.Scenario(**mapping)), workbooks["17"])
    assert "new_mrr" in found and "closing_mrr" in found and "new_customers" not in found


def test_seeds_and_library_meet_every_assumption_curve_kind_and_billing():
    scenarios = [*(scenario(seed) for seed in SEEDS), *map(growth.load_scenario, CALCULATED)]
    used = {re.sub(r"\.\d+", "", one.place) for s in scenarios for one in Inputs(s).cells if one.value}
    table = {re.sub(r"\[\w*\]", "", entry.place) for entry in entries(growth.Scenario)}
    used, table = ({place.replace("pay.plans.churn", "stay.churn") for place in places} for places in (used, table))
    refused = {"changes[].from_month", "changes[].becomes", "changes[].times", "grow.price_changes[].lost_new_rate"}
    refused = {place.replace("[]", "") for place in refused}
    assert table - used - refused == {"months", "bill.monthly_discount_rate"}  # fixed; of no effect on a forecast
    plans = [(plan.churn or s.stay.churn, plan) for s in scenarios for plan in s.pay.plans]
    curves = {(churn.curve, plan.billing) for churn, plan in plans}
    assert len(curves) == 10 and {channel.kind for s in scenarios for channel in s.arrive.channels} == {
        "steady",
        "content",
        "paid",
        "sign_ups",
        "customers",
    }
