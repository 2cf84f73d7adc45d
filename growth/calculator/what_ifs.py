"""A scenario's what-ifs beside it: how the ends of the forecasts compare, in a sentence, and a table of them all.

Both stand there before any script runs; the page says the same (`what_ifs.js`).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from html import escape

import numpy as np

from growth.calculator.language import LOCALE, Piece, filled, messages, said
from growth.calculator.light import light_table
from growth.calculator.number_words import money, month_count, month_labels, number, of_plural, percent
from growth.comparison import amounts, closes
from growth.engine import Forecast

LEVEL = 0.005  # a lead this small, as a share of the lower one, is none
_SERIES = ("mrr", "customers", "left")
_ROWS = ("churn", "goal_month", "left_month", "ceiling_mrr", "lowest_cash", "lifetime_value", "payback_months")
_MINUS = "\N{MINUS SIGN}"


def compared(forecasts: Mapping[str, Forecast], locale: str = LOCALE) -> tuple[list[Piece], tuple[int, float] | None]:
    """The sentence as pieces (text, whether it is computed), and the overtaking: from which month on the one that ends
    highest stays ahead of the next, having been behind, and its MRR then; else None.

    forecasts: at least two of the same months, by their names.
    """
    words = messages(locale)["calculator"]
    by_end = sorted(forecasts.items(), key=lambda one: -one[1].closing_mrr[-1])
    (first, best), (second, next_best) = by_end[:2]
    scenario, months = best.scenario, best.months
    labels = month_labels(scenario.first_month, months, locale)
    pieces = [(said(words["compared"], calendar=labels[months]), False)]
    for i, (name, one) in enumerate(forecasts.items()):
        pieces += [
            (f"{'; ' if i else ''}{name} ", False),
            (money(one.closing_mrr[-1], scenario.currency, locale), True),
        ]
    pieces.append((". ", False))
    lead = float(best.closing_mrr[-1] - next_best.closing_mrr[-1])
    behind = np.flatnonzero(best.closing_mrr <= next_best.closing_mrr)
    month = int(behind[-1]) + 2 if behind.size else 1
    level = lead <= LEVEL * next_best.closing_mrr[-1]
    key = "compared_level" if level else "compared_overtakes" if behind.size else "compared_ahead"
    values = {
        "first": first,
        "second": second,
        "ahead": money(lead, scenario.currency, locale),
        "month": number(month, locale),
        "calendar": labels[min(month, months)],
    }
    pieces += [(text, computed and text not in (first, second)) for text, computed in filled(words[key], values)]
    overtaken = (month, float(best.closing_mrr[month - 1])) if key == "compared_overtakes" else None
    return pieces, overtaken


def beside_html(
    forecast: Forecast, what_ifs: Mapping[str, Forecast], notes: Mapping[str, str], locale: str = LOCALE
) -> str:
    """The table as HTML, "" without a what-if: a column for the scenario and for each what-if, with its difference
    below each number. what_ifs, notes: by title; the notes stand below the table.
    """
    if not what_ifs:
        return ""
    words = messages(locale)
    title, heads = escape(words["beside"]["title"]), [words["calculator"]["unchanged"], *what_ifs]
    rows = "".join(
        f'<tr><th scope="row">{escape(label)}</th>{"".join(map(_cell, cells))}</tr>'
        for label, cells in beside_rows([forecast, *what_ifs.values()], locale)
    )
    head = "".join(f'<th scope="col">{escape(one)}</th>' for one in heads)
    table = light_table(f"<table><thead><tr><td></td>{head}</tr></thead><tbody>{rows}</tbody></table>")
    told = "".join(f"<p>{escape(name)}: {escape(note)}</p>" for name, note in notes.items())
    return (
        f'<div class="growth-beside"><h2>{title}</h2><p class="growth-help">{escape(words["beside"]["lead"])}</p>'
        f'<div class="growth-scroll" tabindex="0" role="region" aria-label="{title}">'
        f"{table}</div>{told}</div>"
    )


def beside_rows(forecasts: list[Forecast], locale: str = LOCALE) -> list[tuple[str, list[tuple[str, str]]]]:
    """Each row of the table: its label, and for each forecast the number and its difference to the first, as text.

    A number that is the same everywhere to the last digit shown has no difference ("").
    """
    first = forecasts[0]
    words, months = messages(locale), first.months
    labels = month_labels(first.scenario.first_month, max(one.months for one in forecasts), locale)
    found = [amounts(one, months) for one in forecasts]
    keys = [(f"{name}.{close}", name, labels[close]) for name in _SERIES for close in closes(months)]
    keys += [(name, name, labels[months]) for name in _ROWS]
    rows = []
    for key, name, calendar in keys:
        values = [one[key] for one in found]
        free = name == "payback_months" and not any(value > 0 for value in values)  # nothing is spent to win customers
        if not free and not all(map(math.isnan, values)):
            label = said(words["beside"][name], calendar=calendar)
            rows.append((label, [_told(name, value, values[0], labels, first, locale) for value in values]))
    return rows


def _told(name: str, value: float, base: float, labels: list[str], first: Forecast, locale: str) -> tuple[str, str]:
    """A number and its difference to the first scenario's."""
    if math.isnan(value):
        return "\N{EN DASH}", ""
    if name.endswith("_month"):
        text = labels[int(value)]
    else:
        text = percent(value, locale) if name == "churn" else _amount(name, value, first, locale)
    if math.isnan(base) or _amount(name, abs(value - base), first, locale) == _amount(name, 0, first, locale):
        return text, ""
    return text, ("+" if value > base else _MINUS) + _amount(name, abs(value - base), first, locale)


def _amount(name: str, value: float, first: Forecast, locale: str) -> str:
    if name.endswith(("_month", "_months")):
        return month_count(value, locale)
    if name == "churn":
        points = round(100 * value, 8)
        return said(
            of_plural(messages(locale)["beside"]["points"], points, locale, 2),
            n=re.sub(r"\s*%", "", percent(value, locale)),
        )
    return number(value, locale) if name == "customers" else money(value, first.scenario.currency, locale)


def _cell(told: tuple[str, str]) -> str:
    text, more = told
    return f"<td>{escape(text)}{f'<span>{escape(more)}</span>' if more else ''}</td>"
