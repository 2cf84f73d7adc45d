"""What the pictures show of a forecast: lines, bands, levels, labels, and where the flows meet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from growth.calculator.certainty import rests_on
from growth.calculator.language import LOCALE, messages, said
from growth.calculator.number_words import between_amounts, money, month_labels
from growth.calculator.outcome import LEVEL_KNOWN, ceiling_text, mrr_of, settling, yearly
from growth.calculator.plot import Beside, Noted, amounts_up_to, in_rows, widest
from growth.calculator.what_ifs import compared
from growth.engine import Forecast
from growth.measures import goal_month, growth_ceiling, left_month, money_left
from growth.uncertainty.band import FLOWS, named_series, spreads_of

NAME = 16  # characters in a row of a name beside a line
MET = 0.02  # lines this near each other have met, as a share of what comes in
FAR = 1.6  # a level or a band beyond so many times the highest amount is not drawn to its end
FLOW_FAR = 2.5  # the same of what comes in and is lost, where chance is larger beside the lines


Series = list[float]


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as it is drawn: areas, then rules across it, lines, points of note, and labels at its right.

    least, most: the amounts at its lower and its upper edge. first: the month in which its lines begin. Of an area
    the low and the high edge, of a rule its amount, of a line its amounts, and of each its look.
    """

    least: float
    most: float
    first: int
    areas: list[tuple[Series, Series, str]]
    rules: list[tuple[float, str]]
    lines: list[tuple[Series, str]]
    noted: list[Noted]
    labels: list[Beside]


@dataclass(frozen=True, slots=True)
class Course:
    """A line of MRR from month 0 on, its name, and its bands (low, high): of nine in ten, then of one in two."""

    look: str
    name: str
    mrr: Series
    bands: tuple[tuple[Series, Series], ...] = ()


@dataclass(frozen=True, slots=True)
class LeftOver:
    """What is left in months 1..T, as earned too where that differs, what should be, and from which month it is."""

    net: Series
    earned: Series | None
    goal: float
    month: int | None


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
            Course(f"growth-other growth-other-{i}", name, mrr_of(one).tolist())
            for i, (name, one) in enumerate((what_ifs or {}).items())
        ]
        spread, *flow_spreads = spreads_of(scenario, "closing_mrr", *FLOWS)
        opening = float(forecast.opening_mrr[0])
        bands = tuple(
            ([opening, *low.tolist()], [opening, *high.tolist()])
            for low, high in map(spread.band, (0.9, 0.5) if spread.varies else ())
        )
        self.courses = [*others, Course("growth-now-line", unchanged, mrr_of(forecast).tolist(), bands)]
        varies = any(one.varies for one in flow_spreads)
        flow_bands = (one.band(0.9) for one in flow_spreads if varies)
        self.flow_bands = [(low.tolist(), high.tolist()) for low, high in flow_bands]  # of single months
        self.meeting, self.meets_in = meeting(self.came, self.lost, self.way)
        self.left = left_over(forecast)
        self.overtaken = compared({unchanged: forecast, **(what_ifs or {})}, locale)[1] if what_ifs else None
        self.pictures = {"mrr": _mrr(self), "flows": _flows(self)}
        if self.left:
            self.pictures["left"] = _left(self, self.left)

    @property
    def band_ends(self) -> tuple[tuple[float, float], tuple[str, str]] | None:
        """The ends of the band of nine in ten in the last month, as amounts and in words."""
        bands = self.courses[-1].bands
        if not bands:
            return None
        low, high = (end[-1] for end in bands[0])
        return (low, high), between_amounts(low, high, self.currency, self.locale)

    def sides(self, em: float) -> tuple[float, float]:
        """The room at both sides of all pictures: their months stand below each other."""
        drawn = self.pictures.values()
        amounts = (said for one in drawn for _, said in amounts_up_to(one.most, self.money, one.least))
        return widest(amounts, em), widest((row for one in drawn for label in one.labels for row in label.rows), em)

    def at_end(self, amount: float, *named: str) -> list[str]:
        """The rows of a label beside the end of a line: its last amount, and the month."""
        return [self.money(amount), said(self.words["end"], calendar=self.labels[self.months]), *named]


