"""Every clause of the answer is true of its series: see `true_sentences.py`, which judges them, and `long/sentences.py`
for many more. The page and the workbook say the same words as Python, which other tests hold."""

from __future__ import annotations

import numpy as np
import pytest
from generated import random_scenario
from true_sentences import untrue

import growth
from growth.calculator import answer

FOUND = {
    16631: "more customers than Decimal's usual 28 digits can write",
    24531: "a lifetime whose mean is a million months, so that a hundred years show nothing of the level",
    155: "referral growth that is slow, but known",
    404705: "waves of customers who all come back years later",
    411034: "free plans that fill without end beside a paid one",
    412673: "waves that take centuries to die down",
}


@pytest.mark.parametrize("seed", range(100))
def test_no_clause_of_a_generated_scenario_s_answer_is_false(seed: int):
    scenario = growth.Scenario(**random_scenario(np.random.default_rng(7_000_000 + seed)))
    with np.errstate(all="ignore"):
        assert untrue(scenario) == []


@pytest.mark.parametrize("seed", FOUND, ids=str)
def test_no_clause_is_false_where_one_was_or_seemed_so(seed: int):
    scenario = growth.Scenario(**random_scenario(np.random.default_rng(seed)))
    with np.errstate(all="ignore"):
        assert untrue(scenario) == []


def test_the_judge_finds_what_is_false():
    """Ten join a month at 20, a tenth leaves: 100 customers and 2,000 a month in the end, by hand."""
    steady = growth.Scenario(
        business="Fernhollow", invented=True, months=24, goal_mrr=1000, opening={"customers": 0, "mrr": 0},
        arrive={"channels": [{"name": "known", "kind": "customers", "monthly_customers": 10}]},
        pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
        stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}},
    )  # fmt: skip
    said = answer(growth.forecast(steady)).replace("\N{NO-BREAK SPACE}", " ")
    assert "month 7" in said and "€2,000" in said  # 2,000 (1 - 0.9^7) = 1,043
    false = {
        said.replace("month 7", "month 6"): "reached",
        said.replace("€2,000", "€3,000"): "level",
        said.replace("growth levels off near", "it shrinks towards"): "way",
        said.replace("10% leaving", "12% leaving"): "churn",
        said.replace("10 new customers", "11 new customers"): "new",
    }
    assert untrue(steady, said) == []
    for text, clause in false.items():
        assert any(one.startswith(clause) for one in untrue(steady, text)), text
