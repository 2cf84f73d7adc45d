"""How sure the answer is: by when the goal is reached in how many cases, and how wide the forecast and its ceiling are.

Cases are whole ones of ten or twenty, and amounts carry no more digits than their width allows. The page says the same
(`how_sure.js`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from growth.calculator.language import LOCALE, messages
from growth.calculator.number_words import between_amounts, money, month_count, month_labels, number, roughly
from growth.calculator.outcome import mrr_of, settling
from growth.calculator.words import Piece, answer, filled, nothing
from growth.engine import Forecast
from growth.engine.draws import YEAR
from growth.measures import growth_ceiling
from growth.measures.measure import SAME
from growth.uncertainty import Spread, ceiling_band, ranges_of, spread_of

RARE = 0.05  # one chance in twenty
THOUSANDFOLD = 1000  # growth that nobody should believe


def how_sure(forecast: Forecast, locale: str = LOCALE) -> str:
    """How sure the answer is, in sentences; "" where there is nothing to forecast or nothing varies.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160}, goal_mrr=1500,
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> how_sure(growth.forecast(scenario))
    'In fewer than 1 of 20 cases you reach €1,500 within 36 months.'
    """
    return "".join(text for text, _ in how_sure_parts(forecast, locale))


def whole_answer(forecast: Forecast, locale: str = LOCALE) -> str:
    """The answer, and how sure it is."""
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
    facts = _Facts(spread, forecast, locale)
    words = messages(locale)["how_sure"]
    return "".join(text for key in facts.closing() for text, _ in filled(words[key], facts.values)).strip()


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
    facts = _Facts(spread, forecast, locale)
    keys = ["beyond_belief"] if beyond_belief(mrr_of(forecast)) else []
    if spread.varies:
        keys += [*(facts.closing() if goal is None else facts.goal(float(goal))), *facts.level()]
    words = messages(locale)["how_sure"]
    return [piece for key in keys for piece in filled(words[key], facts.values)]


@dataclass(slots=True, eq=False)
class _Facts:
    """What is said, clause by clause: each gives the keys of its templates and fills `values`."""

    spread: Spread
    forecast: Forecast
    locale: str
    values: dict[str, str] = field(default_factory=dict)
    labels: list[str] = field(init=False)

    def __post_init__(self) -> None:
        scenario, months = self.forecast.scenario, self.forecast.months
        self.labels = month_labels(scenario.first_month, months, self.locale)
        self.values = {"months": month_count(months, self.locale), "last": self.labels[months]}

    def goal(self, goal: float) -> list[str]:
        """By when it is reached in how many cases; where it is reached already, in how many it still is at the end."""
        self.values["goal"] = money(goal, self.forecast.scenario.currency, self.locale)
        if mrr_of(self.forecast)[0] >= goal * (1 - SAME):
            share = float(self.spread.above(goal)[-1])
            self.values["cases"] = self._cases(share)
            return ["kept_hardly" if share < RARE else "kept_surely" if share > 1 - RARE else "kept"]
        reach = self.spread.reach(goal)
        for name, share in (("early", RARE), ("middle", 0.5), ("late", 1 - RARE)):
            month = int(np.argmax(reach >= share)) if reach[-1] >= share else -1
            self.values[name] = self.labels[month + 1]
        if reach[-1] < RARE:
            return ["hardly"]
        self.values["cases"] = self._cases(float(reach[-1] if reach[-1] < 0.5 else 1 - reach[-1]))
        if reach[-1] < 0.5:
            return ["seldom"]
        if reach[-1] < 1 - RARE:
            early = ["open_early"] if self.values["early"] != self.values["middle"] else []
            return ["open", *early, "open_end"]
        return ["at_once" if self.values["early"] == self.values["late"] else "reached"]

    def closing(self) -> list[str]:
        """How wide the end of the forecast is."""
        low, high = self.spread.band(0.9)
        self._between(float(low[-1]), float(high[-1]))
        return ["closing"]

    def level(self) -> list[str]:
        """How wide the ceiling is, from the ranges alone."""
        ends = ceiling_band(self.forecast.scenario)
        if ends is None:
            return []
        if np.isinf(ends[1]):
            self.values["level_low"] = roughly(ends[0], self.forecast.scenario.currency, self.locale)
            return ["level_open"]
        self._between(*ends, names=("level_low", "level_high"))
        return ["level" if settling(self.forecast) == "above" else "level_else"]

    def _between(self, low: float, high: float, names: tuple[str, str] = ("low", "high")) -> None:
        self.values |= zip(names, between_amounts(low, high, self.forecast.scenario.currency, self.locale), strict=True)

    def _cases(self, share: float) -> str:
        """How many of ten."""
        return number(min(max(math.floor(10 * share + 0.5), 1), 9), self.locale)
