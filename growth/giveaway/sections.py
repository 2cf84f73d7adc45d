"""The sections of the published page as pieces of HTML, made from a scenario, its forecast and the giveaway's words.

Every text from a file is escaped here; the numbers in the prose are computed from the forecast.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np

from growth.calculator.words import LOCALE, WORDS, answer, money, month_labels, number, percent
from growth.engine import Forecast
from growth.giveaway.brief import CAUTIONS, Giveaway
from growth.giveaway.leaning import leanings
from growth.measures import growth_ceiling

CENTS = 2
MINUS = "\N{MINUS SIGN}"
MOST_LEANINGS = 5
BRIDGE = (  # series, sign, words
    ("opening_mrr", "", "MRR at the start"),
    ("new_mrr", "+", "new"),
    ("reactivation_mrr", "+", "came back"),
    ("expansion_mrr", "+", "expansion"),
    ("contraction_mrr", MINUS, "contraction"),
    ("churned_mrr", MINUS, "churn"),
    ("closing_mrr", "=", "MRR at the end"),
)
PAGE_FACTS = (
    "application/vnd.growth.giveaway+json"  # the mime type under which a notebook holds what the page's head needs
)


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of the page: shown in a notebook as HTML, and taken into the page as it is."""

    html: str
    facts: dict[str, Any] = field(default_factory=dict)

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, Any]:
        bundle: dict[str, Any] = {"text/html": self.html, "text/plain": "a piece of the page"}
        return bundle | ({PAGE_FACTS: self.facts} if self.facts else {})


def question(giveaway: Giveaway, forecast: Forecast, *, locale: str = LOCALE) -> Piece:
    """The title, and what the page's head needs to know."""
    byline = f'<p class="byline">{escape(giveaway.byline)}</p>' if giveaway.byline else ""
    invented = (
        '<p class="invented">The business and all its numbers are invented.</p>' if forecast.scenario.invented else ""
    )
    facts = {
        "name": giveaway.name,
        "question": giveaway.question,
        "language": giveaway.language,
        "description": answer(forecast, locale),
        "shared": shared(giveaway, forecast, locale=locale),
        "form_address": giveaway.invitation.form_address if giveaway.invitation else None,
        "thanks_address": giveaway.invitation.thanks_address if giveaway.invitation else None,
    }
    return Piece(f"<header><h1>{escape(giveaway.question)}</h1>{byline}{invented}</header>", facts)


def shared(giveaway: Giveaway, forecast: Forecast, *, locale: str = LOCALE) -> dict[str, str]:
    """What a link to the page shows where it is shared: Open Graph tags, https://ogp.me. The picture needs an address."""
    tags = {
        "og:type": "article",
        "og:title": giveaway.question,
        "og:description": giveaway.answer or answer(forecast, locale),
    }
    if giveaway.address:
        picture = f"{giveaway.address.split('?')[0].rpartition('/')[0]}/{giveaway.name}.png"
        tags |= {"og:url": giveaway.address, "og:image": picture, "og:image:width": "1200", "og:image:height": "630"}
        tags["og:image:alt"] = giveaway.question
    return tags


def case(giveaway: Giveaway) -> Piece:
    """The reader's case: quotations, then details, then the answer of the brief where it has one."""
    quotations = "".join(
        f'<figure class="quotation"><blockquote><p>{escape(one.words)}</p></blockquote>'
        f"<figcaption>{escape(one.who)}</figcaption></figure>"
        for one in giveaway.case.quotations
    )
    details = "".join(f"<p>{escape(text)}</p>" for text in giveaway.case.details)
    given = f'<p class="given">{escape(giveaway.answer)}</p>' if giveaway.answer else ""
    if giveaway.what_ifs and giveaway.answer:
        given += "<p>As things stand, with nothing changed:</p>"
    inner = quotations + details + given
    return Piece(f'<section class="case">{inner}</section>' if inner else "")


def worked_month(forecast: Forecast, *, locale: str = LOCALE) -> Piece:
    """One month done by hand, each step with its numbers: the first month that opens with customers on board."""
    scenario = forecast.scenario
    with_customers = np.flatnonzero(forecast.opening_customers > 0)
    t = int(with_customers[0]) if with_customers.size else 0

    def cash(name: str) -> str:
        return f"<strong>{escape(money(getattr(forecast, name)[t], scenario.currency, locale, CENTS))}</strong>"

    def people(name: str) -> str:
        return f"<strong>{escape(number(getattr(forecast, name)[t], locale))}</strong>"

    steps = [
        f"At the start {people('opening_customers')} customers are on board and pay {cash('opening_mrr')} a month in "
        "all. That sum is the MRR, monthly recurring revenue; a yearly plan counts a twelfth."
    ]
    if forecast.opening_customers[t] > 0:
        churn = percent(forecast.monthly_customer_churn_rate[t], locale)
        steps.append(
            f"{people('lost_customers')} of them leave, {escape(churn)}. They had paid {cash('churned_mrr')}. "
            "This is churn."
        )
    more, less = forecast.expansion_mrr[t] > 0, forecast.contraction_mrr[t] > 0
    if more:
        steps.append(
            f"Of those who stay, some pay more: {cash('expansion_mrr')}. "
            "This is expansion, from upgrades and added seats."
        )
    if less:
        others = "Others" if more else "Of those who stay, some"
        steps.append(f"{others} pay less: {cash('contraction_mrr')}. This is contraction.")
    lag = " Some signed up in months before." if len(scenario.pay.delay_shares) > 1 else ""
    sent = f", {people('referred_sign_ups')} of them sent by customers" if forecast.referred_sign_ups[t] >= 0.05 else ""
    steps.append(
        f"{people('visitors')} visitors come and {people('sign_ups')} sign up{sent}. "
        f"{people('new_customers')} become customers and pay {cash('new_mrr')}.{lag}"
    )
    if forecast.returned_customers[t]:
        steps.append(f"{people('returned_customers')} who had left come back and pay {cash('reactivation_mrr')}.")
    steps.append(f"The month ends with {people('closing_customers')} customers.")
    label = month_labels(scenario.first_month, t + 1, locale)[t + 1]
    items = "".join(f"<li>{step}</li>" for step in steps)
    return Piece(
        f'<section class="worked" aria-labelledby="worked"><h2 id="worked">How it is worked out</h2>'
        f"<p>Every month is the same small sum. Here is month {t + 1}, {escape(label)}, by hand, with the numbers that "
        f"this page came with:</p><ol>{items}</ol>{_bridge(forecast, t, locale)}"
        "<p>The next month starts where this one ended. Parts of a customer are averages, not people. "
        f"{_why(forecast)}</p></section>"
    )


