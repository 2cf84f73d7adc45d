"""What a report shows of one point: HTML and SVG for its page, with Plotly figures for its notebook."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any

import numpy as np

from growth import charts
from growth.calculator.words import answer, money
from growth.engine import Forecast
from growth.giveaway.sections import Piece
from growth.measures import growth_ceiling
from growth.sweep import html_parts, small_charts
from growth.sweep.comparison_html import look
from growth.sweep.html_parts import section
from growth.sweep.small_charts import scale_over

__all__ = ["bridge_table", "cash", "cautions", "in_and_out", "look", "measures", "mrr", "title"]

WIDTH, HEIGHT = 380, 190
PARTS = {  # of the bridge: series of the forecast -> heading
    "opening_mrr": "before",
    "new_mrr": "new",
    "reactivation_mrr": "came back",
    "expansion_mrr": "more",
    "contraction_mrr": "less",
    "churned_mrr": "lost",
    "closing_mrr": "after",
}


def title(forecast: Forecast, varied: Mapping[str, Any], point: str = "") -> Piece:
    """The business, what this point varies, and the answer in a sentence.

    point: what is varied with its units; "" makes it from `varied`.
    """
    scenario = forecast.scenario
    words = point or ", ".join(f"{axis} {value}" for axis, value in varied.items()) or "as it is"
    invented = '<p class="byline">The business and all its numbers are invented.</p>' if scenario.invented else ""
    return Piece(
        f'<header class="sweep"><h1>{escape(scenario.business)}: {escape(words)}</h1>{invented}'
        f'<p class="answer">{escape(answer(forecast))}</p></header>'
    )


def mrr(forecast: Forecast) -> Piece:
    """MRR by month, from the opening on, with its bands, the goal and the level where growth stops."""
    months = np.concatenate([forecast.opening_mrr[:1], forecast.closing_mrr])
    found = growth_ceiling(forecast).value
    ceiling = 0.0 if found is None else float(found)
    series, kinds = [("MRR", months)], {}
    if 0 < ceiling <= 3 * months.max():
        word = f"growth stops: {_money(forecast, ceiling)}"
        series.append((word, np.full(len(months), ceiling)))
        kinds = {"MRR": "line0", word: "limit"}
    band = charts.band_of(forecast)
    bands = [(*band.nine_in_ten, "in 9 of 10 cases"), (*band.one_in_two, "in 1 of 2")]
    shown = [*(values for _, values in series), band.nine_in_ten[1]]
    scale = scale_over(forecast.scenario, shown, width=WIDTH, height=HEIGHT)
    drawing = small_charts.lines("", "", series, scale, kinds=kinds, bands=bands)
    low, high = (_money(forecast, float(f"{end[-1]:.3g}")) for end in band.nine_in_ten)
    text = (
        f"<p>In 9 of 10 cases MRR ends month {forecast.months} between {escape(low)} and {escape(high)}, within the "
        f"outer band; in 1 of 2 it lies within the inner one. The bands rest on {band.rests_on}.</p>"
    )
    return _figure("MRR by month", text + drawing, charts.mrr_chart(forecast, band=band))


def in_and_out(forecast: Forecast) -> Piece:
    """What comes in and what is lost each month: growth stops where the two lines meet."""
    gained = forecast.new_mrr + forecast.reactivation_mrr + forecast.expansion_mrr
    lost = forecast.contraction_mrr + forecast.churned_mrr
    series = [("comes in", gained), ("is lost", lost)]
    scale = scale_over(forecast.scenario, [gained, lost], goal=False, width=WIDTH, height=HEIGHT)
    drawing = small_charts.lines("", "", series, scale, first_month=1, kinds={"is lost": "lost"})
    return _figure("What comes in and what is lost, month by month", drawing, charts.bridge_chart(forecast))


def cash(forecast: Forecast) -> Piece:
    """Cash at the close of each month, from the opening on."""
    months = np.concatenate([[float(forecast.scenario.bill.opening_cash)], forecast.cash])
    scale = scale_over(forecast.scenario, [months], goal=False, width=WIDTH, height=HEIGHT)
    drawing = small_charts.lines("", "", [("cash", months)], scale)
    return _figure("Cash", drawing, charts.cash_chart(forecast))


def bridge_table(forecast: Forecast) -> Piece:
    """The month's bridge at the end of each half-year; parts that are 0 throughout are left out."""
    parts = {name: heading for name, heading in PARTS.items() if np.any(getattr(forecast, name)) or "ing_mrr" in name}
    body = "".join(
        f'<tr><th scope="row">{month}</th>'
        + "".join(f"<td>{escape(_money(forecast, float(getattr(forecast, name)[month - 1])))}</td>" for name in parts)
        + "</tr>"
        for month in sorted({*range(6, forecast.months + 1, 6), forecast.months})
    )
    text = "<p>MRR before and after the last month of each half-year, and what changed it in that month.</p>"
    return Piece(section("The month's bridge", text + html_parts.table(("month", *parts.values()), body)))


def measures(forecast: Forecast) -> Piece:
    """The measures of the forecast, or the reason why there is none."""
    from growth import table_of_measures

    rows = "".join(
        f'<tr><th scope="row">{escape(str(name))}</th><td>{escape(str(row["value"]))}</td>'
        f"<td>{escape(str(row['why not']))}</td></tr>"
        for name, row in table_of_measures(forecast).iterrows()
    )
    return Piece(section("The measures", html_parts.table(("measure", "value", "why there is none"), rows, "words")))


def cautions() -> Piece:
    """The limits of a forecast."""
    return html_parts.cannot_know()


def _figure(name: str, drawing: str, figure: Any) -> Piece:
    return Piece(section(name, drawing), figure=figure)


def _money(forecast: Forecast, value: float) -> str:
    return money(value, forecast.scenario.currency, decimals=0)
