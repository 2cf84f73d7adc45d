"""What a report shows of one point: HTML and SVG for its page, with Plotly figures for its notebook.

The page speaks the language of `locale`; the figures in the notebook are in English.
"""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any

import numpy as np

from growth import charts
from growth.calculator.certainty import rests_on
from growth.calculator.language import LOCALE, messages, said
from growth.calculator.number_words import money, month_count, number, of_plural, percent
from growth.calculator.words import answer
from growth.engine import Forecast
from growth.engine.draws import YEAR
from growth.engine.result import BRIDGE
from growth.giveaway.sections import Piece
from growth.measures import Measure, growth_ceiling
from growth.sweep import comparison_words, small_charts
from growth.sweep.comparison_html import look as look
from growth.sweep.comparison_words import ComparisonWords, row, section
from growth.sweep.small_charts import scale_over
from growth.table import measures_of, renewals_follow
from growth.uncertainty.band import FLOWS, named_series

WIDTH, HEIGHT = 320, 170  # about a phone's, so that letters have their own size there
AMOUNTS = {"growth_ceiling": 0, "lifetime_value": 0, "lowest_cash": 0, "customer_acquisition_cost": 2}  # decimals


def title(forecast: Forecast, varied: Mapping[str, Any], point: str = "", locale: str = LOCALE) -> Piece:
    """The business, what this point varies, and the answer in a sentence.

    point: what is varied with its units; "" makes it from `varied`.
    """
    scenario = forecast.scenario
    words = point or ", ".join(f"{axis} {value}" for axis, value in varied.items()) or _words(locale)["as_it_is"]
    invented = f'<p class="byline">{escape(messages(locale)["page"]["invented"])}</p>' if scenario.invented else ""
    return Piece(
        f'<header class="sweep"><h1>{escape(scenario.business)}: {escape(words)}</h1>{invented}'
        f'<p class="answer">{escape(answer(forecast, locale))}</p></header>'
    )


def mrr(forecast: Forecast, locale: str = LOCALE) -> Piece:
    """MRR by month, from the opening on, with its bands, the goal and the level where growth stops."""
    words = _words(locale)
    months = np.concatenate([forecast.opening_mrr[:1], forecast.closing_mrr])
    found = growth_ceiling(forecast).value
    ceiling = 0.0 if found is None else float(found)
    series, kinds = [("MRR", months)], {}
    if 0 < ceiling <= 3 * months.max():
        word = said(words["stops"], amount=_money(forecast, ceiling, locale))
        series.append((word, np.full(len(months), ceiling)))
        kinds = {"MRR": "line0", word: "limit"}
    band = charts.band_of(forecast)
    bands = [(*band.nine_in_ten, words["in_9"]), (*band.one_in_two, words["in_1"])]
    shown = [*(values for _, values in series), band.nine_in_ten[1]]
    scale = scale_over(forecast.scenario, shown, width=WIDTH, height=HEIGHT, locale=locale)
    drawing = small_charts.lines("", "", series, scale, kinds=kinds, bands=bands)
    low, high = (_money(forecast, float(f"{end[-1]:.3g}"), locale) for end in band.nine_in_ten)
    text = said(words["bands"], month=str(forecast.months), low=low, high=high)
    drawing = f"<p>{escape(text)} {escape(rests_on(forecast, locale))}</p>{drawing}"
    return _figure(words["mrr"], drawing, charts.mrr_chart(forecast, band=band))


def in_and_out(forecast: Forecast, locale: str = LOCALE) -> Piece:
    """What comes in and what is lost each month: growth stops where the two lines meet."""
    words = messages(locale)["pictures"]
    gained, lost = (named_series(forecast, flow) for flow in FLOWS)
    series = [(words["comes_in"], gained), (words["is_lost"], lost)]
    scale = scale_over(forecast.scenario, [gained, lost], goal=False, width=WIDTH, height=HEIGHT, locale=locale)
    drawing = small_charts.lines("", "", series, scale, first_month=1, kinds={words["is_lost"]: "lost"})
    return _figure(words["flows"], drawing, charts.bridge_chart(forecast))


