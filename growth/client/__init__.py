"""A client's work from the first meeting on: a folder, what to ask, and how good the last forecast was."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from growth.client.actuals import ComparedMonth, compare_with_actuals, read_actuals
    from growth.client.answers import Answers, first_scenario, slug_of
    from growth.client.questions import questions_text

_HOMES = {
    "Answers": "answers",
    "ComparedMonth": "actuals",
    "compare_with_actuals": "actuals",
    "first_scenario": "answers",
    "questions_text": "questions",
    "read_actuals": "actuals",
    "slug_of": "answers",
}

__all__ = [
    "Answers",
    "ComparedMonth",
    "compare_with_actuals",
    "first_scenario",
    "questions_text",
    "read_actuals",
    "slug_of",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'growth.client' has no attribute {name!r}")
    return getattr(import_module(f"growth.client.{_HOMES[name]}"), name)
