"""Exercises for a class: questions with a scenario's own numbers, their answers by hand and by the tool."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from growth.exercises.all_questions import questions
    from growth.exercises.closed_form import (
        half_as_many_leave,
        likely_scenario,
        twice_as_many_join,
        with_spend,
    )
    from growth.exercises.exercise import Exercise

_HOMES = {
    "Exercise": "exercise",
    "half_as_many_leave": "closed_form",
    "likely_scenario": "closed_form",
    "questions": "all_questions",
    "twice_as_many_join": "closed_form",
    "with_spend": "closed_form",
}

__all__ = [
    "Exercise",
    "half_as_many_leave",
    "likely_scenario",
    "questions",
    "twice_as_many_join",
    "with_spend",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'growth.exercises' has no attribute {name!r}")
    return getattr(import_module(f"growth.exercises.{_HOMES[name]}"), name)