def cash(forecast: Forecast, locale: str = LOCALE) -> Piece:
    """Cash at the close of each month, from the opening on."""
    months = np.concatenate([[float(forecast.scenario.bill.opening_cash)], forecast.cash])
    scale = scale_over(forecast.scenario, [months], goal=False, width=WIDTH, height=HEIGHT, locale=locale)
    drawing = small_charts.lines("", "", [(messages(locale)["columns"]["cash"], months)], scale)
    return _figure(_words(locale)["cash"], drawing, charts.cash_chart(forecast))


def bridge_table(forecast: Forecast, locale: str = LOCALE) -> Piece:
    """The month's bridge at the end of each half-year; parts that are 0 throughout are left out."""
    words, columns = _words(locale), messages(locale)["columns"]
    series = [name for name in BRIDGE if name.endswith("mrr")]
    parts = [name for name in series if np.any(getattr(forecast, name)) or name.endswith("ing_mrr")]
    body = "".join(
        row(
            str(month),
            [escape(_money(forecast, float(getattr(forecast, name)[month - 1]), locale)) for name in parts],
        )
        for month in sorted({*range(6, forecast.months + 1, 6), forecast.months})
    )
    table = comparison_words.table((words["month"], *(columns[name] for name in parts)), body)
    return Piece(section(words["bridge"], f"<p>{escape(words['bridge_lead'])}</p>{table}"))


def measures(forecast: Forecast, locale: str = LOCALE) -> Piece:
    """The measures of the forecast, or the reason why there is none."""
    words = _words(locale)
    span = words["year"] if forecast.months >= YEAR else _months(forecast, locale)
    rows: list[tuple[str, ...]] = [
        (
            said(words["labels"][name], span=span),
            _value(forecast, name, measure, locale),
            _note(forecast, name, measure, locale),
        )
        for name, measure in measures_of(forecast).items()
    ]
    headings = [words["measure"], words["value"], words["why"]]
    if not any(note for _, _, note in rows):
        headings, rows = headings[:2], [line[:2] for line in rows]
    body = "".join(row(escape(label), map(escape, cells)) for label, *cells in rows)
    return Piece(section(words["measures"], comparison_words.table(headings, body, "words")))


def cautions(locale: str = LOCALE) -> Piece:
    """The limits of a forecast."""
    return comparison_words.cannot_know(locale=locale)


def _value(forecast: Forecast, name: str, measure: Measure, locale: str) -> str:
    """A measure's value as it is written, or a dash."""
    if measure.value is None:
        return "\N{EN DASH}"
    value = float(measure.value)
    if name in AMOUNTS:
        return money(value, forecast.scenario.currency, locale, decimals=AMOUNTS[name])
    if name.endswith("_retention"):
        return percent(round(value, 3), locale)
    return number(value, locale, 2 if name == "quick_ratio" else 1)


def _note(forecast: Forecast, name: str, measure: Measure, locale: str) -> str:
    """Why a measure has no value, or what its value leaves out; else ""."""
    why = _words(locale)["none"]
    if measure.value is not None:
        return str(why["renewals"]) if renewals_follow(forecast, name) else ""
    if name == "goal_month" and forecast.scenario.goal_mrr is None:
        return str(why["no_goal"])
    return said(
        why[measure.code or (name if name in why else "not_within")], months=month_count(forecast.months, locale)
    )


def _words(locale: str) -> dict[str, Any]:
    return ComparisonWords(locale).words["a_report"]


def _figure(name: str, drawing: str, figure: Any) -> Piece:
    return Piece(section(escape(name), drawing), figure=figure)


def _money(forecast: Forecast, value: float, locale: str) -> str:
    return money(value, forecast.scenario.currency, locale, decimals=0)


def _months(forecast: Forecast, locale: str) -> str:
    """So many months, as the object of "over"."""
    months = forecast.months
    return said(of_plural(messages(locale)["written"]["months"], months, locale), n=number(months, locale))
