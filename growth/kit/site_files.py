"""What a site holds, kept in the file site.json, and the index page and the feed (Atom, RFC 4287) made from it."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from html import escape
from pathlib import Path
from typing import Annotated, Any

from pydantic import StringConstraints

from growth.calculator.language import locale_of, messages
from growth.errors import FileError, Problem
from growth.files import read_input
from growth.giveaway.brief import Giveaway, Language, Slug
from growth.giveaway.look import dressed, sender_html
from growth.giveaway.sections import day_text
from growth.output import SEAL
from growth.scenario.section import Section, WebAddress

RECORD = "site.json"
Moment = Annotated[str, StringConstraints(pattern=r"^\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])T\d\d:\d\d:\d\dZ$")]
MOST_BYTES = 8 * 2**20


class SitePiece(Section):
    """One piece of a site.

    Attributes
    ----------
    name, question, answer, language : as its page has them.
    address : of its page.
    id : its name for ever in the feed: the address at which it was first published.
    published, updated : moments in UTC, such as 2027-01-31T12:00:00Z (RFC 3339); `updated` moves only with the page.
    checksum : of the page as it was made.
    invented : whether its numbers are.
    """

    name: Slug
    question: str
    answer: str
    language: Language
    address: WebAddress
    id: str
    published: Moment
    updated: Moment
    checksum: str
    invented: bool = False


class Site(Section):
    """A site as its record describes it.

    Attributes
    ----------
    address : where it is on the web, ending with a slash.
    id : its name for ever in the feed: its first address.
    pieces : the newest first.
    """

    address: WebAddress
    id: str = ""
    pieces: tuple[SitePiece, ...] = ()

    def with_piece(self, piece: SitePiece) -> Site:
        """The site with this piece added, in place of the one of the same name if there is one."""
        others = [one for one in self.pieces if one.name != piece.name]
        pieces = sorted([*others, piece], key=lambda one: (one.published, one.name), reverse=True)
        return self.model_copy(update={"pieces": tuple(pieces)})

    def piece(self, name: str) -> SitePiece | None:
        """The piece of that name, or None."""
        return next((one for one in self.pieces if one.name == name), None)


def read_site(folder: Path) -> Site:
    """Read the record of the site in a folder. Raises FileError for any other file.

    Where there is none, a site without pieces, whose address is "": it is not known yet.
    """
    path = folder / RECORD
    if not path.exists():
        return Site.model_construct(address="")
    content = read_input(path, most_bytes=MOST_BYTES)
    try:
        values: dict[str, Any] = json.loads(content)
        values.pop("seal", None)
        return Site.model_validate(values)
    except (ValueError, AttributeError, TypeError, RecursionError):
        fix = "Move it away, and publish your pieces again."
        raise FileError([Problem("", "the record of a site that growth site wrote", fix=fix)], file=str(path)) from None


def site_text(site: Site) -> str:
    """The record as JSON text."""
    return json.dumps({"seal": SEAL, **site.model_dump()}, indent=1, ensure_ascii=False) + "\n"


FEED = "feed.xml"
ATOM = "http://www.w3.org/2005/Atom"
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0, section 2.2


def feed_xml(site: Site, *, title: str, author: str) -> bytes:
    """The feed as XML, an entry for each piece of a site that has at least one. title, author: of the whole feed.

    Source: RFC 4287, The Atom Syndication Format: feed and entry need id, title and updated, and an author.
    """
    ET.register_namespace("", ATOM)
    feed = ET.Element(f"{{{ATOM}}}feed")
    _add(feed, "id", site.id)
    _add(feed, "title", title)
    _add(feed, "updated", max(piece.updated for piece in site.pieces))
    _add(feed, "link", rel="self", type="application/atom+xml", href=f"{site.address}{FEED}")
    _add(feed, "link", rel="alternate", type="text/html", href=site.address)
    _add(_add(feed, "author"), "name", author)
    for piece in site.pieces:
        entry = _add(feed, "entry", **{"{http://www.w3.org/XML/1998/namespace}lang": piece.language})
        _add(entry, "id", piece.id)
        _add(entry, "title", piece.question)
        _add(entry, "published", piece.published)
        _add(entry, "updated", piece.updated)
        _add(entry, "link", rel="alternate", type="text/html", hreflang=piece.language, href=piece.address)
        _add(entry, "summary", f"{piece.answer} {caution(piece)}")
    ET.indent(feed)
    text: bytes = ET.tostring(feed, encoding="utf-8", xml_declaration=True)
    return text + f"\n<!-- {SEAL} -->\n".encode()


def caution(piece: SitePiece) -> str:
    """The caution beside a piece's answer, in its language: no advice, and whether the numbers are invented."""
    words = messages(locale_of(piece.language))["kit"]
    return " ".join([*([words["invented_numbers"]] if piece.invented else []), words["email_caution"]])


def _add(parent: ET.Element, name: str, text: str = "", **attributes: str) -> ET.Element:
    child = ET.SubElement(parent, f"{{{ATOM}}}{name}", attributes)
    if text:
        child.text = _NOT_XML.sub(" ", text)
    return child


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
