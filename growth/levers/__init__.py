"""What it would take to reach a goal, and which number moves the forecast most."""

from growth.levers.goal import KINDS, Goal
from growth.levers.rank import Effect, Ranking, levers
from growth.levers.solve import Answer, Solution, lever_fields, solve

__all__ = ["KINDS", "Answer", "Effect", "Goal", "Ranking", "Solution", "lever_fields", "levers", "solve"]
