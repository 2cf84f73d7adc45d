"""The page's search for what it would take against Python's, over generated scenarios, in Node."""

from __future__ import annotations

import json
import subprocess

import numpy as np
import pytest
from generated import random_scenario
from how_many import few_or_many
from page_engine import needs_node
from unsure import unsure

import growth
from growth.calculator.bundle import script
from growth.calculator.controls import controls
from growth.calculator.data import page_data
from growth.goals import KINDS, Goal
from growth.goals.goal import series_of
from growth.goals.lever_fields import lever_fields, with_values
from growth.scenario.address import put
from growth.uncertainty.sample import ranges_of

SCENARIOS = range(few_or_many(5, 24))
UNSURE = range(few_or_many(4, 40))
SOLVE = """
import { readFileSync } from "node:fs";
const answers = JSON.parse(readFileSync(process.argv[2])).map(({ data, goal: asked }) => {
  const { scenario, ranges } = parted(data.scenario);
  const { ends, restart } = sureness(data.bounds);
  restart(ranges);
  const z = { 0.5: 0, 0.8: -0.8416212335729143, 0.9: -1.2815515655446004 }[asked.chance];
  const goal = { ...asked, sure: z === undefined ? null : { z, ends, bounds: data.bounds } };
  const now = comesTo(scenario, goal);
  const levers = data.controls.filter(({ path }) => asked.levers?.includes(path) ?? true);
  const steps = searching(scenario, levers, goal, now);
  let step = steps.next();
  while (!step.done) step = steps.next();
  const found = step.value;
  const ranked = efforts(scenario, data.controls, comesTo(scenario, { kind: "mrr", by: scenario.months }));
  return {
    now,
    able: Object.fromEntries(found.able.map(({ control, nearest }) => [control.path, nearest])),
    most: Object.fromEntries(found.unable.map(({ control, most }) => [control.path, most])),
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
    values = scenario.model_dump(mode="json")
    put(values, lever, value)
    return series_of(growth.forecast(growth.Scenario(**values)), goal["kind"])[goal["by"] - 1]


def in_page(asked, tmp_path):
    """The page's answers to pairs of a scenario and a goal."""
    (tmp_path / "asked.json").write_text(
        json.dumps([{"data": page_data(scenario), "goal": goal} for scenario, goal in asked]), "utf-8"
    )
    (tmp_path / "solve.mjs").write_text(script() + SOLVE, "utf-8")
    run = subprocess.run(
        ["node", str(tmp_path / "solve.mjs"), str(tmp_path / "asked.json")], capture_output=True, text=True, timeout=300
    )
    assert run.returncode == 0, run.stderr
    return json.loads(run.stdout)


@needs_node
def test_page_and_python_find_the_same_values(tmp_path):
    asked = list(questions())
    compared = 0
    for (scenario, goal), page in zip(asked, in_page(asked, tmp_path), strict=True):
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


def unsure_questions():
    """Per generated scenario with ranges: a goal with a chance, half as much again as there is, and three levers."""
    for seed in UNSURE:
        scenario = unsure(seed)
        rng = np.random.default_rng(8_000_000 + seed)
        kind, chance = ("mrr", "customers")[seed % 2], (0.8, 0.9, 0.5)[seed % 3]
        by = int(rng.integers(1, min(scenario.months, 24) + 1))
        now = Goal(1.0, by, kind, chance).reached_by(scenario)
        shown = {line["path"] for line in controls(scenario)}
        levers = [one.path for one in lever_fields(scenario, kind=kind) if one.path in shown]
        some = [str(path) for path in rng.permutation(levers)[:3]]
        if 0 < now < 1e8 and ranges_of(scenario) and some:
            yield scenario, {"kind": kind, "by": by, "amount": 1.5 * now, "chance": chance, "levers": some}


@needs_node
def test_page_and_python_find_the_same_values_for_a_goal_with_a_chance(tmp_path):
    """Python searches the whole range of a number on the quantile itself; the page starts from the likely path."""
    asked, compared = list(unsure_questions()), 0
    for (scenario, goal), page in zip(asked, in_page(asked, tmp_path), strict=True):
        wanted = Goal(goal["amount"], goal["by"], goal["kind"], goal["chance"])
        assert page["now"] == pytest.approx(wanted.reached_by(scenario), rel=1e-9)
        for lever in goal["levers"]:
            [found] = growth.solve(
                scenario, goal=wanted.amount, by=wanted.by, kind=wanted.kind, chance=wanted.chance, lever=lever
            ).solutions
            assert page["able"].get(lever) == (pytest.approx(found.nearest, rel=1e-6) if found.reached else None), lever
            if found.reached:  # what the page says is enough, in Python too
                there = with_values(scenario, {lever: page["needed"][lever]})
                assert wanted.reached_by(there) >= wanted.amount * (1 - 1e-3), lever
            compared += 1
    assert compared > few_or_many(6, 60)
