"""A client's work from the first meeting on: a folder, what to ask, and how good the last forecast was."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from growth.client.actuals import ComparedMonth, compare_with_actuals, note_month, read_actuals
    from growth.client.answers import Answers, first_scenario, slug_of
    from growth.client.meeting_copies import PastMeeting, past_meetings, starting_after
    from growth.client.questions import questions_text

_HOMES = {
    "Answers": "answers",
    "ComparedMonth": "actuals",
    "compare_with_actuals": "actuals",
    "PastMeeting": "meeting_copies",
    "first_scenario": "answers",
    "note_month": "actuals",
    "past_meetings": "meeting_copies",
    "questions_text": "questions",
    "read_actuals": "actuals",
    "slug_of": "answers",
    "starting_after": "meeting_copies",
}

__all__ = [
    "Answers",
    "ComparedMonth",
    "PastMeeting",
    "compare_with_actuals",
    "first_scenario",
    "note_month",
    "past_meetings",
    "questions_text",
    "read_actuals",
    "slug_of",
    "starting_after",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'growth.client' has no attribute {name!r}")
    return getattr(import_module(f"growth.client.{_HOMES[name]}"), name)
