"""What the front end is given, and what stands in its place where scripts are off."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape
from typing import Any

import numpy as np

from growth.calculator.certainty import how_sure_parts
from growth.calculator.controls import controls
from growth.calculator.language import LOCALE, direction, messages
from growth.calculator.light import light_table
from growth.calculator.number_words import column, minor_digits, month_labels, month_names
from growth.calculator.words import answer_parts, headline
from growth.engine import Forecast
from growth.errors import Problem, ScenarioError
from growth.scenario import Scenario
from growth.scenario.what_if import WhatIf, number_at
from growth.uncertainty.sample import pairs_of, ranges_of

PAGE_DATA = "application/vnd.growth.calculator+json"  # the mime type of what a saved notebook holds for the page
WORKED = ("worked_", "why_", "bridge")  # how the messages of the worked month begin
OF_EFFORTS = ("lever_lead_own", "better")  # messages that only a scenario with efforts needs
OF_WORKBOOK = ("chart_title", "line_goal", "line_ceiling", "line_floor")  # messages that the workbook alone needs
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


def page_data(scenario: Scenario, *, locale: str = LOCALE, brief: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Everything the front end needs, as plain JSON.

    Parameters
    ----------
    scenario : Scenario
        Single numbers, no arrays over draws.
    locale : str
        Of the page; its language has a file of messages.
    brief : mapping, optional
        What a page's words add (`growth.giveaway.brief_data`): answer, address, byline, name.

    Returns
    -------
    dict
        scenario, controls, columns, words and pictures (messages), month_names and full_month_names (January to
        December, with a place for the year), locale, digits (decimals of the currency's minor unit), brief, what_ifs
        (each with the valid ranges of its numbers), and bounds (path -> the valid range of every number of which the
        reader can say how sure it is).

    Raises
    ------
    ScenarioError
        For a scenario with draws, and a what-if that names no number of it.
    """
    if scenario.draws is not None:
        raise ScenarioError([Problem("scenario", "single numbers: sliders move no arrays", f"{scenario.draws} draws")])
    said = messages(locale)
    lines = controls(scenario, locale)
    ranged = {unknown.address: list(unknown.scale) for unknown in ranges_of(scenario)}
    correlations = [{"of": [one, other], "correlation": r} for one, other, r in pairs_of(scenario)]
    return {
        "scenario": scenario.model_dump(mode="json") | {"correlations": correlations},
        "bounds": {line["path"]: [line["low"], line["high"]] for line in lines if line["unsure"]} | ranged,
        "controls": lines,
        "columns": [[name, said["columns"][name], kind, always] for name, kind, always in COLUMNS],
        "words": _needed(scenario, said["calculator"]),
        "headline": _needed(scenario, said["headline"]),
        "how_sure": said["how_sure"],
        "beside": said["beside"],
        "pictures": said["pictures"],
        "takes": {key: text for key, text in said["takes"].items() if scenario.efforts or key not in OF_EFFORTS},
        "whose": {name: said["whose"][name] for name in ("since", "times")},
        "worked": _worked(scenario, said["page"]),
        "month_names": month_names(locale),
        "full_month_names": month_names(locale, full=True),
        "locale": locale,
        "brief": dict(brief or {}),
        "what_ifs": [_what_if(scenario, one) for one in scenario.what_ifs],
        "direction": direction(locale),
        "digits": minor_digits(scenario.currency),
    }


def _needed(scenario: Scenario, words: dict[str, Any]) -> dict[str, Any]:
    """The messages of the page, without those of a goal for what is left where there is none: no slider can set one."""
    never = [key for key in words if key.startswith("left_")] if scenario.goal_left is None else []
    return {key: text for key, text in words.items() if key not in (*OF_WORKBOOK, *never)}


def _worked(scenario: Scenario, words: dict[str, Any]) -> dict[str, Any]:
    """The messages of the month by hand, but for those of what no slider of this scenario can bring about."""
    counted, back = scenario.arrive.counted, scenario.stay.comeback
    never = {"worked", "worked_lag"} if len(scenario.pay.delay_shares) == 1 else {"worked"}
    never |= {"worked_visitors"} if counted != "visitors" else set()
    never |= {"worked_sign_ups", "worked_referred"} if counted == "customers" else {"worked_sent", "worked_in_all"}
    never |= {"worked_back"} if back is None else set()
    return {key: text for key, text in words.items() if key.startswith(WORKED) and key not in never}


def _what_if(scenario: Scenario, what_if: WhatIf) -> dict[str, Any]:
    changes = []
    for change in what_if.changes:
        field = number_at(scenario, change.field, what_if)
        entry = field.assumption
        bounds = {"low": entry.low, "high": entry.high, "whole": entry.whole}
        changes.append({**change.model_dump(), "field": field.path, **bounds})
    return {"name": what_if.name, "label": what_if.title, "note": what_if.note, "changes": changes}


def answer_html(forecast: Forecast, *, locale: str = LOCALE, given: str = "") -> str:
    """The answer as HTML, after that of a page's words; computed numbers in <strong>, every text escaped."""
    words = messages(locale)["calculator"]

    def html(sentence: Iterable[tuple[str, bool]]) -> str:
        return "".join(f"<strong>{escape(text)}</strong>" if computed else escape(text) for text, computed in sentence)

    paragraphs = "".join(f"<p>{html(sentence)}</p>" for sentence in answer_parts(forecast, locale))
    sure = how_sure_parts(forecast, locale)
    paragraphs += f'<p class="growth-sure">{html(sure)}</p>' if sure else ""
    kicker = f'<p class="growth-kicker">{escape(words["as_things_stand"])}</p>'
    line = html(headline(forecast, locale))
    shown = f'{kicker}<p class="growth-answer">{line}</p><div class="growth-rest">{paragraphs}</div>'
    if not given:
        return shown
    kicker = f'<p class="growth-kicker">{escape(words["given"])}</p>'
    return f'<div class="growth-given">{kicker}<p>{escape(given)}</p></div>{shown}'


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
        rows.append(f'<tr><th scope="row">{month}: {escape(labels[month])}</th>{cells}</tr>')
    table = light_table(f"<table><thead><tr>{heads}</tr></thead><tbody>{''.join(rows)}</tbody></table>")
    return (
        f'<details class="growth-table"><summary>{title}</summary>'
        f'<div class="growth-scroll" tabindex="0" role="region" aria-label="{title}">{table}</div></details>'
    )
