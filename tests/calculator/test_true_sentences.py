"""Every clause of the answer is true of its series: see `true_sentences.py`, which judges them, and `long/sentences.py`
for many more. The page and the workbook say the same words as Python, which other tests hold."""

from __future__ import annotations

import numpy as np
import pytest
from generated import scenario_of
from how_many import few_or_many
from true_sentences import untrue

import growth
from growth.calculator import answer

MONTHLY = {"name": "Studio", "monthly_price": 20}
FREE = {"name": "Free", "monthly_price": 0}
KNOWN = {"channels": [{"name": "known", "kind": "customers", "monthly_customers": 10}]}
FOUND = {
    "more customers than Decimal's usual 28 digits can write": {
        "months": 60, "opening": {"customers": 100, "mrr": 2000}, "sign_up": {"monthly_referral_rate": 2},
        "pay": {"conversion_rate": 1, "plans": [MONTHLY]},
    },
    "a lifetime whose mean is a million months, so that a hundred years show nothing of the level": {
        "arrive": KNOWN, "pay": {"plans": [MONTHLY]}, "stay": {"churn": {"curve": "sbg", "alpha": 1.001, "beta": 0.8}},
    },
    "a level below which revenue falls, and to which it comes back in thousands of years": {
        "months": 32, "opening": {"customers": 5000, "mrr": 100_000}, "arrive": KNOWN, "pay": {"plans": [MONTHLY]},
        "stay": {"churn": {"curve": "sbg", "alpha": 1.02, "beta": 0.5}},
    },
    "referrals that multiply what the most loyal add after a hundred years": {
        "arrive": KNOWN, "sign_up": {"monthly_referral_rate": 0.1}, "pay": {"conversion_rate": 1, "plans": [MONTHLY]},
        "stay": {"churn": {"curve": "sbg", "alpha": 1.5, "beta": 3}},
    },
    "revenue that is a rounding error": {
        "months": 120, "opening": {"customers": 300, "mrr": 6000}, "pay": {"plans": [MONTHLY]},
        "stay": {"churn": {"curve": "constant", "monthly_churn_rate": 0.98}}, "goal_left": 7000,
    },
    "waves of customers who all come back years later": {
        "months": 57, "opening": {"customers": 600, "mrr": 12_000}, "pay": {"plans": [MONTHLY]},
        "stay": {"churn": {"curve": "early_late", "early_monthly_churn_rate": 0.8, "late_monthly_churn_rate": 0},
                 "comeback": {"comeback_rate": 1, "after_months": 30}},
    },
    "a free plan that fills without end beside a paid one": {
        "months": 48, "opening": {"customers": 1000, "mrr": 700}, "sign_up": {"monthly_referral_rate": 2},
        "pay": {"conversion_rate": 0.1, "plans": [MONTHLY | {"share": 0.04}, FREE | {"share": 0.96}]},
        "stay": {"churn": {"curve": "constant", "monthly_churn_rate": 0.09}},
    },
    "old customers who stay, beside newcomers who come to pay nothing": {
        "months": 4, "opening": {"customers": 268, "mrr": 19_000, "mean_age_months": 14}, "arrive": KNOWN,
        "pay": {"plans": [MONTHLY]}, "stay": {"churn": {"curve": "constant", "monthly_churn_rate": 0}},
        "grow": {"monthly_contraction_rate": 0.97, "last_age_months": 21},
    },
    "everybody has left, and who comes back pays more and more": {
        "months": 20, "opening": {"customers": 500, "mrr": 10_000}, "pay": {"plans": [MONTHLY]},
        "stay": {"churn": {"curve": "sbg", "alpha": 1.4, "beta": 0.7},
                 "comeback": {"comeback_rate": 0.15, "after_months": 100}},
        "grow": {"monthly_expansion_rate": 0.03, "price_changes": [
            {"month": 2, "change_rate": 0.1, "applies_to": "all", "provoked_churn_rate": 1}]},
    },
    "referrals of whom nobody pays, beside plans that all have left": {
        "months": 40, "opening": {"customers": 800, "mrr": 9000}, "sign_up": {"monthly_referral_rate": 0.03},
        "pay": {"conversion_rate": 0, "plans": [
            MONTHLY | {"share": 0.5},
            {"name": "Yearly", "share": 0.5, "billing": "yearly", "yearly_price": 200, "renewal_rate": 0}]},
        "stay": {"churn": {"curve": "constant", "monthly_churn_rate": 0}}, "grow": {"monthly_expansion_rate": 0.02},
    },
    "a few newcomers for ever, and today's customers who pay a millionfold before they fade for centuries": {
        "months": 15, "opening": {"customers": 90, "mrr": 9000, "mean_age_months": 12},
        "arrive": {"channels": [{"name": "known", "kind": "customers", "monthly_customers": 0.002}]},
        "pay": {"plans": [MONTHLY]}, "stay": {"churn": {"curve": "sbg", "alpha": 0.75, "beta": 0.17}},
        "grow": {"monthly_expansion_rate": 0.29, "last_age_months": 53},
    },
    "cash that falls by a millionth of what was taken in": {
        "months": 36, "opening": {"customers": 100_000, "mrr": 20_000_000}, "pay": {"plans": [MONTHLY]},
        "stay": {"churn": {"curve": "constant", "monthly_churn_rate": 0.9}}, "bill": {"monthly_fixed_costs": 9},
    },
    "newcomers who come to pay nothing, beside old customers who stay and pay": {
        "months": 39, "opening": {"customers": 300, "mrr": 17_000, "mean_age_months": 12}, "arrive": KNOWN,
        "pay": {"plans": [FREE]}, "stay": {"churn": {"curve": "constant", "monthly_churn_rate": 0}},
        "grow": {"monthly_contraction_rate": 1, "last_age_months": 9},
    },
    "expansion that all but makes up for churn, and a few who come back": {
        "arrive": KNOWN, "pay": {"plans": [MONTHLY]},
        "stay": {"churn": {"curve": "constant", "monthly_churn_rate": 0.0169},
                 "comeback": {"comeback_rate": 0.0036, "after_months": 17}},
        "grow": {"monthly_expansion_rate": 0.01714},
    },
    "customers of a free plan who hardly ever leave and send others to a paid one": {
        "months": 58, "opening": {"customers": 300, "mrr": 0}, "sign_up": {"monthly_referral_rate": 0.033},
        "pay": {"conversion_rate": 0.26, "plans": [
            FREE | {"share": 0, "opening_share": 1,
                    "churn": {"curve": "bdw", "alpha": 0.001, "beta": 0.06, "shape": 0.8}},
            MONTHLY | {"opening_share": 0}]},
        "stay": {"churn": {"curve": "constant", "monthly_churn_rate": 0.1}},
    },
    "a goal of one cent and a level of 1.3 cents, which are written alike": {
        "months": 36, "goal_mrr": 0.01, "opening": {"customers": 50, "mrr": 1000}, "pay": {"plans": [MONTHLY]},
        "arrive": {"channels": [{"name": "known", "kind": "customers", "monthly_customers": 0.000033}]},
        "stay": {"churn": {"curve": "constant", "monthly_churn_rate": 0.05}},
    },
}  # fmt: skip


@pytest.mark.parametrize("seed", range(few_or_many(40, 400)))
def test_no_clause_of_a_generated_scenario_s_answer_is_false(seed: int):
    scenario = scenario_of(7_000_000 + seed)
    with np.errstate(all="ignore"):
        assert untrue(scenario) == []


@pytest.mark.parametrize("case", FOUND)
def test_no_clause_is_false_where_one_was_or_seemed_so(case: str):
    scenario = growth.Scenario(business="Fernhollow", invented=True, **FOUND[case])
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
