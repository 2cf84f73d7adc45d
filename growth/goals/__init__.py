"""What it would take to reach a goal, and which number moves the forecast most."""

from growth.goals.goal import KINDS, Goal
from growth.goals.lever_fields import lever_fields, with_values
from growth.goals.price import break_even_loss, break_even_loss_of
from growth.goals.rank import Effect, Ranking, levers
from growth.goals.solve import Answer, Solution, solve

__all__ = [
    "KINDS",
    "Answer",
    "Effect",
    "Goal",
    "Ranking",
    "Solution",
    "break_even_loss",
    "break_even_loss_of",
    "lever_fields",
    "levers",
    "solve",
    "with_values",
]
