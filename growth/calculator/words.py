"""The words of the calculator: the answer's sentences, and numbers written as a reader of the page sees them.

The front end holds no sentence of its own: it fills the templates of a language's file by the same rules (words.js), so
that the prose of a notebook, the page with scripts off and the live page say the same. A {place} takes a formatted
number, set large.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from copy import copy
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from typing import Any

import numpy as np
from babel import Locale
from babel.dates import format_date
from babel.numbers import NumberPattern, get_currency_symbol

from growth.calculator.language import LOCALE, messages
from growth.engine import Forecast
from growth.measures import goal_month, growth_ceiling, lowest_cash, lowest_cash_month

SPACE = "\N{NO-BREAK SPACE}"


def money(value: float, currency: str, locale: str = LOCALE, decimals: int | None = None) -> str:
    """An amount: no decimals from 100 up, two below, where `decimals` does not say how many.

    >>> money(6000.4, "EUR"), money(29, "EUR"), money(-1234.5, "GBP")
    ('€6,000', '€29.00', '-£1,235')
    """
    if decimals is None:
        decimals = 0 if abs(value) >= 100 or value == 0 else 2
    pattern = _pattern("currency", locale, decimals, decimals)
    text = pattern.apply(_rounded(value, decimals), _locale(locale), currency=currency, currency_digits=False)
    symbol = get_currency_symbol(currency, locale=_locale(locale))
    if symbol[-1].isalpha():  # a code stands apart from its number: "SEK 24,000"
        text = re.sub(rf"{re.escape(symbol)}(?=\d)", f"{symbol}{SPACE}", text)
    return _spaced(text)


def number(value: float, locale: str = LOCALE, decimals: int = 1) -> str:
    """A count, to at most one decimal.

    >>> number(27.1), number(1234), number(0.04)
    ('27.1', '1,234', '0')
    """
    text = _pattern("decimal", locale, 0, decimals).apply(_rounded(value, decimals), _locale(locale))
    return _spaced(text)


def column(values: np.ndarray, kind: str, currency: str, locale: str = LOCALE) -> list[str]:
    """A column of a table, "money" or "number", with as many decimals in every row: none for amounts that reach 100.

    >>> column(np.array([98.5, 101.0]), "money", "EUR"), column(np.array([27.1, 88.0]), "number", "EUR")
    (['€99', '€101'], ['27.1', '88.0'])
    """
    if kind == "number":
        pattern = _pattern("decimal", locale, 1, 1)
        return [_spaced(pattern.apply(_rounded(value, 1), _locale(locale))) for value in values]
    decimals = 0 if np.abs(values).max(initial=0) >= 100 else 2
    return [money(value, currency, locale, decimals) for value in values]


def percent(value: float, locale: str = LOCALE) -> str:
    """A fraction as per cent, to at most two decimals.

    >>> percent(0.04), percent(0.0333333)
    ('4%', '3.33%')
    """
    return _spaced(_pattern("percent", locale, 0, 2).apply(_rounded(value, 4), _locale(locale)))


def near(value: float) -> float:
    """To two significant digits: what a ceiling is known to at best.

    >>> near(5178.3), near(0)
    (5200.0, 0.0)
    """
    exact = Decimal(float(value))
    return float(exact.quantize(Decimal(1).scaleb(exact.adjusted() - 1), rounding=ROUND_HALF_UP)) if value else 0.0


def roughly(value: float, currency: str, locale: str = LOCALE) -> str:
    """An amount known to two significant digits, with no decimals from 10 up.

    >>> roughly(5178.3, "EUR"), roughly(92.4, "EUR")
    ('€5,200', '€92')
    """
    return money(near(value), currency, locale, 0 if value >= 10 or value == 0 else 2)


def month_count(count: int, locale: str = LOCALE) -> str:
    """So many months, in words.

    >>> month_count(1), month_count(36)
    ('1 month', '36 months')
    """
    return messages(locale)["calculator"]["months"][count != 1].replace("{n}", number(count, locale))


def month_labels(first_month: str, count: int, locale: str = LOCALE) -> list[str]:
    """The calendar months before month 1 (index 0), of month 1, 2, ..., `count`.

    >>> month_labels("2027-01", 1)
    ['Dec 2026', 'Jan 2027']
    """
    start = int(first_month[:4]) * 12 + int(first_month[5:]) - 2
    days = (datetime.date(month // 12, month % 12 + 1, 1) for month in range(start, start + count + 1))
    return [format_date(day, "MMM y", locale=_locale(locale)) for day in days]


def answer(forecast: Forecast, locale: str = LOCALE) -> str:
    """The answer in one sentence, with a second where the scenario has costs.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160}, goal_mrr=1000,
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> answer(growth.forecast(scenario))
    'With 0 new customers a month and 4% leaving, you are past €1,000 a month today and fall below it in month 4, and it
    shrinks towards €0.'
    """
    return " ".join("".join(text for text, _ in sentence) for sentence in answer_parts(forecast, locale))


def answer_parts(forecast: Forecast, locale: str = LOCALE) -> list[list[tuple[str, bool]]]:
    """The sentences of the answer, each as pieces (text, whether it is a computed number)."""
    words = messages(locale)["calculator"]
    keys, values, reason = _facts(forecast, locale)
    first = [piece for key in keys if not key.startswith("cash") for piece in filled(words[key], values)]
    if reason:
        first.append((words["reasons"][reason], False))
    second = [piece for key in keys if key.startswith("cash") for piece in filled(words[key], values)]
    return [first, second] if second else [first]


def filled(template: str, values: dict[str, str]) -> Iterator[tuple[str, bool]]:
    """A template's pieces: plain text, and the values of its places.

    >>> list(filled("in month {month}.", {"month": "19"}))
    [('in month ', False), ('19', True), ('.', False)]
    """
    for index, piece in enumerate(template.replace("}", "{").split("{")):
        if piece:
            yield (values[piece], True) if index % 2 else (piece, False)


def has_costs(scenario: Any) -> bool:
    """Whether the scenario says anything of costs or cash, so that the answer should."""
    bill, channels = scenario.bill, scenario.arrive.channels
    fees = (bill.payment_fee_rate, bill.fee_per_payment)
    costs = (*fees, bill.monthly_cost_to_serve, bill.monthly_fixed_costs, bill.opening_cash)
    return any(costs) or any(channel.kind == "paid" or channel.monthly_cost for channel in channels)


def _facts(forecast: Forecast, locale: str) -> tuple[list[str], dict[str, str], str]:
    """Which templates make the answer, the values of their places, and the reason where there is no ceiling."""
    scenario = forecast.scenario
    currency, months = scenario.currency, forecast.months
    goal, ceiling = goal_month(forecast), growth_ceiling(forecast)
    lead, values = _lead(forecast, locale)
    values |= {
        "goal": money(scenario.goal_mrr or 0, currency, locale),
        "month": number(goal.value or 0, locale),
        "calendar": month_labels(scenario.first_month, months, locale)[goal.value or 0],
        "months": month_count(months, locale),
        "closing": money(forecast.closing_mrr[-1], currency, locale),
        "ceiling": roughly(ceiling.value or 0, currency, locale),
    }
    if not (
        forecast.opening_mrr.any() or forecast.closing_mrr.any() or forecast.closing_customers.any() or ceiling.value
    ):
        return ["nothing"], values, ""
    below = np.flatnonzero(forecast.closing_mrr < (scenario.goal_mrr or 0))
    values["lost_month"] = number(below[0] + 1, locale) if below.size else ""
    already = "goal_lost" if below.size else "goal_already"
    reached = already if goal.value == 0 else "goal_never" if goal.value is None else "goal_reached"
    shrinks = ceiling.value is not None and ceiling.value < forecast.opening_mrr[0]
    settles = "ceiling_none" if ceiling.value is None else "ceiling_below" if shrinks else "ceiling_above"
    moves = {"new_rising", "new_falling", "new_average_moving"} & {*lead}
    settles += "_then" if ceiling.value is not None and moves else ""
    keys = [*lead, "no_goal" if scenario.goal_mrr is None else reached, settles]
    if has_costs(scenario):
        span, low = min(12, months), lowest_cash_month(forecast).value
        left = forecast.net_cash[-span:].mean()
        values |= {
            "span": month_count(span, locale),
            "left": money(abs(left), currency, locale),
            "low": money(lowest_cash(forecast).value, currency, locale),
            "low_month": number(low, locale),
        }
        keys += ["cash_short" if left < 0 else "cash", "cash_low" if low else "cash_never_low"]
    return keys, values, "nobody leaves" if ceiling.reason and not forecast.lost_customers.any() else ceiling.reason


def _lead(forecast: Forecast, locale: str) -> tuple[list[str], dict[str, str]]:
    """Who joins and who leaves: at first, and at the end of the forecast where that differs by more than a twentieth.

    Over a year where seasons or yearly plans make single months say little, else in a single month."""
    scenario = forecast.scenario
    seasonal = any(channel.season is not None for channel in scenario.arrive.channels)
    yearly = any(plan.billing == "yearly" for plan in scenario.pay.plans)
    new = _ends(forecast.new_customers, np.ones(forecast.months), 12 if seasonal else 1)
    churn = _ends(forecast.lost_customers, forecast.opening_customers, 12 if yearly else 1)
    moves = _moving("new", new)
    keys = ["new", *moves] if not seasonal else ["new_average_moving" if moves else "new_average"]
    values = {"new": number(new[0], locale), "new_end": number(new[1], locale)}
    if churn:
        keys += ["churn", *_moving("churn", churn), "lead_end"]
        values |= {"churn": percent(churn[0], locale), "churn_end": percent(churn[1], locale)}
    else:
        keys.append("lead_end_after_comma" if moves else "lead_end")
    return keys, values


def _ends(part: np.ndarray, whole: np.ndarray, span: int) -> tuple[float, float] | None:
    """part / whole over the first and the last `span` months in which there is a whole; None where there are none."""
    there = np.flatnonzero(whole > 0)
    if not there.size:
        return None
    first, last = there[:span], there[-span:]
    return float(part[first].sum() / whole[first].sum()), float(part[last].sum() / whole[last].sum())


def _moving(key: str, ends: tuple[float, float]) -> list[str]:
    first, last = ends
    if abs(last - first) <= 0.05 * max(first, last):
        return []
    return [f"{key}_rising" if last > first else f"{key}_falling"]


def _spaced(text: str) -> str:
    """With one kind of unbreakable space: editions of the locales' data differ between it and a narrower one."""
    return text.replace("\u202f", SPACE)


@cache
def _locale(name: str) -> Locale:
    return Locale.parse(name, sep="-")


@cache
def _pattern(kind: str, locale: str, least: int, most: int) -> NumberPattern:
    """The locale's pattern for a kind of number, with so many decimals."""
    formats = getattr(_locale(locale), f"{kind}_formats")
    pattern = copy(formats["standard" if kind == "currency" else None])
    pattern.frac_prec = (least, most)
    return pattern


def _rounded(value: float, decimals: int) -> Decimal:
    """Half away from zero on the shortest decimal of the number, as browsers do; a zero has no sign."""
    return Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP) + 0
