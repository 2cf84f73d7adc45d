"""Numbers as a reader of the page sees them: amounts, counts, shares and months, in a currency and a locale.

The front end writes them by the same rules (number_words.js).
"""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Mapping
from copy import copy
from decimal import ROUND_HALF_UP, Context, Decimal, localcontext
from functools import cache
from typing import Any

import numpy as np
from babel import Locale
from babel.dates import format_skeleton
from babel.numbers import NumberPattern, get_currency_precision, get_currency_symbol

from growth.calculator.language import LOCALE, messages

SPACE = "\N{NO-BREAK SPACE}"
CLOSE = 0.005  # a level this near to an amount in the same sentence is written as that amount
_YEAR = 2027  # any: it is taken out again
_WIDE = Context(prec=400)  # any float to four decimals
_SURE = 12  # digits that two engines agree on: rounding starts from these, so that a tie is one in both


def money(value: float, currency: str, locale: str = LOCALE, decimals: int | None = None) -> str:
    """An amount: no decimals from 100 up, those of the currency below, where `decimals` does not say how many.

    >>> money(6000.4, "EUR"), money(29, "EUR"), money(-1234.5, "GBP")
    ('€6,000', '€29.00', '-£1,235')
    >>> money(29, "JPY"), money(29, "KWD").replace(SPACE, " ")
    ('JP¥29', 'KWD 29.000')
    """
    if decimals is None:
        decimals = 0 if abs(value) >= 100 or value == 0 else minor_digits(currency)
    pattern = _pattern("currency", locale, decimals, decimals)
    text = _written(pattern, value, decimals, locale, currency=currency, currency_digits=False)
    symbol = get_currency_symbol(currency, locale=_locale(locale))
    if symbol[-1].isalpha():  # a code stands apart from its number: "SEK 24,000"
        text = re.sub(rf"{re.escape(symbol)}(?=\d)", f"{symbol}{SPACE}", text)
    return _spaced(text)


def minor_digits(currency: str) -> int:
    """How many decimals the currency's minor unit takes (CLDR), 0 to 3.

    >>> minor_digits("EUR"), minor_digits("JPY"), minor_digits("KWD")
    (2, 0, 3)
    """
    return int(get_currency_precision(currency))


def number(value: float, locale: str = LOCALE, decimals: int = 1) -> str:
    """A count, to at most one decimal; with more, up to four, where that would make a small one 0.

    >>> number(27.1), number(1234), number(0.04), number(0)
    ('27.1', '1,234', '0.04', '0')
    """
    decimals = _shown(value, decimals, 4) if decimals else 0
    return _spaced(_written(_pattern("decimal", locale, 0, decimals), value, decimals, locale))


def with_decimals(value: float, locale: str = LOCALE, *, least: int = 0, most: int) -> str:
    """A number with so many decimals: zeros at its end are left out beyond the least.

    >>> with_decimals(0.961920, most=6), with_decimals(2462.5, least=2, most=2)
    ('0.96192', '2,462.50')
    """
    return _spaced(_written(_pattern("decimal", locale, least, most), value, most, locale))


def in_text(
    written: str | Mapping[str, str], value: float, currency: str, locale: str = LOCALE, *, most: int = 6
) -> str:
    """A number in the text around its {n}, or in that of its plural category; a part of a currency's unit has all the
    decimals of one.

    most: decimals, unless that would make a small number 0.

    >>> in_text("€{n} a month", 29, "EUR"), in_text("€{n} a month", 40.6, "EUR"), in_text("{n}%", 1.5, "EUR")
    ('€29 a month', '€40.60 a month', '1.5%')
    """
    text = of_plural(written, value, locale, most)
    money_ = get_currency_symbol(currency, locale=_locale(locale)) in text and not float(value).is_integer()
    least = minor_digits(currency) if money_ else 0
    return text.replace("{n}", with_decimals(value, locale, least=least, most=max(_shown(value, most, 6), least)))


def column(values: np.ndarray, kind: str, currency: str, locale: str = LOCALE) -> list[str]:
    """A column of a table, "money" or "number", with as many decimals in every row: none for amounts that reach 100.

    >>> column(np.array([98.5, 101.0]), "money", "EUR"), column(np.array([27.1, 88.0]), "number", "EUR")
    (['€99', '€101'], ['27.1', '88.0'])
    """
    if kind == "number":
        pattern = _pattern("decimal", locale, 1, 1)
        return [_spaced(_written(pattern, value, 1, locale)) for value in values]
    decimals = 0 if np.abs(values).max(initial=0) >= 100 else minor_digits(currency)
    return [money(value, currency, locale, decimals) for value in values]


def percent(value: float, locale: str = LOCALE) -> str:
    """A fraction as per cent, to at most two decimals; with more, up to five, where that would make a small one 0.

    >>> percent(0.04), percent(0.0333333), percent(0.00001)
    ('4%', '3.33%', '0.001%')
    """
    decimals = _shown(value, 4, 7)
    return _spaced(_written(_pattern("percent", locale, 0, decimals - 2), value, decimals, locale))


