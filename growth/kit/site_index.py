"""The first page of a site: every piece with its question, its answer and its date."""

from __future__ import annotations

from html import escape
from pathlib import Path

from growth.calculator.language import messages
from growth.giveaway.brief import Giveaway
from growth.giveaway.look import dressed, sender_html
from growth.giveaway.sections import day_text
from growth.kit.atom_feed import FEED, caution
from growth.kit.site_record import Site

INDEX = "index.html"
_STYLE = Path(__file__).with_name("site_index.css")


def index_page(site: Site, giveaway: Giveaway, *, title: str) -> str:
    """The page as HTML without script, in the language and look of the giveaway that is being published."""
    words = messages(giveaway.locale)["kit"]
    pieces = []
    for piece in site.pieces:
        day = day_text(piece.published[:10], giveaway.locale)
        question, answer = escape(piece.question), escape(piece.answer)
        lang = f' lang="{escape(piece.language)}"' if piece.language != giveaway.language else ""
        pieces.append(
            f'<li><h2{lang}><a href="{escape(piece.name)}.html">{question}</a></h2><p{lang}>{answer}</p>'
            f'<p class="soft"{lang}>{escape(caution(piece))}</p>'
            f'<p class="soft"><time datetime="{escape(piece.published)}">{escape(day)}</time></p></li>'
        )
    policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
    return f"""<!doctype html>
<html lang="{escape(giveaway.language)}"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<title>{escape(title)}</title>
<link rel="canonical" href="{escape(site.address)}">
<link rel="alternate" type="application/atom+xml" title="{escape(title)}" href="{FEED}">
<style>{dressed(_STYLE.read_text("utf-8"), giveaway.look)}</style></head>
<body><main>{sender_html(giveaway.look)}<h1>{escape(title)}</h1><p>{escape(words["site_lead"])}</p>
<ul>{"".join(pieces)}</ul>
<footer><p><a href="{FEED}">{escape(words["site_feed"])}</a></p></footer>
</main></body></html>
"""
