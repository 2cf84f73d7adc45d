"""When enough is left each month, in words: for the answer, and for the headline where there is no other goal.

The page says the same (`words.js`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from growth.calculator.number_words import month_labels, number, roughly
from growth.calculator.outcome import settling, value_of, yearly
from growth.measures import customer_ceiling, enough_left, left_at_ceiling, left_month, money_left

if TYPE_CHECKING:
    from growth.calculator.words import Said

KNOWN = ("above", "below", "same", "later")  # ways of the forecast's end in which a level is known


def left_clause(said: Said) -> list[str]:
    """The keys of the sentence on what is left; none without a goal for it."""
    goal = said.forecast.scenario.goal_left
    if goal is None:
        return []
    return [_from_when(said, float(goal)), *_as_earned(said), *_level(said, float(goal))]


def _from_when(said: Said, goal: float) -> str:
    """From which month on it is left; else whether it ever is."""
    forecast = said.forecast
    enough = enough_left(forecast)
    first, last = (int(month) for month in (enough.argmax() + 1, enough.size - enough[::-1].argmax()))
    start = value_of(left_month(forecast))
    most = float(money_left(forecast).max())
    said.values |= {"goal_left": said.money(goal), "left_most": said.money(most)}
    said.values |= {"left_first": number(first, said.locale), "left_last": number(last, said.locale)}
    said.months["left_month"] = int(start) if start else first
    said.values["left_month"] = number(said.months["left_month"], said.locale)
    said.values["left_calendar"] = month_labels(forecast.scenario.first_month, forecast.months, said.locale)[
        said.months["left_month"]
    ]
    if start:
        return "left_already" if start == 1 else "left_from"
    if not enough.any():
        return "left_never" if most > 0 else "left_short"
    return "left_once" if first == last else "left_lost"


def _as_earned(said: Said) -> list[str]:
    """The same as earned, where yearly payments make single months of cash say little."""
    if not yearly(said.forecast.scenario):
        return []
    start = value_of(left_month(said.forecast, as_earned=True))
    said.values["left_earned"] = number(start or 0, said.locale)
    return ["left_earned_never" if start is None else "left_earned_already" if start == 1 else "left_earned_from"]


def _level(said: Said, goal: float) -> list[str]:
    """What is left where growth levels off, where the answer is not yes for good."""
    forecast, way = said.forecast, settling(said.forecast)
    level, people = value_of(left_at_ceiling(forecast)), value_of(customer_ceiling(forecast))
    if way not in KNOWN or level is None or not people:
        return []
    if value_of(left_month(forecast)) is not None and level >= goal:
        return []
    said.values["left_level"] = roughly(abs(level), forecast.scenario.currency, said.locale, named=(goal,))
    side = "missing" if level < 0 else "short" if level < goal else "enough"
    return [f"left_{'levels_off' if way == 'above' else 'settles'}_{side}"]