def _why(forecast: Forecast) -> str:
    """Why growth stops where it does, or why it does not."""
    ceiling = growth_ceiling(forecast)
    if ceiling.value is None:
        return f"In these numbers nothing stops growth: {escape(WORDS['reasons'][ceiling.reason])}"
    if ceiling.value < forecast.opening_mrr[0]:
        return (
            "Here more is lost in a month than comes in. As the business shrinks, the same share leaving is fewer "
            "customers leaving, until as many join as leave: there it settles."
        )
    return (
        "As the business grows, the same share leaving is more customers leaving, until as many leave as join: there "
        "growth stops."
    )


def _bridge(forecast: Forecast, t: int, locale: str) -> str:
    """The month's MRR as a sum to the cent; what is zero is left out."""
    amounts = [(sign, words, getattr(forecast, name)[t]) for name, sign, words in BRIDGE]
    amounts = [row for row in amounts if row[2] or row[0] in ("", "=")]
    rows = "".join(
        f'<tr><th scope="row"><span class="sign">{sign}</span> {words}</th>'
        f"<td>{escape(money(amount, forecast.scenario.currency, locale, CENTS))}</td></tr>"
        for sign, words, amount in amounts
    )
    cents = [(-1 if sign in (MINUS, "=") else 1) * round(amount * 100) for sign, _, amount in amounts]
    rounded = ", each amount rounded" if sum(cents) else ""
    caption = f"<caption>The MRR of month {t + 1} in one sum{rounded}</caption>"
    return f'<table class="bridge">{caption}<tbody>{rows}</tbody></table>'


def cautions(giveaway: Giveaway, forecast: Forecast, *, locale: str = LOCALE) -> Piece:
    """What this cannot know, with the assumptions that the answer leans on most, each a tenth off."""
    items = "".join(f"<li>{escape(text)}</li>" for text in (*CAUTIONS, *giveaway.cautions))
    return Piece(
        '<section class="cautions" aria-labelledby="cautions"><h2 id="cautions">What this cannot know</h2>'
        f"<ul>{items}</ul>{_leans(forecast, locale)}</section>"
    )


def _leans(forecast: Forecast, locale: str) -> str:
    rows = "".join(
        f'<tr><th scope="row">{escape(one.label)}</th>'
        f"<td>{_moves(one.lower, locale)}</td><td>{_moves(one.higher, locale)}</td></tr>"
        for one in leanings(forecast.scenario, locale)[:MOST_LEANINGS]
    )
    if not rows:
        return ""
    return (
        "<p>The answer leans most on these. Each row moves one number by a tenth and leaves the others as they were; "
        'measure the first rows first.</p><table class="leans">'
        f"<caption>What that does to the MRR of month {forecast.months}</caption><thead><tr>"
        '<th scope="col">assumption</th><th scope="col">a tenth lower</th><th scope="col">a tenth higher</th>'
        "</tr></thead>"
        f"<tbody>{rows}</tbody></table>"
    )


def _moves(change: float | None, locale: str) -> str:
    """A relative change in words; None is a value that the assumption may not take."""
    if change is None:
        return "out of range"
    size = round(abs(change), 2 if abs(change) >= 0.02 else 3)
    return f"{escape(percent(size, locale))} {'higher' if change > 0 else 'lower'}" if size else "hardly moves"


def invitation(giveaway: Giveaway) -> Piece:
    """The one invitation: a form where there is an address for it, else a link, else the words alone; or nothing."""
    wanted = giveaway.invitation
    if wanted is None:
        return Piece("")
    way = ""
    if wanted.form_address:
        way = (
            f'<form method="post" action="{escape(wanted.form_address)}">'
            f'<input type="hidden" name="{escape(wanted.piece_field)}" value="{escape(giveaway.name)}">'
            f'<label for="invitation-email">Your e-mail address</label>'
            f'<input type="email" id="invitation-email" name="{escape(wanted.email_field)}" required '
            'autocomplete="email">'
            f'<button type="submit">{escape(wanted.button)}</button>'
            f'<p class="consent">{escape(wanted.consent)} Local rules on e-mail and data protection apply.</p></form>'
        )
    elif wanted.link:
        way = f'<p><a href="{escape(wanted.link)}" rel="noopener">{escape(wanted.button)}</a></p>'
    return Piece(
        '<section class="invitation" aria-labelledby="invitation">'
        f'<h2 id="invitation">{escape(wanted.text)}</h2>{way}</section>'
    )