def _mrr(view: View) -> Picture:
    """MRR by month, beside that of what-ifs, with its bands, the goal and the ceiling: of a level far beyond the lines
    the label alone, at the top."""
    words, (*others, now) = view.words, view.courses
    highest = max(1.0, *(amount for course in view.courses for amount in course.mrr))
    named = [("growth-goal", view.goal, words["goal"], view.money(view.goal or 0))]
    named += [("growth-ceiling", view.ceiling, words["ceiling" if view.way == "above" else "floor"], view.ceiling_text)]
    rules = []
    labels = [Beside(one.mrr[-1], [view.money(one.mrr[-1]), *in_rows(one.name, NAME)], one.look) for one in others]
    labels.append(
        Beside(now.mrr[-1], view.at_end(now.mrr[-1], *(in_rows(now.name, NAME) if now.name else [])), now.look)
    )
    if view.band_ends:
        for name, end, amount in zip(("from", "to"), *view.band_ends, strict=True):
            labels.append(Beside(end, [said(words[name], amount=amount)], "growth-band-end"))
    for look, level, name, amount in named:
        if level and level > 0:
            far = level > FAR * highest
            labels.append(Beside(level, [f"\N{UPWARDS ARROW} {amount}" if far else amount, *in_rows(name, NAME)], look))
            rules += [] if far else [(level, f"growth-level {look}")]
    widest_band = max((max(high) for _, high in now.bands), default=0.0)
    looks = ("growth-band growth-most", "growth-band growth-half")
    return Picture(
        least=0.0,
        most=max(highest, min(widest_band, FAR * highest), *(level for level, _ in rules)) * 1.04,
        first=0,
        areas=[(low, high, look) for (low, high), look in zip(now.bands, looks, strict=False)],
        rules=rules,
        lines=[(course.mrr, f"growth-course {course.look}") for course in view.courses],
        noted=_noted(view),
        labels=labels,
    )


def _noted(view: View) -> list[Noted]:
    """Where lines reach the goal, and where the what-if that ends highest overtakes the next."""
    found = []
    *others, now = view.courses
    if view.goal is not None:
        for course in others:
            month = next((month for month, mrr in enumerate(course.mrr) if mrr >= view.goal), 0)
            if month > 0 and month != view.goal_month:
                found.append(Noted(month, view.goal, "", course.look))
        if view.goal_month:
            month = view.goal_month
            found.append(Noted(month, now.mrr[month], view.labels[month], "growth-goal"))
    if view.overtaken:
        month, amount = view.overtaken
        found.append(Noted(month, amount, view.labels[month], "growth-overtakes"))
    return found


def _flows(view: View) -> Picture:
    """What comes in and what is lost each month, with the bands of both, or else what lies between them."""
    came, lost, month = view.came, view.lost, view.meets_in
    lower = [min(pair) for pair in zip(came, lost, strict=True)]
    areas = [(lower, came, "growth-between growth-gain"), (lower, lost, "growth-between growth-loss")]
    if view.flow_bands:
        looks = ("growth-band growth-gain", "growth-band growth-loss")
        areas = [(low, high, look) for (low, high), look in zip(view.flow_bands, looks, strict=True)]
    highest = max(*came, *lost, 1)
    widest_band = max((max(high) for _, high in view.flow_bands), default=0.0)
    return Picture(
        least=0.0,
        most=max(highest, min(widest_band, FLOW_FAR * highest)) * 1.06,
        first=1,
        areas=areas,
        rules=[],
        lines=[(lost, "growth-course growth-loss"), (came, "growth-course growth-gain")],
        noted=[Noted(month, came[month - 1], view.labels[month], "growth-meets")] if month else [],
        labels=[
            Beside(came[-1], [view.money(came[-1]), view.words["comes_in"]], "growth-gain"),
            Beside(lost[-1], [view.money(lost[-1]), view.words["is_lost"]], "growth-loss"),
        ],
    )


def _left(view: View, left: LeftOver) -> Picture:
    """What is left each month, beside what should be."""
    net, goal, month = left.net, left.goal, left.month
    lines, labels = [(net, "growth-course growth-now-line")], [Beside(net[-1], view.at_end(net[-1]), "growth-now-line")]
    if left.earned:
        lines.insert(0, (left.earned, "growth-course growth-other-base"))
        earned = [view.money(left.earned[-1]), view.words["as_earned"]]
        labels.append(Beside(left.earned[-1], earned, "growth-other-base"))
    labels.append(Beside(goal, [view.money(goal), view.words["goal"]], "growth-goal"))
    amounts = [*net, *(left.earned or ()), goal, 1.0]
    least, most = min(0.0, *amounts), max(amounts)
    room = 0.04 * (most - least)
    return Picture(
        least=least - (room if least < 0 else 0.0),
        most=most + room,
        first=1,
        areas=[],
        rules=[(goal, "growth-level growth-goal")],
        lines=lines,
        noted=[Noted(month, net[month - 1], view.labels[month], "growth-goal")] if month else [],
        labels=labels,
    )


def left_over(forecast: Forecast) -> LeftOver | None:
    """What the picture of what is left shows; None without a goal for it."""
    goal = forecast.scenario.goal_left
    if goal is None:
        return None
    month = left_month(forecast).value
    earned = money_left(forecast, as_earned=True).tolist() if yearly(forecast.scenario) else None
    return LeftOver(money_left(forecast).tolist(), earned, float(goal), None if month is None else int(month))


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
