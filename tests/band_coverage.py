"""How often whole customers, drawn one by one over drawn ranges, end within the band: what `nine in ten` promises."""

from __future__ import annotations

import numpy as np
import whole_customers
from plain import business, plan

import growth
from growth.scenario.range import Scale
from growth.uncertainty.sample import at_points, ranges_of

DRAWS, RUNS = 64, 40  # of the ranges, and of whole customers for each


def ranged_business(seed: int) -> growth.Scenario:
    """A business of 20 to 2,000 customers with two to four ranges of sizes that owners might state."""
    rng = np.random.default_rng(seed)
    customers = int(np.exp(rng.uniform(np.log(20), np.log(2000))))

    def unsure(likely: float, high: float = 1.0) -> dict[str, float]:
        """From a tenth to a half to either side, on the scale of its field, a little skewed."""
        scale, width = Scale(0, high), rng.uniform(0.1, 0.5)
        low, top = (scale.back(np.array(scale.to(likely) + step)) for step in (-width, width * rng.uniform(0.7, 1.4)))
        return {"low": float(low), "likely": likely, "high": float(top)}

    churn = rng.uniform(0.015, 0.08)
    curves = [
        {"curve": "constant", "monthly_churn_rate": unsure(churn)},
        {
            "curve": "early_late",
            "early_monthly_churn_rate": unsure(min(2.5 * churn, 0.2)),
            "late_monthly_churn_rate": unsure(churn),
            "early_months": 3,
        },
    ]
    joining = customers * churn * rng.uniform(0.8, 2.5)  # a month: from shrinking a little to growing
    age = {"age_months": int(rng.integers(0, 24)), "customers": 1}
    return business(
        months=int(rng.integers(12, 37)),
        churn=curves[seed % 2],
        opening={"customers": customers, "mrr": 20 * customers, "ages": [age]},
        arrive={"channels": [{"name": "all", "monthly_visitors": joining / 0.05 / 0.2}]},
        sign_up={"signup_rate": unsure(0.05) if rng.random() < 0.5 else 0.05},
        pay={"conversion_rate": unsure(0.2), "plans": [plan(monthly_price=20)]},
    )


def coverage(scenario: growth.Scenario, *, seed: int, share: float = 0.9) -> float:
    """The share of cases that end within the band: each of DRAWS draws of the ranges with RUNS runs of whole
    customers."""
    unknowns = ranges_of(scenario)
    drawn = growth.uncertainty.sample(scenario, draws=DRAWS, seed=seed)
    columns = {each.address: value_of(drawn, each.address) for each in unknowns}
    low, high = (end[-1] for end in growth.spread_of(scenario).band(share))
    rng, usual, within = np.random.default_rng(seed), whole_customers.RUNS, 0
    whole_customers.RUNS = RUNS
    try:
        for number in range(DRAWS):
            one = at_points(scenario, {address: float(values[number]) for address, values in columns.items()})
            ends = whole_customers.draw(one, rng, fixed_opening=True)["closing_mrr"][-1]
            within += int(((ends >= low) & (ends <= high)).sum())
    finally:
        whole_customers.RUNS = usual
    return within / (DRAWS * RUNS)


def value_of(scenario: growth.Scenario, address: str) -> np.ndarray:
    """The draws at an address."""
    part = scenario
    for step in address.split("."):
        part = part[int(step)] if step.isdigit() else getattr(part, step)
    return part
