"""What the two pictures show of a forecast: lines, bands, levels, labels, and where the flows meet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from growth.calculator.certainty import rests_on
from growth.calculator.language import LOCALE, messages, said
from growth.calculator.number_words import between_amounts, money, month_labels
from growth.calculator.outcome import LEVEL_KNOWN, ceiling_text, settling, yearly
from growth.calculator.plot import Beside, amounts_up_to, in_rows, widest
from growth.calculator.what_ifs import compared
from growth.engine import Forecast
from growth.measures import goal_month, growth_ceiling, left_month, money_left
from growth.uncertainty import Spread
from growth.uncertainty.band import FLOWS, named_series, spreads_of

NAME = 16  # characters in a row of a name beside a line
MET = 0.02  # lines this near each other have met, as a share of what comes in
FAR = 1.6  # a level or a band beyond so many times the highest amount is not drawn to its end
FLOW_FAR = 2.5  # the same of what comes in and is lost, where chance is larger beside the lines


@dataclass(frozen=True, slots=True)
class Course:
    """A line of MRR from month 0 on, its name, and its bands (low, high): of nine in ten, then of one in two."""

    look: str
    name: str
    mrr: list[float]
    bands: tuple[tuple[list[float], list[float]], ...] = ()


@dataclass(frozen=True, slots=True)
class Rule:
    """The goal or the ceiling."""

    look: str
    level: float
    name: str
    amount: str
    far: bool


@dataclass(frozen=True, slots=True)
class LeftOver:
    """What is left in months 1..T, as earned too where that differs, what should be, and from which month it is."""

    net: list[float]
    earned: list[float] | None
    goal: float
    month: int | None

    @property
    def span(self) -> tuple[float, float]:
        """The amounts at the lower and the upper edge of its picture."""
        amounts = [*self.net, *(self.earned or ()), self.goal, 1.0]
        least, most = min(0.0, *amounts), max(amounts)
        room = 0.04 * (most - least)
        return least - (room if least < 0 else 0.0), most + room


class View:
    """What the pictures of a forecast show; `what_ifs` are drawn beside it, by their names."""

    def __init__(
        self, forecast: Forecast, locale: str = LOCALE, what_ifs: Mapping[str, Forecast] | None = None
    ) -> None:
        scenario = forecast.scenario
        self.words: dict[str, Any] = messages(locale)["pictures"]
        self.rests_on = rests_on(forecast, locale)
        self.months, self.currency, self.locale = forecast.months, scenario.currency, locale
        self.labels = month_labels(scenario.first_month, forecast.months, locale)
        self.money = partial(money, currency=scenario.currency, locale=locale)
        # single numbers: a scenario that is drawn has no draws
        month, ceiling = goal_month(forecast).value, growth_ceiling(forecast).value
        self.goal = None if scenario.goal_mrr is None else float(scenario.goal_mrr)
        self.goal_month = None if month is None else int(month)
        self.ceiling = None if ceiling is None else float(ceiling)
        self.way = settling(forecast)
        self.ceiling_text = ceiling_text(forecast, locale)
        self.came, self.lost = flows(forecast)
        unchanged = messages(locale)["calculator"]["unchanged"] if what_ifs else ""
        others = [
            Course(f"growth-other growth-other-{i}", name, mrr_of(one))
            for i, (name, one) in enumerate((what_ifs or {}).items())
        ]
        spread, *flow_spreads = spreads_of(scenario, "closing_mrr", *FLOWS)
        bands = bands_of(spread, float(forecast.opening_mrr[0]))
        self.courses = [*others, Course("growth-now-line", unchanged, mrr_of(forecast), bands)]
        self.flow_bands = flow_bands_of(flow_spreads)
        self.meeting, self.meets_in = meeting(self.came, self.lost, self.way)
        self.left = left_over(forecast)
        self.overtaken = compared({unchanged: forecast, **(what_ifs or {})}, locale)[1] if what_ifs else None

    @property
    def highest(self) -> float:
        """The highest amount of any line."""
        return max(1.0, *(amount for course in self.courses for amount in course.mrr))

    @property
    def levels(self) -> list[Rule]:
        """The goal and the ceiling, where there are any."""
        words, far = self.words, FAR * self.highest
        name = words["ceiling" if self.way == "above" else "floor"]
        goals = ("growth-goal", self.goal or 0, words["goal"], self.money(self.goal or 0))
        ceilings = ("growth-ceiling", self.ceiling or 0, name, self.ceiling_text)
        return [Rule(*one, one[1] > far) for one in (goals, ceilings) if one[1] > 0]

    @property
    def most_mrr(self) -> float:
        """The amount at the upper edge of the first picture."""
        widest = max((max(high) for course in self.courses for _, high in course.bands), default=0.0)
        levels = (one.level for one in self.levels if not one.far)
        return max(self.highest, min(widest, FAR * self.highest), *levels) * 1.04

    @property
    def band_ends(self) -> tuple[tuple[float, float], tuple[str, str]] | None:
        """The ends of the band of nine in ten in the last month, as amounts and in words."""
        bands = self.courses[-1].bands
        if not bands:
            return None
        low, high = (end[-1] for end in bands[0])
        return (low, high), between_amounts(low, high, self.currency, self.locale)

    @property
    def most_flow(self) -> float:
        """The amount at the upper edge of the second picture."""
        highest = max(*self.came, *self.lost, 1)
        widest = max((max(high) for _, high in self.flow_bands), default=0.0)
        return max(highest, min(widest, FLOW_FAR * highest)) * 1.06

    def mrr_labels(self) -> list[Beside]:
        """The labels beside the ends of the lines, the band and the levels; of a level beyond the plot at its top."""
        labels = []
        for course in self.courses:
            now = [said(self.words["end"], calendar=self.labels[self.months])] if course is self.courses[-1] else []
            rows = [self.money(course.mrr[-1]), *now, *(in_rows(course.name, NAME) if course.name else [])]
            labels.append(Beside(course.mrr[-1], rows, course.look))
        if self.band_ends:
            for name, end, amount in zip(("from", "to"), *self.band_ends, strict=True):
                labels.append(Beside(end, [said(self.words[name], amount=amount)], "growth-band-end"))
        for one in self.levels:
            amount = f"\N{UPWARDS ARROW} {one.amount}" if one.far else one.amount
            labels.append(Beside(one.level, [amount, *in_rows(one.name, NAME)], one.look))
        return labels

    def flow_labels(self) -> list[Beside]:
        """The labels of the second picture."""
        return [
            Beside(self.came[-1], [self.money(self.came[-1]), self.words["comes_in"]], "growth-gain"),
            Beside(self.lost[-1], [self.money(self.lost[-1]), self.words["is_lost"]], "growth-loss"),
        ]

    def left_labels(self) -> list[Beside]:
        """The labels of the third picture; none without a goal for what is left."""
        left = self.left
        if left is None:
            return []
        now = [self.money(left.net[-1]), said(self.words["end"], calendar=self.labels[self.months])]
        labels = [Beside(left.net[-1], now, "growth-now-line")]
        if left.earned:
            earned = [self.money(left.earned[-1]), self.words["as_earned"]]
            labels.append(Beside(left.earned[-1], earned, "growth-other-base"))
        return [*labels, Beside(left.goal, [self.money(left.goal), self.words["goal"]], "growth-goal")]

    def sides(self, em: float) -> tuple[float, float]:
        """The room at both sides of all pictures: their months stand below each other."""
        amounts = [said for most in (self.most_mrr, self.most_flow) for _, said in amounts_up_to(most, self.money)]
        if self.left:
            least, most = self.left.span
            amounts += [said for _, said in amounts_up_to(most, self.money, least)]
        labels = (*self.mrr_labels(), *self.flow_labels(), *self.left_labels())
        rows = [row for label in labels for row in label.rows]
        return widest(amounts, em), widest(rows, em)


def mrr_of(forecast: Forecast) -> list[float]:
    """MRR from month 0 on."""
    return [float(forecast.opening_mrr[0]), *map(float, forecast.closing_mrr)]


def left_over(forecast: Forecast) -> LeftOver | None:
    """What the picture of what is left shows; None without a goal for it."""
    goal = forecast.scenario.goal_left
    if goal is None:
        return None
    month = left_month(forecast).value
    earned = money_left(forecast, as_earned=True).tolist() if yearly(forecast.scenario) else None
    return LeftOver(money_left(forecast).tolist(), earned, float(goal), None if month is None else int(month))


def bands_of(spread: Spread, opening: float) -> tuple[tuple[list[float], list[float]], ...]:
    """The bands of nine in ten and of one in two around MRR, from month 0 on; none where nothing varies."""
    if not spread.varies:
        return ()
    return tuple(
        ([opening, *map(float, low)], [opening, *map(float, high)]) for low, high in map(spread.band, (0.9, 0.5))
    )


def flow_bands_of(spreads: Sequence[Spread]) -> list[tuple[list[float], list[float]]]:
    """The bands of nine in ten around what comes in and what is lost, of single months; none where nothing varies."""
    if not any(spread.varies for spread in spreads):
        return []
    return [(low.tolist(), high.tolist()) for low, high in (spread.band(0.9) for spread in spreads)]


def flows(forecast: Forecast) -> tuple[list[float], list[float]]:
    """What came in and what was lost, by month."""
    came, lost = (named_series(forecast, name).tolist() for name in FLOWS)
    return came, lost


def meeting(came: Sequence[float], lost: Sequence[float], way: str) -> tuple[str, int | None]:
    """Where what is lost meets what comes in: how, as a key of the messages, and the month where there is one.

    way: how the forecast's end stands to the ceiling (`words.settling`).

    >>> meeting([10, 10, 10], [5, 9, 12], "later")
    ('crosses', 3)
    >>> meeting([10, 10, 10], [5, 6, 7], "above")
    ('beyond', None)
    """
    gains, losses = np.asarray(came, float), np.asarray(lost, float)
    if not (gains.any() or losses.any()):
        return "none", None
    apart = np.flatnonzero(np.abs(gains - losses) > MET * gains)
    met = int(apart[-1]) + 2 if apart.size else 1
    if met < gains.size:
        return "met", met
    ahead = gains > losses
    turns = np.flatnonzero(ahead[1:] != ahead[:-1]) + 1
    if turns.size > 1:
        return ("often_near" if way in LEVEL_KNOWN else "often"), None
    if turns.size == 1:
        return ("crosses" if ahead[0] else "crosses_up"), int(turns[0]) + 1
    kinds = {"growing": "never", "above": "beyond"} if ahead[0] else {"below": "below"}
    return kinds.get(way, "none"), None
