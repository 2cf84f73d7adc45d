"""Bands in the page against those of Python, and what is said of them, word for word."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from how_many import few_or_many
from page_engine import apart, in_node, needs_node, unpacked
from unsure import unsure

import growth
from growth.calculator.data import page_data
from growth.uncertainty import spread_of
from growth.uncertainty.band import ceiling_band

QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


@needs_node
def test_bands_chances_and_shares_agree_with_python():
    scenarios = [unsure(seed) for seed in range(few_or_many(25, 300))]
    goals = [float(growth.forecast(one).closing_mrr.mean()) + 1 for one in scenarios]
    questions = [
        {"scenario": page["scenario"], "bounds": page["bounds"], "goal": goal}
        for page, goal in zip(map(page_data, scenarios), goals, strict=True)
    ]
    wrong = {}
    for seed, (one, goal, answer) in enumerate(zip(scenarios, goals, in_node(questions), strict=True)):
        if found := differences(one, goal, answer):
            wrong[seed] = found
    assert not wrong


def differences(scenario: growth.Scenario, goal: float, answer: dict[str, Any]) -> list[str]:
    spread = spread_of(scenario)
    found = []
    paths = np.stack([spread.quantile(share) for share in QUANTILES])
    if apart(paths, unpacked(answer["paths"], paths.shape), np.max(paths)):
        found.append("quantiles")
    flows = np.concatenate([spread_of(scenario, series=series).band(0.9) for series in ("came_in", "lost")])
    if apart(flows, unpacked(answer["flows"], flows.shape), np.max(paths)):
        found.append("bands of what comes in and is lost")
    if np.abs(spread.reach(goal) - unpacked(answer["reach"], (scenario.months,))).max() > 1e-9:
        found.append("reach")
    level = ceiling_band(scenario)
    given = answer["ceiling"] and tuple(map(float, answer["ceiling"]))
    if (level is None) != (given is None) or (level and level != pytest.approx(given, rel=1e-9)):
        found.append(f"ceiling: Python {level}, page {given}")
    for address in spread.down:
        left = spread.known(address).sigma(above=True)
        if np.abs(left - unpacked(answer["known"][address], left.shape)).max() > 1e-9 * (1 + left.max()):
            found.append(f"what is left where {address} is known")
    if spread.shares() != pytest.approx(answer["shares"], abs=1e-9):
        found.append(f"shares: Python {spread.shares()}, page {answer['shares']}")
    return found
