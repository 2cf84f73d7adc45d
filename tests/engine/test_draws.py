"""Numbers over draws: the forecast of all draws at once is the forecast of each."""

from __future__ import annotations

from typing import Any

import numpy as np
from generated import random_scenario
from how_many import few_or_many
from hypothesis import given, settings
from hypothesis import strategies as st

import growth
from growth.engine import SERIES
from growth.measures import growth_ceiling, lifetime_value, net_revenue_retention

FIXED = {"share", "opening_share", "delay_shares"}  # they add to one
LOWEST = {"alpha": 1e-3, "beta": 1e-3, "shape": 0.1, "goal_mrr": 0.01, "goal_left": 0.01}


def spread(value: Any, rng: np.random.Generator, draws: int, key: str = "") -> Any:
    """The mapping with each of its floats, two times in three, as an array of `draws` values from half of it to all
    of it."""
    if isinstance(value, dict):
        return {name: part if name in FIXED else spread(part, rng, draws, name) for name, part in value.items()}
    if isinstance(value, list):
        if key == "survival":  # falls as before when all shares shrink alike
            less = rng.uniform(0.5, 1, draws)
            return [part * less for part in value]
        return [spread(part, rng, draws, key) for part in value]
    if isinstance(value, float) and rng.random() < 2 / 3:
        return np.maximum(value * rng.uniform(0.5, 1, draws), LOWEST.get(key, -np.inf))
    return value


def of_draw(value: Any, draw: int) -> Any:
    """The same mapping with the numbers of one draw."""
    if isinstance(value, dict):
        return {name: of_draw(part, draw) for name, part in value.items()}
    if isinstance(value, list):
        return [of_draw(part, draw) for part in value]
    return float(value[draw]) if isinstance(value, np.ndarray) else value


def assert_draw(result: growth.Forecast, mapping: dict, draw: int, *, cohorts: bool = False) -> None:
    alone = growth.forecast(growth.Scenario(**of_draw(mapping, draw)))
    for name in [*SERIES, *(("cohort_customers", "cohort_mrr") if cohorts else ())]:
        expected = getattr(alone, name)
        floor = 1e-12 * np.nanmax(np.abs(alone.cash if name == "net_cash" else expected), initial=0)
        np.testing.assert_allclose(
            getattr(result, name)[draw], expected, rtol=1e-12, atol=floor, err_msg=f"{name}, draw {draw}"
        )


@settings(max_examples=few_or_many(20, 60))
@given(st.integers(0, 2**32 - 1))
def test_each_draw_is_its_own_forecast(seed):
    rng = np.random.default_rng(seed)
    mapping = spread(random_scenario(rng), rng, 3)
    scenario = growth.Scenario(**mapping)
    if scenario.draws is None:
        return
    result = growth.forecast(scenario)
    for draw in range(3):
        assert_draw(result, mapping, draw, cohorts=True)


def example(draws: int, churn: dict) -> dict:
    rng = np.random.default_rng(7)
    return {
        "business": "draws",
        "months": 24,
        "opening": {"customers": 40.0, "mrr": 900.0, "mean_age_months": 6},
        "arrive": {"channels": [{"name": "all", "monthly_visitors": rng.uniform(500, 900, draws)}]},
        "sign_up": {"monthly_referral_rate": rng.uniform(0, 0.1, draws)},
        "pay": {"plans": [
            {"name": "a", "share": 0.5, "monthly_price": 20.0},
            {"name": "b", "share": 0.5, "monthly_price": rng.uniform(10, 40, draws)},
        ]},
        "stay": {"churn": churn, "comeback": {"comeback_rate": rng.uniform(0, 0.2, draws), "after_months": 3}},
        "grow": {"monthly_expansion_rate": rng.uniform(0, 0.02, draws)},
    }  # fmt: skip


def test_many_draws_meet_at_the_borders_of_blocks():
    """The engine takes draws in blocks of 256 to 8,192; neighbours of every multiple of 256 stand among these."""
    draws = 20_000
    rng = np.random.default_rng(8)
    curves = (
        {"curve": "constant", "monthly_churn_rate": rng.uniform(0.02, 0.1, draws)},
        {"curve": "sbg", "alpha": rng.uniform(0.5, 1, draws), "beta": rng.uniform(5, 20, draws)},
    )
    for churn in curves:
        mapping = example(draws, churn)
        result = growth.forecast(growth.Scenario(**mapping))
        assert result.closing_mrr.shape == (draws, 24)
        assert len(np.unique(result.closing_mrr[:, -1])) == draws  # no draw stands in another's place
        for border in (0, 256, 512, 4096, 8192, 16_384, draws):
            for draw in {max(border - 1, 0), min(border, draws - 1)}:
                assert_draw(result, mapping, draw)


def test_measures_of_many_draws_are_those_of_each():
    draws = 2_100
    mapping = example(draws, {"curve": "sbg", "alpha": np.linspace(1.5, 3, draws), "beta": 12.0})
    result = growth.forecast(growth.Scenario(**mapping))
    for measure in (growth_ceiling, lifetime_value, net_revenue_retention):
        values = measure(result).value
        assert values.shape == (draws,)
        for draw in (0, 1023, 1024, 2047, 2048, draws - 1):
            alone = measure(growth.forecast(growth.Scenario(**of_draw(mapping, draw)))).value
            np.testing.assert_allclose(values[draw], np.nan if alone is None else alone, rtol=1e-12)
