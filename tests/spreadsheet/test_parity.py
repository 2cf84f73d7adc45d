"""The workbook's formulas, computed by LibreOffice in one call, against the Python engine: scenarios from the whole
model, the answers that are worked by hand, and workbooks in another language."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from answer_cases import CASES
from generated import random_scenario, scenario_of
from how_many import few_or_many
from library import CALCULATED, SCENARIOS
from library import CALCULATED_SEEDS as SEEDS
from office import differences, needs_office, recalculated

import growth
from growth.calculator.language import locale_of
from growth.calculator.words import answer
from growth.giveaway.brief import Giveaway
from growth.scenario.entries import entries
from growth.spreadsheet import spreadsheet
from growth.spreadsheet.inputs import Inputs, changed_fields
from growth.spreadsheet.texts import workbook_words

TRANSLATED = few_or_many(("yearly-plans",), ("fernhollow", "yearly-plans", "seasonal"))
LANGUAGE = "fr"  # of those; in the other languages the formulas are those of the English workbook


def clauses(said: str) -> set[str]:
    """The clauses of an answer, numbers and amounts aside."""
    return set(re.split(r", |: |\. ", re.sub(r"\S*\d\S*", "", said)))


def most_clauses(most: int = 14) -> dict[str, tuple[growth.Scenario, str]]:
    """Cases with as many clauses between them as so many can have, beside those of the workbooks that are calculated
    elsewhere: always the one with the most new ones."""
    elsewhere = [*map(growth.load_scenario, CALCULATED), *map(scenario_of, SEEDS)]
    seen = set().union(*(clauses(answer(growth.forecast(one))) for one in elsewhere))
    found = {}
    for _ in range(most):
        name = max(CASES, key=lambda name: len(clauses(CASES[name][1]) - seen))
        found[name] = CASES[name]
        seen |= clauses(CASES[name][1])
    return found


@pytest.fixture(scope="module")
def compared() -> dict[str, tuple[growth.Scenario, str]]:
    """The cases whose answers the workbook is to say."""
    return few_or_many(most_clauses, CASES.copy)()


@pytest.fixture(scope="module")
def workbooks(compared, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The workbook of every seed, case and translation, recalculated."""
    folder = tmp_path_factory.mktemp("recalculated")
    cases = {f"case {number}": scenario for number, (scenario, _) in enumerate(compared.values())}
    contents = {
        name: spreadsheet(growth.forecast(scenario))
        for name, scenario in ({str(seed): scenario_of(seed) for seed in SEEDS} | cases).items()
    }
    giveaway = Giveaway(name="x", question="How big, and when?", language=LANGUAGE)
    for name in TRANSLATED:
        contents[name] = spreadsheet(forecast_of(name), giveaway=giveaway)
    for name, content in contents.items():
        (folder / f"{name}.xlsx").write_bytes(content)
    return recalculated([folder / f"{name}.xlsx" for name in contents], folder=folder, charts=False)


def forecast_of(name: str) -> growth.Forecast:
    return growth.forecast(growth.load_scenario(SCENARIOS / f"{name}.yaml"))


@needs_office
def test_every_series_the_goal_month_and_the_ceiling_agree(workbooks: dict[str, Path]):
    found = {seed: differences(growth.forecast(scenario_of(seed)), workbooks[str(seed)]) for seed in SEEDS}
    assert not any(found.values()), found


@needs_office
def test_the_workbook_says_what_is_worked_by_hand(compared, workbooks: dict[str, Path]):
    """`differences` compares the whole answer, and the numbers beneath it, with Python's."""
    wrong = {}
    for number, (name, (scenario, _)) in enumerate(compared.items()):
        if found := differences(growth.forecast(scenario), workbooks[f"case {number}"]):
            wrong[name] = found
    assert wrong == {}


@needs_office
def test_a_workbook_in_another_language_recalculates_to_the_same_numbers_and_sentences(workbooks: dict[str, Path]):
    for name in TRANSLATED:
        assert differences(forecast_of(name), workbooks[name], workbook_words(locale_of(LANGUAGE))) == [], name


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
    fixed = {"months"}
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
