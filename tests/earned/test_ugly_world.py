"""Pieces of known truth from a world with robots, bursts, instalments and launches: do the intervals hold it?

A few dozen runs of each kind; the whole table, with bias and error, is printed by tests/benchmarks/earned.py.
"""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks import earned_world
from how_many import few_or_many

from growth.earned import earnings

RUNS = few_or_many(6, 12)  # of each kind, over all ages


@pytest.fixture(scope="module")
def runs():
    found = {}
    before, earnings.DRAWS = earnings.DRAWS, 1_000
    for number, kind in enumerate(earned_world.KINDS_OF_WORLD):
        for run in range(RUNS):
            age = earned_world.AGES[run % len(earned_world.AGES)]
            ledger, truth = earned_world.world(kind, age, np.random.default_rng([7, number, run]))
            with ledger:
                found[kind, run] = earnings.report(ledger, last=1).pieces[0], truth
    earnings.DRAWS = before
    return found


def held(interval, value) -> bool:
    return interval.low - 0.5 <= value <= interval.high + 0.5  # amounts are whole prices


def test_the_intervals_hold_as_often_as_said(runs):
    """Of 95%, at most three standard errors below."""
    told = [(one, truth) for one, truth in runs.values() if one.next_year is not None]
    assert len(told) > 8 * RUNS
    for name in ("sign_up_value", "next_year"):
        truths = [getattr(truth, {"sign_up_value": "value"}.get(name, name)) for _, truth in told]
        share = np.mean([held(getattr(one, name), value) for (one, _), value in zip(told, truths, strict=True)])
        assert share > 0.95 - 3 * np.sqrt(0.95 * 0.05 / len(told)), name


def test_no_launch_since_a_piece_is_said_in_the_place_of_nothing(runs):
    silent = [one for (kind, _), (one, _) in runs.items() if kind == "launches" and one.no_launch]
    assert silent and all(one.sign_up_value is None and one.next_year is None for one in silent)
    assert not any(one.in_launches for (kind, _), (one, _) in runs.items() if kind != "launches")


def test_floods_of_robots_are_set_aside_and_nothing_else_is(runs):
    for (kind, _), (one, _) in runs.items():
        if kind == "robots at once" and one.piece.views > 200:
            assert sum(one.piece.robot_days.values()) >= 30
        elif kind not in ("robots daily",):
            assert not one.piece.robot_days, kind


def test_instalments_are_contracted_beside_paid(runs):
    due = [one.piece.contracted - one.piece.paid for (kind, _), (one, _) in runs.items() if kind == "instalments"]
    assert max(due) > 0
