"""The page's search for what it would take against Python's, over generated scenarios, in Node."""

from __future__ import annotations

import json
import shutil
import subprocess

import numpy as np
import pytest
from generated import random_scenario
from how_many import few_or_many

import growth
from growth.calculator import page_data, script
from growth.calculator.controls import controls
from growth.goals import KINDS, lever_fields
from growth.goals.goal import series_of
from growth.scenario.address import plain_values, put

SCENARIOS = range(few_or_many(5, 24))
SOLVE = """
import { readFileSync } from "node:fs";
const answers = JSON.parse(readFileSync(process.argv[2])).map(({ data, goal }) => {
  const { scenario } = parted(data.scenario);
  const found = takes(scenario, data.controls, goal);
  const ranked = efforts(scenario, data.controls, comesTo(scenario, { kind: "mrr", by: scenario.months }));
  return {
    now: found.now,
    able: Object.fromEntries(found.able.map(({ control, nearest }) => [control.path, nearest])),
    needed: Object.fromEntries(found.able.map(({ control, needed }) => [control.path, needed])),
    loss: priceLoss(scenario),
    ranked: ranked.map(({ controls, gain }) => [controls.map(({ path }) => path), gain]),
  };
});
process.stdout.write(JSON.stringify(answers));
"""


def questions():
    """Per scenario: a goal of each kind in turn, half as much again as there is, by a month within the forecast."""
    for seed in SCENARIOS:
        rng = np.random.default_rng(9_000_000 + seed)
        values = random_scenario(rng)
        if seed % 2:  # the author knows how hard these are to move
            efforts = [
                {"of": "sign_up.signup_rate", "better_by": 0.25},
                {"of": "pay.conversion_rate", "better_by": 0.02},
            ]
            values["efforts"] = efforts
        scenario = growth.Scenario(**values)
        kind, by = list(KINDS)[seed % len(KINDS)], int(rng.integers(1, scenario.months + 1))
        now = series_of(growth.forecast(scenario), kind)[by - 1]
        if 0 < now < 1e8:
            yield scenario, {"kind": kind, "by": by, "amount": 1.5 * now}


def comes_to(scenario, lever, value, goal):
    values = plain_values(scenario)
    put(values, lever, value)
    return series_of(growth.forecast(growth.Scenario(**values)), goal["kind"])[goal["by"] - 1]


@pytest.mark.skipif(not shutil.which("node"), reason="node is not installed")
def test_page_and_python_find_the_same_values(tmp_path):
    asked = list(questions())
    (tmp_path / "asked.json").write_text(
        json.dumps([{"data": page_data(scenario), "goal": goal} for scenario, goal in asked]), "utf-8"
    )
    (tmp_path / "solve.mjs").write_text(script() + SOLVE, "utf-8")
    run = subprocess.run(
        ["node", str(tmp_path / "solve.mjs"), str(tmp_path / "asked.json")], capture_output=True, text=True, timeout=300
    )
    assert run.returncode == 0, run.stderr
    compared = 0
    for (scenario, goal), page in zip(asked, json.loads(run.stdout), strict=True):
        shown = {line["path"] for line in controls(scenario)}
        found = growth.solve(scenario, goal=goal["amount"], by=goal["by"], kind=goal["kind"])
        assert page["now"] == pytest.approx(found.now, rel=1e-9)
        here = {one.lever: one.nearest for one in found.solutions if one.lever in shown and one.reached}
        assert page["able"] == pytest.approx(here, rel=1e-6), scenario
        for lever, value in page["needed"].items():  # what the page says is enough, in Python too
            assert comes_to(scenario, lever, value, goal) >= goal["amount"] * (1 - 1e-6)
        compared += len(here)
        assert page["loss"] == pytest.approx(growth.levers(scenario).price_loss, rel=1e-9)
        ranked = {tuple(one.levers): one.gain for one in growth.levers(scenario).effects if set(one.levers) <= shown}
        levers = {one.path for one in lever_fields(scenario)}
        for paths, gain in page["ranked"]:
            assert set(paths) <= levers and ranked[tuple(paths)] == pytest.approx(gain, rel=1e-6)
    assert compared > few_or_many(8, 40)
