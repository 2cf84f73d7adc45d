"""What it would take: the value of one number at which a goal is reached, with all else as it stands."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from growth.errors import MeasureError, Problem
from growth.goals.edge import edge_by_parts, edge_one_by_one, search_points
from growth.goals.goal import Goal, checked_goal
from growth.goals.lever_fields import NOT_LEVERS, label_of, lever_fields, with_values
from growth.scenario import Scenario
from growth.scenario.address import Field, find

if TYPE_CHECKING:
    import pandas as pd
    import plotly.graph_objects as go

_POINTS = 16  # steps of the search


@dataclass(frozen=True, eq=False)
class Solution:
    """What one lever can do for a goal.

    Attributes
    ----------
    lever : the address of the number, list items by position.
    label : its words.
    now : its value in the scenario.
    values : every value at which the goal begins to be reached, or ceases to be, in order.
    nearest : the one of them nearest to `now` at which it is reached; `now` itself where it is reached already; None
        where no value reaches it.
    best, comes_to : the value searched that brings most, and what it brings, in the goal's terms.
    unit : the unit of the number, as `growth assumptions` has it.
    """

    lever: str
    label: str
    now: float
    values: tuple[float, ...]
    nearest: float | None
    best: float
    comes_to: float
    unit: str

    @property
    def reached(self) -> bool:
        """Whether some value of this lever alone reaches the goal."""
        return self.nearest is not None


@dataclass(frozen=True, eq=False)
class Answer:
    """What it would take to reach a goal, lever by lever; made by `solve`.

    Attributes
    ----------
    goal : the goal.
    now : what the scenario comes to as it stands, in the goal's terms.
    solutions : one for each lever, those that need the smallest change first, those that cannot reach it last.
    pairs : (lever, lever) for which half of the change that each needs alone reaches the goal together, the first few.
    """

    goal: Goal
    now: float
    solutions: tuple[Solution, ...]
    pairs: tuple[tuple[str, str], ...]

    @property
    def reached(self) -> bool:
        """Whether the goal is reached as things stand."""
        return self.goal.is_reached(self.now)

    @cached_property
    def frame(self) -> pd.DataFrame:
        """One row a lever: now, the value that reaches the goal (NaN where none does), the change as a share of `now`,
        and the most it can bring."""
        import pandas as pd

        return pd.DataFrame(
            {
                "lever": [one.label for one in self.solutions],
                "now": [one.now for one in self.solutions],
                "needed": [np.nan if one.nearest is None else one.nearest for one in self.solutions],
                "change": [_change(one) for one in self.solutions],
                "at most": [one.comes_to for one in self.solutions],
            },
            index=pd.Index([one.lever for one in self.solutions], name="address"),
        )

    def figure(self) -> go.Figure:
        """How far each lever has to move, as a share of what it is now."""
        from growth.charts import bars

        rows = [one for one in self.solutions if one.reached]
        return bars(
            [one.label for one in rows],
            [_change(one) for one in rows],
            title="How far each would have to move, alone",
            axis="change, as a share of what it is now",
        )


def _change(one: Solution) -> float:
    return one.nearest / one.now - 1 if one.nearest is not None and one.now else np.nan


def solve(
    scenario: Scenario,
    *,
    goal: float | None = None,
    by: int | None = None,
    lever: str | None = None,
    kind: str = "mrr",
    chance: float | None = None,
) -> Answer:
    """Find, for each lever, the value that reaches a goal with everything else as it stands.

    Every value is found on the forecast itself: a search over the valid range (amounts: from a 64th of the present
    value to 64 times it), with each crossing narrowed down to rounding.

    Parameters
    ----------
    scenario : Scenario
        Single numbers or ranges, no draws.
    goal : float, optional
        The amount, in money a month or customers; the scenario's own `goal_mrr` without it.
    by : int, optional
        The month at whose close it is to be there, 1 to the last; the last without it.
    lever : str, optional
        The address of one number, such as "stay.churn.monthly_churn_rate"; every lever of the scenario without it.
    kind : str
        "mrr", "customers", "cash" (left in the month) or "profit" (with revenue as it is earned).
    chance : float, optional
        With ranges: the share of cases in which the goal is to be reached, above 0 and below 1.

    Returns
    -------
    Answer

    Raises
    ------
    MeasureError
        For a goal, a month, a chance or a lever that cannot be.

    Examples
    --------
    Ten join a month at 20, and 5% leave: after 24 months 20 x 10 (1 - 0.95^24) / 0.05 = 2,832.

    >>> import growth
    >>> scenario = Scenario(business="Fernhollow", months=24, opening={"customers": 0}, sign_up={"signup_rate": 0.05},
    ...     arrive={"channels": [{"name": "search", "monthly_visitors": 1000}]},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.05}})
    >>> [found] = solve(scenario, goal=4000, lever="pay.plans.Studio.monthly_price").solutions
    >>> round(found.nearest, 4)  # 4,000 / 2,832 x 20
    28.2481
    >>> [found] = solve(scenario, goal=5000, lever="stay.churn.monthly_churn_rate").solutions
    >>> found.reached, round(found.comes_to)  # nobody leaving: 24 x 10 x 20
    (False, 4800)
    """
    wanted = checked_goal(scenario, amount=goal, by=by, kind=kind, chance=chance)
    chosen = lever_fields(scenario, kind=kind) if lever is None else [_lever(scenario, lever)]
    trials = _Trials(scenario, wanted)
    now = wanted.reached_by(scenario)
    solutions = [_solution(one, trials, wanted, now) for one in chosen]
    solutions.sort(key=lambda one: (not one.reached, _distance(one)))
    return Answer(wanted, now, tuple(solutions), _pairs(solutions, trials, wanted, now))


def _lever(scenario: Scenario, address: str) -> Field:
    found = find(scenario, address)
    if isinstance(found, Problem):
        raise MeasureError([Problem("lever", "the address of a number of the scenario", address, found.fix)])
    if found.entry is None or not isinstance(found.value, (int, float)):
        raise MeasureError([Problem("lever", "the address of a number that the scenario has", address)])
    if not found.entry.ranged or found.path in NOT_LEVERS:
        raise MeasureError([Problem("lever", "a number that can move by itself", address)])
    return found


@dataclass(frozen=True)
class _Trials:
    """Forecasts of one scenario with some of its numbers changed."""

    scenario: Scenario
    goal: Goal

    def of(self, changes: dict[str, float]) -> float:
        """What it comes to, in the goal's terms; not a number where that is no valid scenario."""
        changed = with_values(self.scenario, changes)
        with np.errstate(over="ignore", invalid="ignore"):
            return np.nan if changed is None else self.goal.reached_by(changed)

    def along(self, field: Field, points: np.ndarray) -> np.ndarray:
        """The same for many values of one number: in one forecast of as many draws, where that is possible."""
        if self.goal.chance is None and not field.assumption.whole:
            changed = with_values(self.scenario, {field.path: points})
            if changed is not None:
                with np.errstate(over="ignore", invalid="ignore"):
                    return self.goal.reached_in_draws(changed)
        return np.array([self.of({field.path: float(point)}) for point in points])


