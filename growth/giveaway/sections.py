"""The sections of the published page as pieces of HTML, made from a scenario, its forecast and the giveaway's words.

Every text from a file is escaped here; the numbers in the prose are computed from the forecast.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import date
from html import escape
from typing import Any

from babel.dates import format_date, format_skeleton

from growth.calculator.as_said import as_said
from growth.calculator.controls import controls
from growth.calculator.language import LOCALE, messages
from growth.calculator.words import answer
from growth.calculator.worked import worked
from growth.engine import Forecast
from growth.giveaway.brief import Giveaway
from growth.giveaway.look import sender_html
from growth.scenario.about_numbers import sources_by_path
from growth.scenario.address import fields

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
    told, head = worked(forecast, locale), escape(messages(locale)["page"]["worked"])

    def step_html(step: list[tuple[str, bool]]) -> str:
        return "".join(f"<strong>{escape(text)}</strong>" if computed else escape(text) for text, computed in step)

    items = "".join(f"<li>{step_html(step)}</li>" for step in told.steps)
    rows = "".join(
        f'<tr><th scope="row"><span class="sign">{sign}</span> {escape(words)}</th><td>{escape(amount)}</td></tr>'
        for sign, words, amount in told.rows
    )
    bridge = f'<table class="bridge"><caption>{escape(told.caption)}</caption><tbody>{rows}</tbody></table>'
    return Piece(
        f'<section class="worked" aria-labelledby="worked"><h2 id="worked">{head}</h2>'
        f"<p>{escape(told.lead)}</p><ol>{items}</ol>{bridge}<p>{escape(told.end, quote=False)}</p></section>"
    )


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
