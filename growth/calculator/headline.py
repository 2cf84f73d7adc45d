"""The answer in one short line: when the goal is reached, and the level at which MRR (or what is left) settles."""

from __future__ import annotations

from growth.calculator.language import LOCALE, messages
from growth.calculator.left import left_clause
from growth.calculator.words import Said, ceiling_text, filled, goal_clause, month_labels, nothing, settling
from growth.engine import Forecast


def headline(forecast: Forecast, locale: str = LOCALE) -> list[tuple[str, bool]]:
    """The line as pieces (text, whether it is computed). The page says the same (`words.js`).

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160}, goal_mrr=1000,
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> "".join(text for text, _ in headline(growth.forecast(scenario)))
    'Past €1,000 a month already, below it from April 2027; settles near €0'
    """
    words, said = messages(locale)["headline"], Said(forecast, locale)
    if nothing(forecast, said.ceiling):
        return [(words["nothing"], False)]
    labels = month_labels(forecast.scenario.first_month, forecast.months, locale, full=True)
    of_left = left_clause(said) if forecast.scenario.goal_mrr is None else []
    keys = of_left[:1] or [key for key in goal_clause(said) if key != "goal_end"]
    values = said.values | {
        "last": labels[-1],
        "calendar": labels[said.months.get("month", 0)],
        "lost": labels[said.months.get("lost_month", 0)],
        "left": labels[said.months.get("left_month", 0)],
        "back": labels[said.months.get("back_month", 0)],
        "ceiling": ceiling_text(forecast, locale),
    }
    if of_left:
        keys += [key for key in of_left if key == "left_levels_off_short"]
    elif values["ceiling"]:
        keys.append("ceiling_above" if settling(forecast) == "above" else "ceiling_below")
    return [piece for key in keys for piece in filled(words[key], values)]
