"""Whole customers, drawn at random: what a business may look like when single people sign up, pay, leave and come back.

Each of 20,000 runs draws visitors from a Poisson distribution, and from whole people who signs up, who pays and when,
which plan they choose, who leaves, who refers and who comes back. It follows groups of customers alike (plan, month
joined, what each pays).
"""

from __future__ import annotations

import naive
import numpy as np
from plain import business, plan

import growth

RUNS = 20_000

FALLING = {"curve": "sbg", "alpha": 1.2, "beta": 6.0}
CASES = {
    "sbg, two plans": business(
        months=18,
        churn=FALLING,
        opening={
            "customers": 60,
            "mrr": 1500,
            "ages": [{"age_months": 0, "customers": 1}, {"age_months": 9, "customers": 2}],
        },
        arrive={"channels": [{"name": "all", "monthly_visitors": 400, "monthly_growth_rate": 0.03}]},
        sign_up={"signup_rate": 0.2},
        pay={"conversion_rate": 0.4, "plans": [plan(share=0.6), plan(name="b", share=0.4, monthly_price=50)]},
    ),
    "yearly plan": business(
        months=27,
        opening={"customers": 120, "mrr": 2400, "mean_age_months": 5},
        arrive={"channels": [{"name": "all", "monthly_visitors": 60, "season": [1, 2] * 6}]},
        sign_up={"signup_rate": 0.5},
        pay={
            "plans": [plan(share=0.5, billing="yearly", renewal_rate=0.6), plan(name="b", share=0.5, monthly_price=90)]
        },
    ),
    "comeback": business(
        months=16,
        churn=0.2,
        opening={"customers": 150, "mrr": 3000},
        stay={"comeback": {"comeback_rate": 0.4, "after_months": 3}},
    ),
    "referrals and a delay": business(
        months=16,
        churn={
            "curve": "early_late",
            "early_monthly_churn_rate": 0.25,
            "late_monthly_churn_rate": 0.05,
            "early_months": 2,
        },
        arrive={
            "channels": [
                {"name": "all", "monthly_visitors": 90},
                {"name": "new", "monthly_visitors": 50, "first_month": 4},
            ]
        },
        sign_up={"signup_rate": 0.3, "monthly_referral_rate": 0.15},
        pay={"conversion_rate": 0.5, "delay_shares": [0.5, 0.3, 0.2]},
    ),
    "price rise and growth": business(
        months=15,
        churn={"curve": "bdw", "alpha": 0.8, "beta": 6.0, "shape": 1.3},
        opening={"customers": 80, "mrr": 1600},
        stay={"churn_changes": [{"from_month": 8, "factor": 0.5}]},
        grow={
            "monthly_expansion_rate": 0.02,
            "monthly_contraction_rate": 0.01,
            "last_age_months": 6,
            "price_changes": [{"month": 5, "change_rate": 0.25, "applies_to": "all", "provoked_churn_rate": 0.1}],
        },
    ),
}
COMPARED = (
    "new_customers lost_customers returned_customers closing_customers new_mrr churned_mrr "
    "reactivation_mrr closing_mrr "
    "expansion_mrr contraction_mrr referred_sign_ups cash_in payments"
).split()