def _solution(field: Field, trials: _Trials, goal: Goal, now: float) -> Solution:
    entry, start = field.assumption, float(field.value)
    if entry.whole:
        points = np.arange(entry.low, min(entry.high, 120) + 1)
    else:
        slider = entry.slider[1] if entry.slider else 1.0
        points = search_points(start, entry.low, entry.high, slider, _POINTS)
    found = np.where(points == start, now, trials.along(field, points))
    there = [goal.is_reached(value) if np.isfinite(value) else value > 0 for value in found]
    edges = []
    for k in range(len(points) - 1):
        if there[k] == there[k + 1] or np.isnan(found[k : k + 2]).any():
            continue
        inside, outside = (points[k], points[k + 1]) if there[k] else (points[k + 1], points[k])
        edges.append(float(inside) if entry.whole else _edge(field, trials, goal, float(inside), float(outside)))
    if goal.is_reached(now):
        nearest: float | None = start
    else:
        nearest = min(edges, key=lambda value: abs(value - start), default=None)
    best = int(np.argmax(np.where(np.isnan(found), -np.inf, found)))
    return Solution(
        field.path, label_of(field), start, tuple(edges), nearest, float(points[best]), float(found[best]), entry.unit
    )


def _edge(field: Field, trials: _Trials, goal: Goal, inside: float, outside: float) -> float:
    """The last value, from `inside` towards `outside`, at which the goal is reached."""
    if goal.chance is None:
        return edge_by_parts(lambda points: trials.along(field, points) >= goal.amount, inside, outside)
    return edge_one_by_one(lambda value: goal.above_by(trials.of({field.path: value})), inside, outside)


def _distance(one: Solution) -> float:
    """By how many times it has to change, as a logarithm: half and twice are as far."""
    if one.nearest is None or one.now == 0 or one.nearest / one.now <= 0:
        return np.inf
    return round(abs(float(np.log(one.nearest / one.now))), 6)


def _pairs(
    solutions: list[Solution], trials: _Trials, goal: Goal, now: float, most: int = 3
) -> tuple[tuple[str, str], ...]:
    if goal.is_reached(now):
        return ()
    able, found = [one for one in solutions if one.reached][:6], []
    for number, one in enumerate(able):
        for other in able[number + 1 :]:
            halves = {each.lever: (each.now + (each.nearest or 0.0)) / 2 for each in (one, other)}
            if goal.is_reached(trials.of(halves)):
                found.append((one.lever, other.lever))
            if len(found) == most:
                return tuple(found)
    return tuple(found)
