"""What it would take to reach a goal, and which number moves the forecast most."""

from growth.goals.goal import KINDS, Goal
from growth.goals.price import break_even_loss
from growth.goals.rank import Effect, Ranking, levers
from growth.goals.solve import Answer, Solution, solve

__all__ = ["KINDS", "Answer", "Effect", "Goal", "Ranking", "Solution", "break_even_loss", "levers", "solve"]
