"""The sections of the published page as pieces of HTML, made from a scenario, its forecast and the giveaway's words.

Every text from a file is escaped here; the numbers in the prose are computed from the forecast.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import date
from html import escape
from typing import Any

import numpy as np
from babel.dates import format_date, format_skeleton

from growth.calculator.as_said import as_said
from growth.calculator.controls import controls
from growth.calculator.language import LOCALE, messages, said_html
from growth.calculator.words import answer, minor_digits, money, month_labels, number, percent, settling
from growth.engine import Forecast
from growth.giveaway.brief import Giveaway
from growth.giveaway.look import sender_html
from growth.measures import growth_ceiling
from growth.scenario.address import fields
from growth.scenario.source import sources_by_path

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
PAGE_FACTS = (
    "application/vnd.growth.giveaway+json"  # the mime type under which a notebook holds what the page's head needs
)


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of the page: shown in a notebook as HTML, and taken into the page as it is.

    facts: what the page's head needs to know. figure: a Plotly figure that a notebook shows in the HTML's place.
    """

    html: str
    facts: dict[str, Any] = field(default_factory=dict)
    figure: Any = None

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, Any]:
        bundle: dict[str, Any] = {"text/html": self.html, "text/plain": "a piece of the page"}
        if self.facts:
            bundle[PAGE_FACTS] = self.facts
        if self.figure is not None:
            bundle["application/vnd.plotly.v1+json"] = json.loads(self.figure.to_json())
        return bundle


def question(giveaway: Giveaway, forecast: Forecast) -> Piece:
    """The title, and what the page's head needs to know."""
    byline = f'<p class="byline">{escape(giveaway.byline)}</p>' if giveaway.byline else ""
    words = escape(messages(giveaway.locale)["page"]["invented"])
    invented = f'<p class="invented">{words}</p>' if forecast.scenario.invented else ""
    facts = {
        "name": giveaway.name,
        "question": giveaway.question,
        "language": giveaway.language,
        "description": answer(forecast, giveaway.locale),
        "shared": shared(giveaway, forecast),
        "form_address": giveaway.invitation.form_address if giveaway.invitation else None,
        "thanks_address": giveaway.invitation.thanks_address if giveaway.invitation else None,
        "look": giveaway.look.model_dump(mode="json", exclude={"logo"}, exclude_defaults=True),
    }
    sender = sender_html(giveaway.look)
    return Piece(f"<header>{sender}<h1>{escape(giveaway.question)}</h1>{byline}{invented}</header>", facts)


def shared(giveaway: Giveaway, forecast: Forecast) -> dict[str, str]:
    """What a shared link to the page shows: Open Graph tags, https://ogp.me. The picture needs an address."""
    tags = {
        "og:type": "article",
        "og:locale": giveaway.locale.replace("-", "_"),
        "og:title": giveaway.question,
        "og:description": giveaway.answer or answer(forecast, giveaway.locale),
    }
    if giveaway.address:
        picture = f"{giveaway.address.split('?')[0].rpartition('/')[0]}/{giveaway.name}.png"
        tags |= {"og:url": giveaway.address, "og:image": picture, "og:image:width": "1200", "og:image:height": "630"}
        tags["og:image:alt"] = giveaway.question
    return tags


def case(giveaway: Giveaway) -> Piece:
    """The reader's case: quotations, then details."""
    quotations = "".join(
        f'<figure class="quotation"><blockquote><p>{escape(one.words)}</p></blockquote>'
        f"<figcaption>{escape(one.who)}</figcaption></figure>"
        for one in giveaway.case.quotations
    )
    details = "".join(f"<p>{escape(text)}</p>" for text in giveaway.case.details)
    inner = quotations + details
    return Piece(f'<section class="case">{inner}</section>' if inner else "")


def worked_month(forecast: Forecast, *, locale: str = LOCALE) -> Piece:
    """One month done by hand, each step with its numbers: the first month that opens with customers on board."""
    scenario, said = forecast.scenario, messages(locale)["page"]
    cents = minor_digits(scenario.currency)
    with_customers = np.flatnonzero(forecast.opening_customers > 0)
    t = int(with_customers[0]) if with_customers.size else 0

    def cash(name: str) -> str:
        return f"<strong>{escape(money(getattr(forecast, name)[t], scenario.currency, locale, cents))}</strong>"

    def people(name: str) -> str:
        return f"<strong>{escape(number(getattr(forecast, name)[t], locale))}</strong>"

    def step(message: str, customers: str = "", mrr: str = "", **values: str) -> str:
        amounts = {"customers": people(customers) if customers else "", "mrr": cash(mrr) if mrr else ""}
        return said_html(said[message], **amounts, **values)

    steps = [step("worked_opening", "opening_customers", "opening_mrr")]
    if forecast.opening_customers[t] > 0:
        churn = escape(percent(forecast.monthly_customer_churn_rate[t], locale))
        steps.append(step("worked_lost", "lost_customers", "churned_mrr", churn=churn))
    more, less = forecast.expansion_mrr[t] > 0, forecast.contraction_mrr[t] > 0
    if more:
        steps.append(step("worked_more", mrr="expansion_mrr"))
    if less:
        steps.append(step("worked_less_too" if more else "worked_less", mrr="contraction_mrr"))
    came = {name: people(name) for name in ("visitors", "sign_ups")} | {"referred": people("referred_sign_ups")}
    referred = forecast.referred_sign_ups[t] >= 0.05
    key = f"worked_new_{scenario.arrive.counted}"
    steps.append(step(f"{key}_referred" if referred else key, "new_customers", "new_mrr", **came))
    if len(scenario.pay.delay_shares) > 1:
        steps[-1] += " " + step("worked_lag")
    if forecast.returned_customers[t]:
        steps.append(step("worked_back", "returned_customers", "reactivation_mrr"))
    steps.append(step("worked_closing", "closing_customers"))
    label = month_labels(scenario.first_month, t + 1, locale)[t + 1]
    lead = said_html(said["worked_lead"], month=str(t + 1), calendar=escape(label))
    items = "".join(f"<li>{step}</li>" for step in steps)
    return Piece(
        f'<section class="worked" aria-labelledby="worked"><h2 id="worked">{escape(said["worked"])}</h2>'
        f"<p>{lead}</p><ol>{items}</ol>{_bridge(forecast, t, locale)}"
        f"<p>{escape(said['worked_end'], quote=False)} {_why(forecast, locale)}</p></section>"
    )


