"""A client's work from the first meeting on: a folder, what to ask, and how good the last forecast was."""

from growth.client.actuals import Comparison, compare_with_actuals, read_actuals
from growth.client.answers import Answers, first_scenario, slug_of
from growth.client.questions import questions_text

__all__ = [
    "Answers",
    "Comparison",
    "compare_with_actuals",
    "first_scenario",
    "questions_text",
    "read_actuals",
    "slug_of",
]
