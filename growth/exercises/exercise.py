"""One exercise, and how its words and numbers are written."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from growth.calculator.language import said, words_in
from growth.calculator.number_words import minor_digits, money, month_labels, number, percent, with_decimals
from growth.engine import Forecast
from growth.exercises.closed_form import ClosedForm

_FILES = Path(__file__).parent / "languages"


@dataclass(frozen=True)
class Exercise:
    """A question with its worked answer.

    Attributes
    ----------
    key : which question it is, such as "ceiling_customers".
    title, ask : its words.
    given : the facts that it takes, a line each.
    words : the formula in words.
    working : the sum with its numbers, a line each.
    answer : the answer, in words or with its unit.
    by_hand : the answer from the formula, as a number.
    code : the expression that has the tool answer.
    by_tool : what the tool answers.
    """

    key: str
    title: str
    ask: str
    given: tuple[str, ...]
    words: str
    working: tuple[str, ...]
    answer: str
    by_hand: float
    code: str
    by_tool: float


def exercise_words(language: str) -> dict[str, Any]:
    """The words of exercises in a language; English if there are none.

    >>> exercise_words("de")["answer"], exercise_words("nl")["answer"]
    ('Lösung', 'Answer')
    """
    return words_in(_FILES, language)


class Writer:
    """Words and numbers for the exercises of one forecast, in its language."""

    def __init__(self, forecast: Forecast, locale: str):
        self.forecast, self.locale = forecast, locale
        self.words = exercise_words(locale.partition("-")[0])
        self._labels = month_labels(forecast.scenario.first_month, forecast.months, locale)

    def money(self, value: float) -> str:
        """An amount to the currency's minor unit, as one works on paper."""
        currency = self.forecast.scenario.currency
        return money(value, currency, self.locale, minor_digits(currency))

    def plain(self, value: float) -> str:
        """An amount in a sum: without its currency, to the minor unit."""
        digits = minor_digits(self.forecast.scenario.currency)
        return with_decimals(value, self.locale, least=digits, most=digits)

    def count(self, value: float) -> str:
        """Customers to four decimals, so that results by hand agree with the tool."""
        return with_decimals(value, self.locale, most=4)

    def people(self, value: float) -> str:
        """Customers in an answer, to one decimal."""
        return number(value, self.locale)

    def share(self, value: float) -> str:
        """A fraction as per cent, to four decimals."""
        if round(value, 4) == value:
            return percent(value, self.locale)
        return percent(1, self.locale).replace("100", with_decimals(100 * value, self.locale, most=4))

    def factor(self, value: float) -> str:
        """A factor, to six decimals."""
        return with_decimals(value, self.locale, most=6)

    def fact(self, key: str, value: str = "", month: int = 0, **more: str) -> str:
        """A line of the given facts. month: the month it is about, 1 or more."""
        calendar = self._labels[month] if month else ""
        return said(self.words["facts"][key], value=value, month=str(month), calendar=calendar, **more)

    def steady(self, short: ClosedForm, *names: str) -> list[str]:
        """Facts that the short formulas take, in this order; the growth of what is paid where there is any."""
        facts = {
            "churn": self.fact("churn", self.share(short.churn)),
            "growth": self.fact("growth", self.share(short.growth)),
            "joining": self.fact("join_last", self.count(short.joining), self.forecast.months),
            "price": self.fact("price", self.money(short.price)),
        }
        return [facts[name] for name in names if name != "growth" or short.growth]

    def kept(self, short: ClosedForm) -> str:
        """The sum of what is kept of MRR from month to month."""
        factor = self.factor
        return f"(1 − {factor(short.churn)}) × (1 + {factor(short.growth)}) = {factor(short.kept)}"

    def exercise(
        self,
        key: str,
        *,
        given: list[str],
        working: list[str],
        answer: str,
        by_hand: float,
        code: str,
        by_tool: float,
        **values: str,
    ) -> Exercise:
        """An exercise with the words of its key. values: for the places of its question."""
        words = self.words[key]
        title, ask = words["title"], said(words["ask"], **values)
        return Exercise(
            key, title, ask, tuple(given), words["words"], tuple(working), answer, float(by_hand), code, float(by_tool)
        )


def at(series: np.ndarray, month: int) -> float:
    """A series' value in a month, 1 or more."""
    return float(series[month - 1])
