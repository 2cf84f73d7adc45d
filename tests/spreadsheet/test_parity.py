"""The workbook's formulas, computed by LibreOffice, against the Python engine: scenarios from the whole model."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from generated import random_scenario, scenario_of
from library import CALCULATED
from library import CALCULATED_SEEDS as SEEDS
from office import differences, needs_office, recalculated

import growth
from growth.scenario.entries import entries
from growth.spreadsheet import spreadsheet
from growth.spreadsheet.inputs import Inputs, changed_fields


@pytest.fixture(scope="module")
def workbooks(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The workbook of every seed, recalculated."""
    folder = tmp_path_factory.mktemp("generated")
    paths = []
    for seed in SEEDS:
        paths.append(folder / f"{seed}.xlsx")
        paths[-1].write_bytes(spreadsheet(growth.forecast(scenario_of(seed))))
    return recalculated(paths, folder=folder, charts=False)


@needs_office
def test_every_series_the_goal_month_and_the_ceiling_agree(workbooks: dict[str, Path]):
    found = {seed: differences(growth.forecast(scenario_of(seed)), workbooks[str(seed)]) for seed in SEEDS}
    assert not any(found.values()), found


@needs_office
def test_a_price_off_by_one_in_a_hundred_million_is_told(workbooks: dict[str, Path]):
    """The comparison itself can fail: Python gets prices a hundred-millionth higher than the workbook."""
    mapping = random_scenario(np.random.default_rng(SEEDS[0]))
    for plan in mapping["pay"]["plans"]:
        plan["monthly_price" if "monthly_price" in plan else "yearly_price"] *= 1 + 1e-8
    found = differences(growth.forecast(growth.Scenario(**mapping)), workbooks[str(SEEDS[0])])
    assert "new_mrr" in found and "closing_mrr" in found and "new_customers" not in found


def test_seeds_and_library_meet_every_assumption_curve_kind_and_billing():
    scenarios = [*(scenario_of(seed) for seed in SEEDS), *map(growth.load_scenario, CALCULATED)]
    used = {re.sub(r"\.\d+", "", one.place) for s in scenarios for one in Inputs(s).cells if one.value}
    table = {re.sub(r"\[\w*\]", "", entry.place) for entry in entries(growth.Scenario)}
    used, table = ({place.replace("pay.plans.churn", "stay.churn") for place in places} for places in (used, table))
    fixed = {"months", "changes.from_month"}
    assert table - used - fixed == {"bill.monthly_discount_rate"}  # of no effect on a forecast
    plans = [(plan.churn or s.stay.churn, plan) for s in scenarios for plan in s.pay.plans]
    curves = {(churn.curve, plan.billing) for churn, plan in plans}
    assert len(curves) == 10 and {channel.kind for s in scenarios for channel in s.arrive.channels} == {
        "steady",
        "content",
        "paid",
        "sign_ups",
        "customers",
    }


def test_seeds_change_levels_curves_and_growth_over_time():
    """Each of these has formulas of its own."""
    changed = {field.name for seed in SEEDS for field, _ in changed_fields(scenario_of(seed)).values()}
    assert changed >= {"monthly_growth_rate", "visitor_ceiling", "monthly_fade_rate", "tail_monthly_visits", "alpha"}
    assert changed >= {"late_monthly_churn_rate", "renewal_rate", "monthly_expansion_rate", "conversion_rate"}