def _why(forecast: Forecast, locale: str) -> str:
    """Why MRR settles where it does, or why it does not."""
    ceiling, said, way = growth_ceiling(forecast), messages(locale), settling(forecast)
    if way == "growing":
        return said_html(said["page"]["why_none"], reason=escape(said["calculator"]["reasons"][ceiling.code]))
    if ceiling.value is None:
        return said_html(said["page"]["why_open"])
    downwards = "why_below" if ceiling.value else "why_empty"
    return said_html(said["page"][{"above": "why_above", "below": downwards}.get(way, "why_even")])


def _bridge(forecast: Forecast, t: int, locale: str) -> str:
    """The month's MRR as a sum to the cent; what is zero is left out."""
    digits = minor_digits(forecast.scenario.currency)
    said = messages(locale)["page"]
    amounts = [(sign, said["bridge_rows"][name], getattr(forecast, name)[t]) for name, sign in BRIDGE.items()]
    amounts = [row for row in amounts if row[2] or row[0] in ("", "=")]
    rows = "".join(
        f'<tr><th scope="row"><span class="sign">{sign}</span> {escape(words)}</th>'
        f"<td>{escape(money(amount, forecast.scenario.currency, locale, digits))}</td></tr>"
        for sign, words, amount in amounts
    )
    cents = [(-1 if sign in (MINUS, "=") else 1) * round(amount * 10**digits) for sign, _, amount in amounts]
    caption = said_html(said["bridge_rounded" if sum(cents) else "bridge"], month=str(t + 1))
    return f'<table class="bridge"><caption>{caption}</caption><tbody>{rows}</tbody></table>'


def cautions(giveaway: Giveaway, forecast: Forecast | None = None) -> Piece:
    """What this cannot know: the standing cautions, then the author's. Before them, where the page is to show it and
    the forecast is given, where its numbers come from."""
    said = messages(giveaway.locale)["page"]
    items = "".join(f"<li>{escape(text)}</li>" for text in (*said["cautions"], *giveaway.cautions))
    head = f'<h2 id="cautions">{escape(said["cautions_head"])}</h2>'
    section = f'<section class="cautions" aria-labelledby="cautions">{head}<ul>{items}</ul></section>'
    return Piece(_sources(giveaway, forecast) + section)


def _sources(giveaway: Giveaway, forecast: Forecast | None) -> str:
    known = sources_by_path(forecast.scenario) if forecast is not None and giveaway.show_sources else {}
    if forecast is None or not known:
        return ""
    said, rows = messages(giveaway.locale)["page"], []
    scenario, locale = forecast.scenario, giveaway.locale
    labels = {control["path"]: control["label"] for control in controls(scenario, locale)}
    given = {one.path: as_said(one.value, one.assumption.unit, scenario.currency, locale) for one in fields(scenario)}
    for path, one in known.items():
        if path in labels:
            words = [said["sources"][one.source], one.note, day_text(one.when, locale) if one.when else ""]
            told = escape(" ".join(filter(None, ("; ".join(text for text in words if text) + ".", given[path]))))
            rows.append(f"<li>{escape(labels[path])}: {told}</li>")
    head = escape(said["sources"]["head"])
    inner = f'<h2 id="sources">{head}</h2><ul>{"".join(rows)}</ul>'
    return f'<section class="cautions" aria-labelledby="sources">{inner}</section>' if rows else ""


def day_text(day: str, locale: str) -> str:
    """A month or a day as the locale writes it.

    >>> day_text("2027-01", "en-IE"), day_text("2027-01-15", "en-IE")
    ('January 2027', '15 January 2027')
    """
    if len(day) == len("2027-01"):
        return str(format_skeleton("yMMMM", date.fromisoformat(f"{day}-01"), locale=locale.replace("-", "_")))
    return str(format_date(date.fromisoformat(day), "long", locale=locale.replace("-", "_")))


def invitation(giveaway: Giveaway) -> Piece:
    """The one invitation: a form where there is an address for it, else a link, else the words alone; or nothing."""
    wanted, said = giveaway.invitation, messages(giveaway.locale)["page"]
    if wanted is None:
        return Piece("")
    way, button = "", escape(wanted.button or said["button"])
    if wanted.form_address:
        way = (
            f'<form method="post" action="{escape(wanted.form_address)}">'
            f'<input type="hidden" name="{escape(wanted.piece_field)}" value="{escape(giveaway.name)}">'
            f'<label for="invitation-email">{escape(said["email"])}</label>'
            f'<input type="email" id="invitation-email" name="{escape(wanted.email_field)}" required '
            'autocomplete="email">'
            f'<button type="submit">{button}</button>'
            f'<p class="consent">{escape(wanted.consent or said["consent"])} {escape(said["law"])}</p></form>'
        )
    elif wanted.link:
        way = f'<p><a href="{escape(wanted.link)}" rel="noopener">{button}</a></p>'
    return Piece(
        '<section class="invitation" aria-labelledby="invitation">'
        f'<h2 id="invitation">{escape(wanted.text)}</h2>{way}</section>'
    )
