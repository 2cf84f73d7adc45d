"""Exercises for a class: questions with a scenario's own numbers, their answers by hand and by the tool."""

from growth.exercises.closed_form import (
    closed_form,
    half_as_many_leave,
    likely_scenario,
    twice_as_many_join,
    with_spend,
)
from growth.exercises.exercise import Exercise
from growth.exercises.questions import questions

__all__ = [
    "Exercise",
    "closed_form",
    "half_as_many_leave",
    "likely_scenario",
    "questions",
    "twice_as_many_join",
    "with_spend",
]
