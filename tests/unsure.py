"""Generated scenarios in which some numbers are ranges."""

from __future__ import annotations

import numpy as np
from generated import random_scenario

import growth
from growth.scenario.address import fields, put


def unsure(seed: int) -> growth.Scenario:
    """A generated scenario in which up to five numbers are ranges, and two of them may be correlated."""
    rng = np.random.default_rng(seed)
    scenario = growth.Scenario(**random_scenario(rng))
    found = [one for one in fields(scenario) if one.entry and one.entry.ranged and not one.entry.whole]
    found = [one for one in found if isinstance(one.value, float) and one.entry.low < one.value < one.entry.high]
    values = scenario.model_dump(mode="json")
    chosen = [found[field] for field in rng.permutation(np.arange(len(found)))[: rng.integers(1, 6)]]
    if len(chosen) > 1 and seed % 2:
        both = [one.path for one in chosen[:2]]
        values["correlations"] = [{"of": both, "correlation": float(rng.uniform(-0.95, 0.95))}]
    for one in chosen:
        scale = one.assumption.scale
        middle, width = scale.to(one.value), rng.uniform(0.05, 0.5)
        low, high = (float(scale.back(np.array(middle + way * width))) for way in (-1, 1))
        put(values, one.place, {"low": low, "likely": one.value, "high": high})
    try:
        return growth.Scenario(**values)
    except growth.ScenarioError:
        return scenario
