"""The answer in one short line: the month of the goal, and the level at which growth stops."""

from __future__ import annotations

import numpy as np

from growth.calculator.language import LOCALE, messages
from growth.calculator.words import filled, money, month_count, month_labels, roughly
from growth.engine import Forecast
from growth.measures import goal_month, growth_ceiling


def headline(forecast: Forecast, locale: str = LOCALE) -> list[tuple[str, bool]]:
    """The line as pieces (text, whether it is computed). The page says the same (`headline.js`).

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160}, goal_mrr=1000,
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> "".join(text for text, _ in headline(growth.forecast(scenario)))
    'Past €1,000 a month today, below it in Apr 2027; settles near €0'
    """
    words, scenario, months = messages(locale)["headline"], forecast.scenario, forecast.months
    goal, ceiling = goal_month(forecast).value, growth_ceiling(forecast).value
    labels = month_labels(scenario.first_month, months, locale)
    below = np.flatnonzero(forecast.closing_mrr < (scenario.goal_mrr or 0))
    values = {
        "goal": money(scenario.goal_mrr or 0, scenario.currency, locale),
        "calendar": labels[int(goal or 0)],
        "lost": labels[int(below[0]) + 1] if below.size else "",
        "months": month_count(months, locale),
        "closing": money(forecast.closing_mrr[-1], scenario.currency, locale),
        "last": labels[months],
        "ceiling": roughly(ceiling or 0, scenario.currency, locale),
    }
    empty = not (forecast.opening_mrr.any() or forecast.closing_mrr.any() or forecast.closing_customers.any())
    if empty and not ceiling:
        return [(words["nothing"], False)]
    if scenario.goal_mrr is None:
        key = "no_goal"
    elif goal is None:
        key = "goal_never"
    elif goal > 0:
        key = "goal_reached"
    else:
        key = "goal_lost" if below.size else "goal_already"
    keys = [key]
    if ceiling is not None:
        keys.append("ceiling_below" if ceiling < forecast.opening_mrr[0] else "ceiling_above")
    return [piece for key in keys for piece in filled(words[key], values)]