def draw(scenario: growth.Scenario, rng: np.random.Generator, *, fixed_opening: bool = False) -> dict[str, np.ndarray]:
    """Every run of a scenario, by series, shape (months, RUNS). fixed_opening: whole cohorts at the opening, the same
    in every run, instead of Poisson ones about the expected count.

    What a customer does is drawn here; how likely it is comes from the formulas in naive.py, which are held against
    the engine elsewhere. What one customer pays is no matter of chance: all of a group pay alike.
    """
    months, plans = scenario.months, scenario.pay.plans
    series = {name: np.zeros((months, RUNS)) for name in COMPARED}
    groups, lost = opening_groups(scenario, rng, fixed_opening), {}
    paying = np.zeros((months + 30, RUNS), dtype=int)  # sign-ups who will pay, by month
    for position, channel in enumerate(scenario.arrive.channels):
        usual = naive.usual_flow(scenario, position, 1) if channel.running_before and channel.first_month == 1 else 0.0
        for month in range(2 - len(scenario.pay.delay_shares), months + 1):
            mean = naive.usual_flow(scenario, position, month) if month >= 1 else usual
            sign_ups = rng.binomial(rng.poisson(mean, RUNS), scenario.sign_up.signup_rate)
            pay_later(scenario, sign_ups, month, paying, rng)
    for month in range(1, months + 1):
        now = {name: values[month - 1] for name, values in series.items()}
        on_board = sum(count for *_, count in groups)
        referred = rng.poisson(scenario.sign_up.monthly_referral_rate * on_board)
        now["referred_sign_ups"] += referred
        pay_later(scenario, referred, month, paying, rng)
        if month == 1:  # referrals of the months before, at this level
            for before in range(2 - len(scenario.pay.delay_shares), 1):
                pay_later(scenario, rng.poisson(scenario.sign_up.monthly_referral_rate * on_board), before, paying, rng)
        groups = [age_group(scenario, group, month, now, lost, rng) for group in groups]
        groups += new_groups(scenario, paying[month], month, now, rng)
        if scenario.stay.comeback:
            for number, pays, count in lost.get(month - scenario.stay.comeback.after_months, ()):
                back = rng.binomial(count, scenario.stay.comeback.comeback_rate)
                now["returned_customers"] += back
                now["reactivation_mrr"] += back * pays
                groups.append((number, month, pays, back))
        groups = merged(groups)
        for number, joined, pays, count in groups:
            now["closing_customers"] += count
            now["closing_mrr"] += count * pays
            due = 1 if plans[number].billing == "monthly" else 12 * ((month - joined) % 12 == 0)
            now["cash_in"] += due * count * pays
            now["payments"] += count if due else 0
    return series


def opening_groups(scenario, rng, fixed):
    """The opening customers as whole ones: Poisson about the expected count, each paying what they pay on average; or
    just that count, which has to be whole."""

    def count(expected):
        return np.full(RUNS, round(expected)) if fixed else rng.poisson(expected, RUNS)

    cohorts, _ = naive.open_cohorts(scenario)
    return [
        (cohort["plan"], cohort["month"], cohort["mrr"] / cohort["customers"], count(cohort["customers"]))
        for cohort in cohorts
        if cohort["customers"] > 0
    ]


def pay_later(scenario, sign_ups, month, paying, rng):
    """Draws who of these sign-ups pay, and spreads them over the months; those due before month 1 are on board
    already."""
    customers = rng.binomial(sign_ups, scenario.pay.conversion_rate)
    for lag, count in enumerate(rng.multinomial(customers, scenario.pay.delay_shares).T):
        if month + lag >= 1:
            paying[month + lag] += count


def age_group(scenario, group, month, now, lost, rng):
    number, joined, pays, count = group
    one = {"plan": number, "month": joined, "customers": 1.0, "mrr": pays}
    # of one customer: how likely to leave, and what those who stay pay
    moved = naive.age_one_month(scenario, one, month)
    leave = moved["lost"]
    gone = rng.binomial(count, leave)
    now["lost_customers"] += gone
    now["churned_mrr"] += gone * pays
    lost.setdefault(month, []).append((number, pays, gone))
    if leave < 1:
        now["expansion_mrr"] += (count - gone) * moved["expansion"] / (1 - leave)
        now["contraction_mrr"] += (count - gone) * moved["contraction"] / (1 - leave)
        pays = one["mrr"] / one["customers"]
    return number, joined, pays, count - gone


def new_groups(scenario, count, month, now, rng):
    plans = scenario.pay.plans
    now["new_customers"] += count
    groups = []
    for number, chosen in enumerate(rng.multinomial(count, [each.share for each in plans]).T):
        pays = naive.price_for_new(scenario, plans[number], month)
        now["new_mrr"] += chosen * pays
        groups.append((number, month, pays, chosen))
    return groups


def merged(groups):
    """Groups of customers alike put together."""
    alike: dict[tuple, tuple] = {}
    for number, joined, pays, count in groups:
        key = (number, joined, round(pays, 9))
        alike[key] = (number, joined, pays, count + (alike[key][3] if key in alike else 0))
    return list(alike.values())
