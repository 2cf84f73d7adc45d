"""How sure the answer is: by when the goal is reached in how many cases, and how wide the forecast and its ceiling are.

Cases are whole ones of ten or twenty, and amounts carry no more digits than their width allows. The page says the same
(`how_sure.js`).
"""

from __future__ import annotations

import math

import numpy as np

from growth.calculator.language import LOCALE, Piece, messages
from growth.calculator.number_words import between_amounts, roughly
from growth.calculator.outcome import mrr_of, nothing, settling
from growth.calculator.words import Said, answer
from growth.engine import Forecast
from growth.engine.draws import YEAR
from growth.measures import growth_ceiling
from growth.measures.measure import SAME
from growth.uncertainty import Spread, spread_of
from growth.uncertainty.band import ceiling_band
from growth.uncertainty.sample import ranges_of

RARE = 0.05  # one chance in twenty
THOUSANDFOLD = 1000  # growth that nobody should believe


def how_sure(forecast: Forecast, locale: str = LOCALE) -> str:
    """How sure the answer is, in sentences.

    Parameters
    ----------
    forecast : Forecast
        Of one scenario, without draws.
    locale : str
        For words, numbers and money.

    Returns
    -------
    str
        "" where there is nothing to forecast or nothing varies.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160}, goal_mrr=1500,
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> how_sure(growth.forecast(scenario))
    'In fewer than 1 of 20 cases you reach €1,500 within 36 months.'
    """
    return "".join(text for text, _ in how_sure_parts(forecast, locale))


def whole_answer(forecast: Forecast, locale: str = LOCALE) -> str:
    """The answer, and how sure it is.

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
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160}, goal_mrr=1500,
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> whole_answer(growth.forecast(scenario)).split(". ")[-1]
    'In fewer than 1 of 20 cases you reach €1,500 within 36 months.'
    """
    return f"{answer(forecast, locale)} {how_sure(forecast, locale)}".strip()


def closing_between(forecast: Forecast, locale: str = LOCALE) -> str:
    """Between which amounts MRR ends in nine of ten cases, in a sentence; "" where nothing varies.

    >>> import growth
    >>> plans = [{"name": "Studio", "monthly_price": 29}]
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160}, pay={"plans": plans})
    >>> closing_between(growth.forecast(scenario))
    'In 9 of 10 cases MRR is between €160 and €410 in Dec 2029.'
    """
    spread = spread_of(forecast.scenario)
    if not spread.varies or nothing(forecast, growth_ceiling(forecast)):
        return ""
    said = Said(forecast, locale, "how_sure")
    return "".join(text for text, _ in said.pieces(_closing(said, spread))).strip()


def rests_on(forecast: Forecast, locale: str = LOCALE) -> str:
    """What the bands and `how_sure` rest on: ranges and chance, or chance alone."""
    words: dict[str, str] = messages(locale)["how_sure"]
    return words["rests_on_ranges" if ranges_of(forecast.scenario) else "rests_on_chance"]


def beyond_belief(mrr: np.ndarray) -> bool:
    """Whether MRR comes to more than a thousand times its opening and its first year's end; mrr: months 0 to T.

    >>> beyond_belief(np.array([10.0, 20_000.0])), beyond_belief(np.array([0.0] * 12 + [29.0, 30_000.0]))
    (False, True)
    """
    usual = max(mrr[0], mrr[min(YEAR, mrr.size - 1)])
    return bool(0 < usual * THOUSANDFOLD < mrr.max())


def how_sure_parts(forecast: Forecast, locale: str = LOCALE) -> list[Piece]:
    """The sentences of `how_sure` as pieces (text, whether it is a computed number)."""
    scenario = forecast.scenario
    if nothing(forecast, growth_ceiling(forecast)):
        return []
    spread, goal = spread_of(scenario), scenario.goal_mrr
    said = Said(forecast, locale, "how_sure")
    keys = ["beyond_belief"] if beyond_belief(mrr_of(forecast)) else []
    if spread.varies:
        keys += _closing(said, spread) if goal is None else _goal(said, spread, float(goal))
        keys += _level(said)
    return said.pieces(keys)


def _goal(said: Said, spread: Spread, goal: float) -> list[str]:
    """By when it is reached in how many cases; where it is reached already, in how many it still is at the end."""
    said.values["goal"] = said.money(goal)
    if mrr_of(said.forecast)[0] >= goal * (1 - SAME):
        share = float(spread.above(goal)[-1])
        said.values["cases"] = said.number(_of_ten(share))
        return ["kept_hardly" if share < RARE else "kept_surely" if share > 1 - RARE else "kept"]
    reach = spread.reach(goal)
    for name, share in (("early", RARE), ("middle", 0.5), ("late", 1 - RARE)):
        month = int(np.argmax(reach >= share)) if reach[-1] >= share else -1
        said.values[name] = said.labels[month + 1]
    if reach[-1] < RARE:
        return ["hardly"]
    said.values["cases"] = said.number(_of_ten(float(reach[-1] if reach[-1] < 0.5 else 1 - reach[-1])))
    if reach[-1] < 0.5:
        return ["seldom"]
    if reach[-1] < 1 - RARE:
        early = ["open_early"] if said.values["early"] != said.values["middle"] else []
        return ["open", *early, "open_end"]
    return ["at_once" if said.values["early"] == said.values["late"] else "reached"]


def _closing(said: Said, spread: Spread) -> list[str]:
    """How wide the end of the forecast is."""
    low, high = spread.band(0.9)
    said.values |= zip(("low", "high"), _between(said, float(low[-1]), float(high[-1])), strict=True)
    return ["closing"]


def _level(said: Said) -> list[str]:
    """How wide the ceiling is, from the ranges alone."""
    ends = ceiling_band(said.forecast.scenario)
    if ends is None:
        return []
    if np.isinf(ends[1]):
        said.values["level_low"] = roughly(ends[0], said.forecast.scenario.currency, said.locale)
        return ["level_open"]
    said.values |= zip(("level_low", "level_high"), _between(said, *ends), strict=True)
    return ["level" if settling(said.forecast) == "above" else "level_else"]


def _between(said: Said, low: float, high: float) -> tuple[str, str]:
    return between_amounts(low, high, said.forecast.scenario.currency, said.locale)


def _of_ten(share: float) -> int:
    """In how many of ten cases, neither none nor all."""
    return min(max(math.floor(10 * share + 0.5), 1), 9)
