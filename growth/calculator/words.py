"""The answer's sentences and its headline, chosen by plain facts about the series.

The front end holds no sentence of its own: it fills the templates of a language's file by the same rules (words.js), so
that the prose of a notebook, the page with scripts off and the live page say the same. A {place} takes a formatted
number, set large. To add a clause, write a function that gives the keys of its templates, and call it in
`answer_parts`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from growth.calculator.language import LOCALE, Piece, filled, messages
from growth.calculator.number_words import (
    minor_digits,
    money,
    month_count,
    month_labels,
    number,
    percent,
    plural,
    roughly,
)
from growth.calculator.outcome import (
    EARNED,
    LEVEL_KNOWN,
    MOVES,
    ceiling_text,
    compared,
    ends,
    has_costs,
    joining_varies,
    mrr_of,
    nothing,
    seasonal,
    settling,
    value_of,
    yearly,
)
from growth.engine import Forecast
from growth.measures import (
    customer_ceiling,
    enough_left,
    growth_ceiling,
    left_at_ceiling,
    left_month,
    lowest_cash,
    lowest_cash_month,
    money_left,
)
from growth.measures.measure import SAME, Measure


def answer(forecast: Forecast, locale: str = LOCALE) -> str:
    """The answer in one sentence, with a second where the scenario has costs.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario, without draws.
    locale : str
        For words, numbers and money.

    Returns
    -------
    str

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160}, goal_mrr=1000,
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> answer(growth.forecast(scenario))
    'With nobody joining and 4% leaving, you are past €1,000 a month already but are below it from month 4 on,
    and it shrinks towards €0.'
    """
    return " ".join("".join(text for text, _ in sentence) for sentence in answer_parts(forecast, locale))


def answer_parts(forecast: Forecast, locale: str = LOCALE) -> list[list[Piece]]:
    """The sentences of the answer, each as pieces (text, whether it is a computed number)."""
    said = Said(forecast, locale)
    if nothing(forecast, said.ceiling):
        return [said.pieces(["nothing"])]
    sentences = [[*_lead(said), *goal_clause(said), *_settles(said)], left_clause(said)]
    if has_costs(forecast.scenario):
        sentences.append([*_cash(said), *_lowest(said)])
    return [said.pieces(keys) for keys in sentences if keys]


def headline(forecast: Forecast, locale: str = LOCALE) -> list[Piece]:
    """The answer in one short line, as pieces: when the goal is reached, and the level at which MRR settles; of what is
    left where that is the only goal.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160}, goal_mrr=1000,
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> "".join(text for text, _ in headline(growth.forecast(scenario)))
    'Past €1,000 a month already, below it from April 2027; settles near €0'
    """
    said = Said(forecast, locale, "headline")
    if nothing(forecast, said.ceiling):
        return said.pieces(["nothing"])
    of_left = left_clause(said) if forecast.scenario.goal_mrr is None else []
    keys = of_left[:1] or [key for key in goal_clause(said) if key != "goal_end"]
    said.values["ceiling"] = ceiling_text(forecast, locale)
    if of_left:
        keys += [key for key in of_left if key == "left_levels_off_short"]
    elif said.values["ceiling"]:
        keys.append("ceiling_above" if settling(forecast) == "above" else "ceiling_below")
    return said.pieces(keys)


@dataclass(slots=True, eq=False)
class Said:
    """Sentences in the making: the forecast, and the values of the places of the templates that were chosen.

    part: of the messages: "calculator" (the answer), "headline", whose months are written in full, or "how_sure".
    """

    forecast: Forecast
    locale: str
    part: str = "calculator"
    values: dict[str, str] = field(default_factory=dict)
    labels: list[str] = field(init=False)
    ceiling: Measure = field(init=False)

    def __post_init__(self) -> None:
        first, months = self.forecast.scenario.first_month, self.forecast.months
        self.labels = month_labels(first, months, self.locale, full=self.part == "headline")
        self.ceiling = growth_ceiling(self.forecast)
        self.values |= {"months": month_count(months, self.locale), "last": self.labels[months]}

    def money(self, value: float) -> str:
        return money(value, self.forecast.scenario.currency, self.locale)

    def number(self, value: float) -> str:
        return number(value, self.locale)

    def plural(self, key: str, count: float) -> str:
        """The key of the text that fits a count, of a message with plurals."""
        forms, one = messages(self.locale)[self.part][key], plural(count, self.locale)
        return f"{key}.{one if one in forms else 'other'}"

    def pieces(self, keys: list[str]) -> list[Piece]:
        """The chosen templates, filled. A key with a dot is one of a group, such as "reasons.nobody_leaves"."""
        words = messages(self.locale)[self.part]
        found = [
            words[group][name] if name else words[group] for group, _, name in (key.partition(".") for key in keys)
        ]
        return [piece for template in found for piece in filled(template, self.values)]


def _lead(said: Said) -> list[str]:
    """Who joins and who leaves: at first, and at the end of the forecast where that differs by more than a twentieth.

    Over a year where seasons or yearly plans make single months say little, else in a single month."""
    forecast = said.forecast
    by_season, by_year = seasonal(forecast.scenario), yearly(forecast.scenario)
    new = ends(forecast.new_customers, np.ones(forecast.months), 12 if by_season else 1)
    churn = ends(forecast.lost_customers, forecast.opening_customers, 12 if by_year else 1)
    joins = [said.number(one) for one in new or (0.0, 0.0)]
    said.values |= {"new": joins[0], "new_end": joins[1]}
    moves = _moving("new", new, joins)
    if not forecast.new_customers.any():
        keys = ["new_none"]
    elif by_season:
        keys = [said.plural("new_average_moving" if moves else "new_average", new[0] if new else 0)]
    else:
        keys = [said.plural("new", new[0] if new else 0), *moves]
    if churn is None:
        return [*keys, "lead_end_after_comma" if moves else "lead_end"]
    leaves = [percent(one, said.locale) for one in churn]
    said.values |= {"churn": leaves[0], "churn_end": leaves[1]}
    if forecast.lost_customers.any():
        return [*keys, "churn", *_moving("churn", churn, leaves), "lead_end"]
    return [*keys, "churn_renewals" if forecast.deferred_revenue[-1] > 0 else "churn_none", "lead_end"]


def goal_clause(said: Said) -> list[str]:
    """When the goal is reached, and whether it is kept to the end; without a goal, what is made at the end."""
    forecast, goal = said.forecast, said.forecast.scenario.goal_mrr
    said.values["closing"] = said.money(forecast.closing_mrr[-1])
    if goal is None:
        return ["no_goal"]
    goal = float(goal)  # a scenario that is shown has single numbers
    said.values["goal"] = said.money(goal)
    there = mrr_of(forecast) >= goal * (1 - SAME)
    if not there.any():
        return ["goal_never"]
    first, missed = int(there.argmax()), np.flatnonzero(~there)
    said.values |= {"month": said.number(first), "calendar": said.labels[first]}
    start = "goal_reached" if first else "goal_past" if compared(forecast.opening_mrr[0], goal) > 0 else "goal_at"
    if not missed.size or missed[-1] < first:
        return [start, "goal_end"]
    if there[-1]:
        back = int(missed[-1]) + 1
        said.values |= {"back_month": said.number(back), "back": said.labels[back]}
        return [start, "goal_back", "goal_end"]
    lost = int(np.flatnonzero(there)[-1]) + 1
    said.values |= {"lost_month": said.number(lost), "lost": said.labels[lost]}
    return [start, "goal_lost", "goal_end"]


def _settles(said: Said) -> list[str]:
    """Where MRR goes after the forecast, if what comes in at its end goes on."""
    forecast, way = said.forecast, settling(said.forecast)
    if way == "growing":
        return ["ceiling_none", f"reasons.{said.ceiling.code}"]
    if way not in LEVEL_KNOWN:
        return [f"no_ceiling.{way}"]
    said.values["ceiling"] = ceiling_text(forecast, said.locale)
    average = ["ceiling_average"] if seasonal(forecast.scenario) else []
    return [f"ceiling_{way}", *average, *(["ceiling_then"] if joining_varies(forecast) else []), "ceiling_end"]


def left_clause(said: Said) -> list[str]:
    """When enough is left each month; no keys without a goal for it."""
    goal = said.forecast.scenario.goal_left
    if goal is None:
        return []
    return [_left_from(said, float(goal)), *_left_as_earned(said), *_left_in_the_end(said, float(goal))]


def _left_from(said: Said, goal: float) -> str:
    """From which month on it is left; else whether it ever is."""
    forecast = said.forecast
    enough = enough_left(forecast)
    first, last = (int(month) for month in (enough.argmax() + 1, enough.size - enough[::-1].argmax()))
    start = value_of(left_month(forecast))
    most = float(money_left(forecast).max())
    month = int(start) if start else first
    said.values |= {"goal_left": said.money(goal), "left_most": said.money(most)}
    said.values |= {"left_first": said.number(first), "left_last": said.number(last), "left_month": said.number(month)}
    said.values |= {"left_calendar": said.labels[month], "left": said.labels[month]}
    if start:
        return "left_already" if start == 1 else "left_from"
    if not enough.any():
        return "left_never" if most > 0 else "left_short"
    return "left_once" if first == last else "left_lost"


def _left_as_earned(said: Said) -> list[str]:
    """The same as earned, where yearly payments make single months of cash say little."""
    if not yearly(said.forecast.scenario):
        return []
    start = value_of(left_month(said.forecast, as_earned=True))
    said.values["left_earned"] = said.number(start or 0)
    return ["left_earned_never" if start is None else "left_earned_already" if start == 1 else "left_earned_from"]


def _left_in_the_end(said: Said, goal: float) -> list[str]:
    """What is left where growth levels off, where the answer is not yes for good."""
    forecast, way = said.forecast, settling(said.forecast)
    level, people = value_of(left_at_ceiling(forecast)), value_of(customer_ceiling(forecast))
    if way not in LEVEL_KNOWN or level is None or not people:
        return []
    if value_of(left_month(forecast)) is not None and level >= goal:
        return []
    said.values["left_level"] = roughly(abs(level), forecast.scenario.currency, said.locale, named=(goal,))
    side = "missing" if level < 0 else "short" if level < goal else "enough"
    return [f"left_{'levels_off' if way == 'above' else 'settles'}_{side}"]


def _cash(said: Said) -> list[str]:
    """What is left of cash a month over the last year, and of recognised revenue where that differs."""
    forecast = said.forecast
    span = min(12, forecast.months)
    left = float(forecast.net_cash[-span:].mean())
    came_in = float(forecast.cash_in[-span:].mean())
    earned = left - came_in + float(forecast.revenue[-span:].mean())
    said.values |= {
        "span": month_count(span, said.locale),
        "left": said.money(abs(left)),
        "earned": said.money(abs(earned)),
    }
    even = abs(left) <= max(SAME * came_in, 0.5 * 10.0 ** -minor_digits(forecast.scenario.currency))
    keys = ["cash_even" if even else "cash_short" if left < 0 else "cash"]
    if abs(earned - left) > EARNED * max(abs(earned), abs(left)) and abs(earned - left) > SAME * came_in:
        keys.append("cash_earned" if earned >= 0 else "cash_earned_short")
    return [*keys, "cash_end"]


def _lowest(said: Said) -> list[str]:
    """When cash is lowest."""
    month = value_of(lowest_cash_month(said.forecast)) or 0
    lowest = value_of(lowest_cash(said.forecast)) or 0.0
    opening = float(said.forecast.scenario.bill.opening_cash)
    said.values |= {"low": said.money(lowest if month else opening), "low_month": said.number(month)}
    return ["cash_low" if month else "cash_never_low" if opening else "cash_never_low_unstated"]


def _moving(key: str, over: tuple[float, float] | None, texts: list[str]) -> list[str]:
    """Whether it rises or falls by more than a twentieth, and by enough to be seen."""
    if over is None or texts[0] == texts[1] or abs(over[1] - over[0]) <= MOVES * max(over):
        return []
    return [f"{key}_rising" if over[1] > over[0] else f"{key}_falling"]
