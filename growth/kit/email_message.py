"""The e-mail that announces a piece to the list, as plain text and as HTML, with how to leave the list."""

from __future__ import annotations

import textwrap
from html import escape

from growth.calculator.language import direction, language_attributes, messages, said
from growth.engine import Forecast
from growth.giveaway.brief import Giveaway
from growth.giveaway.look import sender_line
from growth.kit.line_chart import GAIN, INK, PAPER, RULE, SANS, SERIF, SOFT
from growth.kit.share_picture import certain, told
from growth.output import SEAL

WIDTH = 72
LAW = (  # for the writer
    "Before you send the e-mail: local law on e-mail and data protection governs who may be written to and what the "
    "message has to say, often your name, your postal address and a link for leaving the list."
)


def subject(giveaway: Giveaway) -> str:
    """The question, on one line."""
    return " ".join(giveaway.question.split())


def link(giveaway: Giveaway) -> str:
    """The page's address with the piece and the source added, so that visits from the e-mail can be told apart.

    "" where the giveaway has no address: the page then goes out as an attachment.
    """
    if not giveaway.address:
        return ""
    return f"{giveaway.address}{'&' if '?' in giveaway.address else '?'}piece={giveaway.name}&from=email"


def email_text(giveaway: Giveaway, forecast: Forecast) -> str:
    """The e-mail as plain text: the subject, a quotation, the answer, where the page is, and how to leave the list.

    giveaway: with its placeholders filled in. forecast: the one that the answer speaks of, without draws. Lines have at
    most 72 characters, but for the link.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> giveaway = Giveaway(name="a-piece", question="When can I live from it?")
    >>> email_text(giveaway, growth.forecast(scenario)).splitlines()[0]
    'Subject: When can I live from it?'
    """
    words = messages(giveaway.locale)["kit"]
    paragraphs = [said(words["email_subject"], subject=subject(giveaway)), f"X-Seal: {SEAL}", ""]
    body = []
    if giveaway.case.quotations:
        one = giveaway.case.quotations[0]
        body.append(f"{said(words['quotation'], words=one.words)}\n{one.who}")
    body += [
        *giveaway.case.details[:1],
        told(giveaway, forecast),
        certain(forecast, giveaway.locale),
        words["email_numbers"] if giveaway.address else said(words["email_attached"], file=f"{giveaway.name}.html"),
    ]
    for text in filter(None, body):
        paragraphs += ["\n".join(_wrapped(line) for line in text.splitlines()), ""]
    paragraphs += [link(giveaway), ""] if giveaway.address else []
    paragraphs += [_wrapped(_caution(forecast, words)), "", "-- "]
    paragraphs += [f"{whose}\n" for whose in (sender_line(giveaway.look), giveaway.byline) if whose]
    paragraphs += [_wrapped(words["email_consent"]), "", said(words["piece"], name=giveaway.name), ""]
    return "\n".join(paragraphs)


def email_html(giveaway: Giveaway, forecast: Forecast) -> str:
    """The same as HTML, without picture or script: opening it loads nothing from anywhere."""
    quote, words = "", messages(giveaway.locale)["kit"]
    if giveaway.case.quotations:
        one = giveaway.case.quotations[0]
        side = "right" if direction(giveaway.locale) == "rtl" else "left"  # many programs know no other names for sides
        quote = (
            f'<blockquote style="margin:0 0 20px;padding-{side}:14px;border-{side}:3px solid '
            f'{RULE};font-style:italic">{escape(said(words["quotation"], words=one.words))}<br>'
            f'<span style="font-style:normal;font-size:15px;color:{SOFT}">{escape(one.who)}</span></blockquote>'
        )
    details = "".join(f'<p style="margin:0 0 20px">{escape(text)}</p>' for text in giveaway.case.details[:1])
    way = escape(said(words["email_attached"], file=f"{giveaway.name}.html"))
    if giveaway.address:
        style = f"color:{giveaway.look.accent or GAIN};font-weight:bold"
        way = f'<a href="{escape(link(giveaway))}" style="{style}">{escape(words["email_link"])}</a>.'
    sure = certain(forecast, giveaway.locale)
    sure = f'<p style="margin:0 0 20px">{escape(sure)}</p>\n' if sure else ""
    small = f'style="margin:0 0 10px;font-size:14px;line-height:1.5;color:{SOFT}"'
    whose = (sender_line(giveaway.look), giveaway.byline)
    byline = "".join(f"<p {small}>{escape(text)}</p>\n" for text in whose if text)
    letters = SANS if giveaway.look.letters == "sans" else SERIF
    return f"""<!doctype html>
<html {language_attributes(giveaway.language)}>
<head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>{escape(subject(giveaway))}</title></head>
<body style="margin:0;background:{PAPER};color:{INK}">
<div style="max-width:560px;margin:0 auto;padding:28px 20px;font:18px/1.55 {escape(letters)}">
<h1 style="margin:0 0 20px;font-size:23px;line-height:1.3">{escape(subject(giveaway))}</h1>
{quote}{details}
<p style="margin:0 0 20px;font-size:21px;line-height:1.45">{escape(told(giveaway, forecast))}</p>
{sure}<p style="margin:0 0 28px">{way}</p>
<p {small}>{escape(_caution(forecast, words))}</p>
<hr style="border:0;border-top:1px solid {RULE};margin:0 0 14px">
{byline}<p {small}>{escape(words["email_consent"])}</p>
<p {small}>{escape(said(words["piece"], name=giveaway.name))}</p>
</div>
</body>
</html>
"""


def _caution(forecast: Forecast, words: dict[str, str]) -> str:
    caution = words["email_caution"]
    return f"{caution} {words['invented']}" if forecast.scenario.invented else caution


def _wrapped(text: str) -> str:
    return textwrap.fill(text.strip(), WIDTH, break_long_words=False, break_on_hyphens=False)
