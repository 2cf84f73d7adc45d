"""A handout of one A4 page: the case, the answer, the chart, half-years in a table, the cautions, where to go on."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

import numpy as np

from growth.calculator.language import language_attributes, messages, said
from growth.calculator.number_words import column, month_labels
from growth.engine import Forecast
from growth.giveaway.brief import Giveaway
from growth.giveaway.look import sender_html, sender_line
from growth.kit.line_chart import INK, RULE, SANS, SERIF, SOFT, Box, line_chart
from growth.kit.share_picture import certain, told

_STYLE = f"""
@page {{ size: A4; margin: 17mm 20mm; }}
* {{ box-sizing: border-box; }}
body {{ margin: 0; color: {INK}; font: 10.5pt/1.45 {SERIF}; }}
h1 {{ margin: 0 0 2mm; font-size: 17pt; line-height: 1.25; }}
h2 {{ margin: 5mm 0 1mm; font-size: 11pt; }}
.soft {{ color: {SOFT}; font-size: 9.5pt; margin: 0 0 3mm; }}
blockquote {{ margin: 3mm 0; padding-inline-start: 4mm; border-inline-start: 1mm solid {RULE}; font-style: italic; }}
blockquote span {{ font-style: normal; color: {SOFT}; font-size: 9.5pt; }}
.answer {{ font-size: 14.5pt; line-height: 1.4; margin: 5mm 0 3mm; }}
svg {{ display: block; width: 100%; height: auto; }}
table {{ border-collapse: collapse; width: 100%; font: 9.5pt/1.4 {SANS}; margin-top: 2mm;
  font-variant-numeric: tabular-nums; }}
th, td {{ text-align: end; padding: 0.4mm 0; border-bottom: 0.2mm solid {RULE}; font-weight: 400; }}
th:first-child {{ text-align: start; }}
tbody th {{ white-space: nowrap; }}
thead th {{ color: {SOFT}; vertical-align: bottom; }}
thead th + th {{ padding-inline-start: 3mm; }}
ul {{ margin: 0; padding-inline-start: 5mm; font-size: 9.5pt; }}
.sender {{ float: inline-end; margin: 0 0 2mm; margin-inline-start: 4mm; font: 9.5pt/1.3 {SANS}; }}
.sender img {{ max-height: 12mm; max-width: 45mm; vertical-align: middle; }}
.sender a {{ color: inherit; text-decoration: none; }}
footer {{ margin-top: 5mm; padding-top: 2mm; border-top: 0.3mm solid {RULE}; font-size: 9.5pt; color: {SOFT}; }}
"""


FULLEST, LEANEST = 0, 2


def handout_html(
    giveaway: Giveaway,
    forecast: Forecast,
    *,
    what_ifs: Mapping[str, Forecast] | None = None,
    leaner: int = FULLEST,
) -> str:
    """The handout as an HTML document for printing on one A4 page, with its own style and no script.

    giveaway: with its placeholders filled in. forecast: the base, without draws. what_ifs: forecasts to draw beside it,
    by the words that stand on their lines; a column of the table for each. leaner: 0 for everything; 1 for one
    quotation and fewer cautions; 2 without the details too.
    """
    locale, said_of = giveaway.locale, messages(giveaway.locale)
    words = said_of["kit"]
    quotations = giveaway.case.quotations[: 2 if leaner == FULLEST else 1]
    quotes = "".join(
        f"<blockquote>{escape(said(words['quotation'], words=one.words))} <span>{escape(one.who)}</span></blockquote>"
        for one in quotations
    )
    details = "" if leaner == LEANEST else "".join(f"<p>{escape(text)}</p>" for text in giveaway.case.details)
    own = giveaway.cautions[: (8, 2, 1)[leaner]]
    standing = said_of["page"]["cautions"][: 2 if leaner == FULLEST else 1]
    cautions = "".join(f"<li>{escape(text)}</li>" for text in (*standing, *own))
    invented = words["invented"] if forecast.scenario.invented else ""
    about = " ".join(text for text in (giveaway.byline, invented) if text)
    where = said(words["handout_where"], address=giveaway.address) if giveaway.address else words["handout_page"]
    whose = f"{escape(sender_line(giveaway.look))}<br>" if giveaway.look.site else ""
    answer, look = told(giveaway, forecast), giveaway.look
    style = _STYLE.replace(SERIF, SANS) if look.letters == "sans" else _STYLE
    if look.accent:
        style += f".answer {{ padding-inline-start: 4mm; border-inline-start: 1mm solid {look.accent}; }}"
    return f"""<!doctype html>
<html {language_attributes(giveaway.language)}><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:">
<title>{escape(giveaway.question)}</title><style>{style}</style></head>
<body>{sender_html(look)}<h1>{escape(giveaway.question)}</h1><p class="soft">{escape(about)}</p>
{quotes}{details}<p class="answer">{escape(answer)}</p>
<p>{escape(certain(forecast, locale))}</p>
{_chart({"": forecast, **(what_ifs or {})}, locale)}{_table(forecast, what_ifs or {}, locale)}
<h2>{escape(said_of["page"]["cautions_head"])}</h2><ul>{cautions}</ul>
<footer>{escape(where)}<br>{whose}{escape(said(words["piece"], name=giveaway.name))}</footer></body></html>
"""


def _chart(forecasts: Mapping[str, Forecast], locale: str) -> str:
    words = messages(locale)["kit"]
    width = 500 if len(forecasts) > 1 else 600
    lines = line_chart(forecasts, Box(0, 24, width, 120), size=12, locale=locale)
    return (
        f'<svg viewBox="0 0 700 168" role="img" aria-label="{escape(words["handout_chart"])}"><text x="0" y="12" '
        f'font-family="{SANS}" font-size="12" fill="{SOFT}">{escape(words["handout_chart_title"])}</text>{lines}</svg>'
    )


def _table(forecast: Forecast, what_ifs: Mapping[str, Forecast], locale: str) -> str:
    """Six months of the forecast, and what is paid in each what-if."""
    months, currency = forecast.months, forecast.scenario.currency
    chosen = sorted({int(m) for m in np.linspace(months / 6, months, 6).round() if m >= 1})
    at = np.array(chosen) - 1
    labels = month_labels(forecast.scenario.first_month, months, locale)
    people = ("new_customers", "lost_customers", "closing_customers")
    names = {**dict.fromkeys(people, "number"), "closing_mrr": "money"}
    columns = [column(getattr(forecast, name)[at], kind, currency, locale) for name, kind in names.items()]
    for one in what_ifs.values():
        paid = column(one.closing_mrr[at[at < one.months]], "money", currency, locale)
        columns.append(paid + ["\N{EN DASH}"] * (len(chosen) - len(paid)))
    words, rows = messages(locale)["kit"], []
    for month, *cells in zip(chosen, *columns, strict=True):
        head = escape(said(words["handout_row"], month=str(month), calendar=labels[month]))
        rows.append(f'<tr><th scope="row">{head}</th>{"".join(f"<td>{escape(cell)}</td>" for cell in cells)}</tr>')
    heads_of = ("month", "join", "leave", "customers", "pay")
    titles = [
        *(words[f"handout_{name}"] for name in heads_of),
        *(f"{words['handout_pay']}, {name}" for name in what_ifs),
    ]
    heads = "".join(f'<th scope="col">{escape(title)}</th>' for title in titles)
    return f"<table><thead><tr>{heads}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
