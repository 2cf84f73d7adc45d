"""One month worked by hand, in sentences: the page and the workbook tell it from the same messages.

The page tells it anew for the reader's own numbers (worked.js), by the same rules.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from growth.calculator.language import LOCALE, Piece, filled, messages
from growth.calculator.number_words import minor_digits, money, month_labels, number, of_plural, percent, to_digits
from growth.calculator.outcome import settling
from growth.engine import Forecast
from growth.measures import growth_ceiling

MINUS = "\N{MINUS SIGN}"
BRIDGE = {  # series and sign
    "opening_mrr": "",
    "new_mrr": "+",
    "reactivation_mrr": "+",
    "expansion_mrr": "+",
    "contraction_mrr": MINUS,
    "churned_mrr": MINUS,
    "closing_mrr": "=",
}
REFERRED = 0.05  # sign-ups sent by customers are told from here on: fewer would be written as 0


@dataclass(frozen=True, slots=True)
class WorkedMonth:
    """lead: what is worked out. steps: the month's sentences, as pieces (text, whether it is computed). caption, rows:
    the month's MRR as a sum, each row its sign, its words and its amount. end: what follows from it."""

    lead: str
    steps: list[list[Piece]]
    caption: str
    rows: list[tuple[str, str, str]]
    end: str


def worked(forecast: Forecast, locale: str = LOCALE) -> WorkedMonth:
    """The first month that opens with customers on board, or month 1 where none does.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 1, "mrr": 29},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> steps = worked(growth.forecast(scenario)).steps
    >>> "".join(text for text, _ in steps[-1])
    'The month ends with 1 customer.'
    """
    scenario, said = forecast.scenario, messages(locale)["page"]
    with_customers = np.flatnonzero(forecast.opening_customers > 0)
    t = int(with_customers[0]) if with_customers.size else 0
    month = {"month": str(t + 1), "calendar": month_labels(scenario.first_month, t + 1, locale)[t + 1]}
    rows, adds_up = _bridge(forecast, t, locale)
    caption = said["bridge" if adds_up else "bridge_rounded"]
    return WorkedMonth(
        lead=_text(filled(said["worked_lead"], month)),
        steps=_Steps(forecast, t, locale).all(),
        caption=_text(filled(caption, month)),
        rows=rows,
        end=f"{said['worked_end']} {_why(forecast, locale)}",
    )


@dataclass(frozen=True, slots=True)
class _Steps:
    forecast: Forecast
    t: int
    locale: str

    def of(self, name: str) -> float:
        return float(getattr(self.forecast, name)[self.t])

    def step(self, key: str, people: str = "", mrr: str = "", **values: str) -> list[Piece]:
        """One message, in the form that fits its count."""
        count, currency = self.of(people) if people else 0.0, self.forecast.scenario.currency
        message = of_plural(messages(self.locale)["page"][f"worked_{key}"], count, self.locale)
        amount = money(self.of(mrr), currency, self.locale, minor_digits(currency)) if mrr else ""
        return list(filled(message, values | {"n": number(count, self.locale), "mrr": amount}))

    def all(self) -> list[list[Piece]]:
        steps = [self.step("opening", "opening_customers", "opening_mrr")]
        if self.of("opening_customers") > 0:
            churn = percent(self.of("monthly_customer_churn_rate"), self.locale)
            steps.append(self.step("lost", "lost_customers", "churned_mrr", churn=churn))
        more, less = self.of("expansion_mrr") > 0, self.of("contraction_mrr") > 0
        if more:
            steps.append(self.step("more", mrr="expansion_mrr"))
        if less:
            steps.append(self.step("less_too" if more else "less", mrr="contraction_mrr"))
        steps.append(self.joining())
        if self.of("returned_customers"):
            steps.append(self.step("back", "returned_customers", "reactivation_mrr"))
        return [*steps, self.step("closing", "closing_customers")]

    def joining(self) -> list[Piece]:
        """Who came, from the first stage that the scenario counts, and who became a customer."""
        scenario, referred = self.forecast.scenario, self.of("referred_sign_ups") >= REFERRED
        counted, told = scenario.arrive.counted, []
        if counted == "customers":
            told = self.step("sent", "referred_sign_ups") if referred else []
        else:
            visitors = self.step("visitors", "visitors") if counted == "visitors" else []
            sent = self.step("referred", "referred_sign_ups") if referred else []
            told = [*visitors, *self.step("sign_ups", "sign_ups"), *sent, (". ", False)]
        told += self.step("in_all" if counted == "customers" and referred else "new", "new_customers", "new_mrr")
        lagging = len(scenario.pay.delay_shares) > 1
        return [*told, (" ", False), *self.step("lag")] if lagging else told


def _bridge(forecast: Forecast, t: int, locale: str) -> tuple[list[tuple[str, str, str]], bool]:
    """The month's MRR as a sum, without what is zero, and whether the amounts as written add up."""
    currency, said = forecast.scenario.currency, messages(locale)["page"]["bridge_rows"]
    digits = minor_digits(currency)
    amounts = [(sign, name, float(getattr(forecast, name)[t])) for name, sign in BRIDGE.items()]
    amounts = [row for row in amounts if row[2] or row[0] in ("", "=")]
    left_over = sum((-1 if sign in (MINUS, "=") else 1) * to_digits(amount, digits) for sign, _, amount in amounts)
    rows = [(sign, said[name], money(amount, currency, locale, digits)) for sign, name, amount in amounts]
    return rows, abs(left_over) < 0.5 * 10.0**-digits


def _why(forecast: Forecast, locale: str) -> str:
    """Why MRR settles where it does, or why it does not."""
    ceiling, words, way = growth_ceiling(forecast), messages(locale), settling(forecast)
    said = words["page"]
    if way == "growing":
        return _text(filled(said["why_none"], {"reason": words["calculator"]["reasons"][ceiling.code]}))
    if ceiling.value is None:
        return str(said["why_open"])
    downwards = "why_below" if ceiling.value else "why_empty"
    return str(said[{"above": "why_above", "below": downwards}.get(way, "why_even")])


def _text(pieces: Iterable[Piece]) -> str:
    return "".join(text for text, _ in pieces)
