"""A number as it was said, beside what follows from it: "Given as 2 of 63, which is 3.17%."."""

from __future__ import annotations

from babel import Locale
from babel.numbers import get_currency_symbol

from growth.calculator.language import LOCALE, messages, said
from growth.calculator.number_words import in_text, minor_digits, money, percent, with_decimals
from growth.scenario.said import MONEY, what_was_said


def as_said(value: object, unit: str, currency: str, locale: str = LOCALE) -> str:
    """What was said of a number, and the number.

    Parameters
    ----------
    value : object
        A number of a scenario.
    unit : str
        As its entry in the table of assumptions has it.
    currency : str
        Three letters.
    locale : str
        How numbers and amounts are written.

    Returns
    -------
    str
        A sentence; empty where the number was given plainly.

    Examples
    --------
    >>> from growth.scenario.said import said_number
    >>> as_said(said_number({"count": 2, "of": 63}), "share", "EUR")
    'Given as 2 of 63, which is 3.17%.'
    >>> as_said(said_number({"amount": 34.51, "tax_included": 0.19}), "money a month", "EUR")
    'Given with tax of 19%: €34.51, which is €29 a month.'
    """
    told = what_was_said(value)
    if told is None:
        return ""
    plain = float(value)  # type: ignore[arg-type]  # what was said makes a number

    places: dict[str, str] = {key: with_decimals(part, locale, most=4) for key, part in told.items()}

    def amount(key: str) -> str:
        if unit not in MONEY:
            return places[key]
        whole = float(told[key]).is_integer()
        return money(told[key], currency, locale, 0 if whole else minor_digits(currency))

    if key := next((key for key in ("a_year", "amount") if key in told), None):
        places["amount"] = amount(key)
    if "tax_included" in told:
        places["tax"] = percent(told["tax_included"], locale)
    places["value"] = value_in_words(plain, unit, currency, locale)
    kind = "count" if "count" in told else "years" if "years" in told else "a_year" if "a_year" in told else "tax"
    kind += "_tax" if kind == "a_year" and "tax_included" in told else ""
    return said(messages(locale)["as_said"][kind], **places)


def value_in_words(value: float, unit: str, currency: str, locale: str = LOCALE) -> str:
    """A number of a scenario with its unit.

    >>> value_in_words(0.04, "share", "EUR"), value_in_words(1, "months", "EUR")
    ('4%', '1 month')
    """
    shown = value * (100 if unit == "share" else 1)
    return in_text(written_in(unit, currency, locale), shown, currency, locale, most=2)


def written_in(unit: str, currency: str, locale: str = LOCALE) -> str | dict[str, str]:
    """How a value of a unit stands in a text; by plural category where words follow a count.

    >>> written_in("share", "EUR"), written_in("money a month", "EUR")
    ('{n}%', '€{n} a month')
    """
    pattern: str | dict[str, str] = messages(locale)["written"][unit]
    if isinstance(pattern, dict) or "{symbol}" not in pattern:
        return pattern
    name = locale.replace("-", "_")
    symbol, amount = get_currency_symbol(currency, locale=name), Locale.parse(name).currency_formats["standard"].pattern
    first = amount.startswith("¤")
    space = "\N{NO-BREAK SPACE}" if symbol[-1].isalpha() or not amount.startswith("¤#") else ""
    return pattern.replace("{symbol}{n}", f"{symbol}{space}{{n}}" if first else f"{{n}}{space}{symbol}")
