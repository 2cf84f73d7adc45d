"""The two pictures as they stand in the page before any script runs, and what they say: MRR by month, and what comes in
and is lost each month until the two meet.

`chart.js` draws the same as the numbers change; a test holds the two together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from html import escape
from typing import Any

import numpy as np

from growth.calculator.compared import compared
from growth.calculator.language import LOCALE, messages, said
from growth.calculator.plot import (
    Beside,
    Noted,
    amounts_up_to,
    axes,
    between,
    in_rows,
    labels_beside,
    line,
    marks,
    plot,
    straight,
    widest,
)
from growth.calculator.words import ceiling_text, money, month_labels, settling
from growth.engine import Forecast
from growth.measures import goal_month, growth_ceiling

NAME = 16  # characters in a row of a name beside a line
MET = 0.02  # lines this near each other have met, as a share of what comes in
FAR = 1.6  # a level beyond so many times the highest amount is told, not drawn
SIZE = {"width": 460.0, "em": 12.5}  # between a phone's width and a column's: the picture scales with its place


@dataclass(frozen=True, slots=True)
class Course:
    """A line of MRR from month 0 on, and its name."""

    look: str
    name: str
    mrr: list[float]


@dataclass(frozen=True, slots=True)
class Level:
    """The goal or the ceiling."""

    look: str
    level: float
    name: str
    amount: str
    far: bool


class View:
    """What the pictures of a forecast show; `what_ifs` are drawn beside it, by their names."""

    def __init__(
        self, forecast: Forecast, locale: str = LOCALE, what_ifs: Mapping[str, Forecast] | None = None
    ) -> None:
        scenario = forecast.scenario
        self.words: dict[str, Any] = messages(locale)["pictures"]
        self.months = forecast.months
        self.labels = month_labels(scenario.first_month, forecast.months, locale)
        self.money = partial(money, currency=scenario.currency, locale=locale)
        self.goal, self.goal_month = scenario.goal_mrr, goal_month(forecast).value
        self.ceiling = growth_ceiling(forecast).value
        self.way = settling(forecast)
        self.ceiling_text = ceiling_text(forecast, locale)
        self.came, self.lost = flows(forecast)
        unchanged = messages(locale)["calculator"]["unchanged"] if what_ifs else ""
        others = [
            Course(f"growth-other growth-other-{i}", name, mrr_of(one))
            for i, (name, one) in enumerate((what_ifs or {}).items())
        ]
        self.courses = [*others, Course("growth-now-line", unchanged, mrr_of(forecast))]
        self.meeting, self.meets_in = meeting(self.came, self.lost, self.way)
        self.overtaken = compared({unchanged: forecast, **(what_ifs or {})}, locale)[1] if what_ifs else None

    @property
    def highest(self) -> float:
        """The highest amount of any line."""
        return max(1.0, *(amount for course in self.courses for amount in course.mrr))

    @property
    def levels(self) -> list[Level]:
        """The goal and the ceiling, where there are any."""
        words, far = self.words, FAR * self.highest
        name = words["ceiling" if self.way == "above" else "floor"]
        goals = ("growth-goal", self.goal or 0, words["goal"], self.money(self.goal or 0))
        ceilings = ("growth-ceiling", self.ceiling or 0, name, self.ceiling_text)
        return [Level(*one, far=one[1] > far) for one in (goals, ceilings) if one[1] > 0]

    @property
    def most_mrr(self) -> float:
        """The amount at the upper edge of the first picture."""
        return max(self.highest, *(one.level for one in self.levels if not one.far), 0) * 1.04

    @property
    def most_flow(self) -> float:
        """The amount at the upper edge of the second picture."""
        return max(*self.came, *self.lost, 1) * 1.06

    def mrr_labels(self) -> list[Beside]:
        """The labels beside the ends of the lines and of the levels; of a level beyond the plot at its top."""
        labels = []
        for course in self.courses:
            now = [said(self.words["end"], calendar=self.labels[self.months])] if course is self.courses[-1] else []
            rows = [self.money(course.mrr[-1]), *now, *(in_rows(course.name, NAME) if course.name else [])]
            labels.append(Beside(course.mrr[-1], rows, course.look))
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

    def sides(self, em: float) -> tuple[float, float]:
        """The room at both sides of both pictures: their months stand below each other."""
        amounts = [said for most in (self.most_mrr, self.most_flow) for _, said in amounts_up_to(most, self.money)]
        rows = [row for label in (*self.mrr_labels(), *self.flow_labels()) for row in label.rows]
        return widest(amounts, em), widest(rows, em)


def mrr_of(forecast: Forecast) -> list[float]:
    """MRR from month 0 on."""
    return [float(forecast.opening_mrr[0]), *map(float, forecast.closing_mrr)]


def flows(forecast: Forecast) -> tuple[list[float], list[float]]:
    """What came in and what was lost, by month."""
    came = forecast.new_mrr + forecast.reactivation_mrr + forecast.expansion_mrr
    return came.tolist(), (forecast.churned_mrr + forecast.contraction_mrr).tolist()


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
        return ("often_near" if way in ("above", "below", "same", "later") else "often"), None
    if turns.size == 1:
        return ("crosses" if ahead[0] else "crosses_up"), int(turns[0]) + 1
    kinds = {"growing": "never", "above": "beyond"} if ahead[0] else {"below": "below"}
    return kinds.get(way, "none"), None


def mrr_svg(view: View, height: float = 270.0) -> str:
    """MRR by month, as SVG."""
    em, width = SIZE["em"], SIZE["width"]
    frame = plot(width=width, height=height, em=em, sides=view.sides(em), to=view.months, most=view.most_mrr,
                 money=view.money)  # fmt: skip
    near = [one for one in view.levels if not one.far]
    parts = [axes(frame, view.labels)]
    parts += [
        straight(frame.left, frame.y(one.level), frame.right, frame.y(one.level), f"growth-level {one.look}")
        for one in near
    ]
    parts += [line(frame, course.mrr, 0, f"growth-course {course.look}") for course in view.courses]
    parts += [marks(frame, _noted(view)), labels_beside(frame, view.mrr_labels())]
    return _svg("growth-mrr", parts, width, height, told(view)["mrr"])


def flows_svg(view: View, height: float = 210.0) -> str:
    """What comes in and what is lost each month, as SVG."""
    em, width = SIZE["em"], SIZE["width"]
    frame = plot(width=width, height=height, em=em, sides=view.sides(em), to=view.months, most=view.most_flow,
                 money=view.money)  # fmt: skip
    came, lost = view.came, view.lost
    lower = [min(pair) for pair in zip(came, lost, strict=True)]
    month = view.meets_in
    met = [Noted(month, came[month - 1], view.labels[month], "growth-meets")] if month else []
    parts = [
        axes(frame, view.labels),
        between(frame, came, lower, 1, "growth-between growth-gain"),
        between(frame, lost, lower, 1, "growth-between growth-loss"),
        line(frame, lost, 1, "growth-course growth-loss"),
        line(frame, came, 1, "growth-course growth-gain"),
        marks(frame, met),
        labels_beside(frame, view.flow_labels()),
    ]
    return _svg("growth-flows", parts, width, height, told(view)["flows"])


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
            month = int(view.goal_month)
            found.append(Noted(month, now.mrr[month], view.labels[month], "growth-goal"))
    if view.overtaken:
        month, amount = view.overtaken
        found.append(Noted(month, amount, view.labels[month], "growth-overtakes"))
    return found


def told(view: View) -> dict[str, str]:
    """What each picture says, for those who do not see it (mrr, flows), and the sentence below the second (meets)."""
    words, labels, amounts = view.words, view.labels, view.money
    *others, now = view.courses
    values = {
        "start": amounts(now.mrr[0]), "first": labels[0], "end": amounts(now.mrr[-1]), "last": labels[view.months],
        "goal": amounts(view.goal or 0), "calendar": labels[int(view.goal_month or 0)],
        "ceiling": view.ceiling_text,
    }  # fmt: skip
    reached = "_never" if view.goal_month is None else "" if view.goal_month else "_today"
    sentences = [said(words["alt_mrr"], **values)]
    sentences += [said(words[f"alt_goal{reached}"], **values)] if view.goal is not None else []
    sentences += [said(words["alt_other"], name=one.name, end=amounts(one.mrr[-1])) for one in others]
    meets = said(words["meets"][view.meeting], **values | {"calendar": labels[view.meets_in or 0]})
    ends = {
        "came_first": view.came[0],
        "came_last": view.came[-1],
        "lost_first": view.lost[0],
        "lost_last": view.lost[-1],
    }
    spoken = {name: amounts(amount) for name, amount in ends.items()}
    both = said(words["alt_flows"], **spoken, first=labels[1], last=labels[view.months])
    return {"mrr": " ".join(sentences), "flows": f"{both} {meets}".strip(), "meets": meets}


def figures_html(view: View) -> str:
    """Both pictures with their titles, as the page has them before any script runs."""
    words = view.words
    return (
        '<div class="growth-pictures">'
        f"<figure><figcaption>{escape(words['mrr'])}</figcaption>{mrr_svg(view)}</figure>"
        f"<figure><figcaption>{escape(words['flows'])}</figcaption>{flows_svg(view)}"
        f'<p class="growth-meeting">{escape(told(view)["meets"], quote=False)}</p></figure></div>'
    )


def _svg(name: str, parts: Sequence[str], width: float, height: float, says: str) -> str:
    return (
        f'<svg class="growth-chart {name}" role="img" aria-labelledby="still-{name}" '
        f'viewBox="0 0 {width:g} {height:g}">'
        f'<title id="still-{name}">{escape(says, quote=False)}</title>{"".join(parts)}</svg>'
    )
