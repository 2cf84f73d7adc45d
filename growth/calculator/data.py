"""What the front end is given, and what stands in its place where scripts are off."""

from __future__ import annotations

from html import escape
from typing import Any

import numpy as np

from growth.calculator.controls import controls
from growth.calculator.language import LOCALE, messages
from growth.calculator.words import answer_parts, column, month_labels
from growth.engine import Forecast
from growth.errors import Problem, ScenarioError
from growth.scenario import Scenario
from growth.scenario.section import LONGEST

PAGE_DATA = "application/vnd.growth.calculator+json"  # the mime type of what a saved notebook holds for the page
COLUMNS = (  # series, kind, whether it stands even where it is zero throughout
    ("opening_mrr", "money", True),
    ("new_mrr", "money", True),
    ("reactivation_mrr", "money", False),
    ("expansion_mrr", "money", False),
    ("contraction_mrr", "money", False),
    ("churned_mrr", "money", True),
    ("closing_mrr", "money", True),
    ("closing_customers", "number", True),
    ("cash", "money", False),
)


def page_data(scenario: Scenario, *, locale: str = LOCALE) -> dict[str, Any]:
    """Everything the front end needs, as plain JSON: {scenario, controls, columns, words, labels, locale}.

    labels[m] is the calendar month of month m, 0..120; words are the calculator's messages in the locale's language.
    Raises ScenarioError for a scenario with draws.
    """
    if scenario.draws is not None:
        raise ScenarioError([Problem("scenario", "single numbers: sliders move no arrays", f"{scenario.draws} draws")])
    said = messages(locale)
    return {
        "scenario": scenario.model_dump(mode="json"),
        "controls": controls(scenario, locale),
        "columns": [[name, said["columns"][name], kind, always] for name, kind, always in COLUMNS],
        "words": said["calculator"],
        "labels": month_labels(scenario.first_month, LONGEST, locale),
        "locale": locale,
    }


def answer_html(forecast: Forecast, *, locale: str = LOCALE) -> str:
    """The answer as HTML paragraphs, its computed numbers in <strong>; every text is escaped."""
    classes, html = ("growth-answer", "growth-cash"), []
    for name, sentence in zip(classes, answer_parts(forecast, locale), strict=False):
        pieces = (f"<strong>{escape(text)}</strong>" if computed else escape(text) for text, computed in sentence)
        html.append(f'<p class="{name}">{"".join(pieces)}</p>')
    return "\n".join(html)


def table_html(forecast: Forecast, *, locale: str = LOCALE) -> str:
    """The month-by-month table as HTML, folded; a column that is zero throughout is left out."""
    currency = forecast.scenario.currency
    labels = month_labels(forecast.scenario.first_month, forecast.months, locale)
    shown = [entry for entry in COLUMNS if entry[2] or np.any(getattr(forecast, entry[0]) != 0)]
    columns = [column(getattr(forecast, name), kind, currency, locale) for name, kind, _ in shown]
    said = messages(locale)
    words = [said["calculator"]["table_month"], *(said["columns"][name] for name, _, _ in shown)]
    heads = "".join(f'<th scope="col">{escape(heading)}</th>' for heading in words)
    title, rows = escape(said["calculator"]["table"]), []
    for month, texts in enumerate(zip(*columns, strict=True), start=1):
        cells = "".join(f"<td>{escape(text)}</td>" for text in texts)
        rows.append(f'<tr><th scope="row">{month} <span>{escape(labels[month])}</span></th>{cells}</tr>')
    return (
        f'<details class="growth-table"><summary>{title}</summary>'
        f'<div class="growth-scroll" tabindex="0" role="region" aria-label="{title}"><table>'
        f"<thead><tr>{heads}</tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table></div></details>"
    )