def near(value: float, *named: float) -> float:
    """A level as it is known: to two significant digits, or as many as keep its order with amounts named beside it.

    named: amounts that stand in the same sentence. One within CLOSE of the level takes its place. 0 stays 0.

    >>> near(5178.3), near(0), near(2040, 2035), near(2060, 2035), near(1960, 2000)
    (5200.0, 0.0, 2035, 2100.0, 1960.0)
    """
    for amount in named:
        if abs(value - amount) <= CLOSE * max(value, amount):
            return amount
    if not value:
        return 0.0
    exact = Decimal(f"{float(value):.{_SURE}g}")
    for digits in (2, 3, 4):
        level = float(exact.quantize(Decimal(1).scaleb(exact.adjusted() + 1 - digits), rounding=ROUND_HALF_UP))
        if all((level - amount) * (value - amount) > 0 for amount in named):
            break
    return level


def roughly(value: float, currency: str, locale: str = LOCALE, *, named: tuple[float, ...] = ()) -> str:
    """A level in words: see `near`; with no decimals from 10 up, but as `money` writes it where it is a named amount.

    >>> roughly(5178.3, "EUR"), roughly(92.4, "EUR"), roughly(2040, "EUR", named=(2035,))
    ('€5,200', '€92', '€2,035')
    """
    level = near(value, *named)
    if level in named or not 0 < level < 10:
        return money(level, currency, locale, None if level in named else 0)
    return money(level, currency, locale, minor_digits(currency))


def between_amounts(low: float, high: float, currency: str, locale: str = LOCALE) -> tuple[str, str]:
    """The ends of a range of amounts, 0 or more, with no more digits than its width allows.

    >>> for ends in ((1873.2, 4108.9), (118_204, 118_790), (3.2, 5.1)):
    ...     print(*between_amounts(*ends, "EUR"))
    €1,900 €4,100
    €118,200 €118,800
    €3.20 €5.10
    """
    least = 10.0 ** -minor_digits(currency)
    unit = max(10.0 ** math.floor(math.log10((high - low) / 4)), least) if high > low else least
    decimals = 0 if unit >= 1 else minor_digits(currency)
    one, other = (money(float(_rounded(end / unit, 0)) * unit, currency, locale, decimals) for end in (low, high))
    return one, other


def plural(value: float, locale: str = LOCALE, decimals: int = 1) -> str:
    """The plural category (CLDR) of a count as `number` writes it: "one", "other", and others in some languages.

    >>> plural(1.04), plural(1.1), plural(0.5), plural(0.5, "fr-FR")
    ('one', 'other', 'other', 'one')
    """
    shown = abs(_rounded(value, _shown(value, decimals, 4) if decimals else 0))
    category: str = _locale(locale).plural_form(int(shown) if shown == int(shown) else shown.normalize())
    return category


def of_plural(message: str | Mapping[str, str], value: float, locale: str = LOCALE, decimals: int = 1) -> str:
    """The text of a message that fits a count: the message itself where it has no plurals.

    >>> of_plural({"one": "{n} month", "other": "{n} months"}, 1), of_plural("{n}%", 1)
    ('{n} month', '{n}%')
    """
    if isinstance(message, str):
        return message
    return message.get(plural(value, locale, decimals), message["other"])


def month_count(count: float, locale: str = LOCALE) -> str:
    """So many months, in words, by the plural category of the language (CLDR).

    >>> month_count(1), month_count(36), month_count(0, "pt-BR")
    ('1 month', '36 months', '0 mês')
    """
    return of_plural(messages(locale)["calculator"]["months"], count, locale).replace("{n}", number(count, locale))


def month_labels(first_month: str, count: int, locale: str = LOCALE, *, full: bool = False) -> list[str]:
    """The calendar months before month 1 (index 0), of month 1, 2, ..., `count`.

    >>> month_labels("2027-01", 1)
    ['Dec 2026', 'Jan 2027']
    """
    start = int(first_month[:4]) * 12 + int(first_month[5:]) - 2
    names = month_names(locale, full=full)
    return [names[month % 12].replace("{y}", f"{month // 12}") for month in range(start, start + count + 1)]


@cache
def month_names(locale: str = LOCALE, *, full: bool = False) -> list[str]:
    """January to December of a year, which stands in their place {y}; short, or in full.

    >>> month_names()[:2], month_names("de-DE")[2], month_names("es-ES", full=True)[0]
    (['Jan {y}', 'Feb {y}'], 'März {y}', 'enero de {y}')
    """
    days = (datetime.date(_YEAR, month, 1) for month in range(1, 13))
    pattern = "yMMMM" if full else "yMMM"
    return [format_skeleton(pattern, day, locale=_locale(locale)).replace(str(_YEAR), "{y}") for day in days]


def to_digits(value: float, decimals: int) -> float:
    """A number rounded as the texts write it: half away from zero.

    >>> to_digits(1.005, 2), to_digits(-0.5, 0)
    (1.01, -1.0)
    """
    return float(_rounded(value, decimals))


def _shown(value: float, least: int, most: int) -> int:
    """The fewest decimals, `least` to `most`, with which a number that is not 0 is not written as 0."""
    return next((count for count in range(least, most) if _rounded(value, count)), most) if value else least


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


def _written(pattern: NumberPattern, value: float, decimals: int, locale: str, **more: Any) -> str:
    """The rounded value as the pattern writes it."""
    with localcontext(_WIDE):  # Babel rounds again, in the context in force
        text: str = pattern.apply(_rounded(value, decimals), _locale(locale), **more)
    return text


def _rounded(value: float, decimals: int) -> Decimal:
    """Half away from zero on the number's first twelve digits; a zero has no sign."""
    written = Decimal(f"{float(value):.{_SURE}g}")
    return written.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP, context=_WIDE) + 0
