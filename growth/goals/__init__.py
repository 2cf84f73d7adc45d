"""What it would take to reach a goal, and which number moves the forecast most."""

from growth.goals.goal import KINDS, Goal
from growth.goals.lever_fields import lever_fields
from growth.goals.rank import Effect, Ranking, levers
from growth.goals.solve import Answer, Solution, solve

__all__ = ["KINDS", "Answer", "Effect", "Goal", "Ranking", "Solution", "lever_fields", "levers", "solve"]
