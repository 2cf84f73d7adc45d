"""The feed of a site: Atom, RFC 4287."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

from growth.calculator.language import locale_of, messages
from growth.kit.site_record import Site, SitePiece
from growth.output import SEAL

FEED = "feed.xml"
ATOM = "http://www.w3.org/2005/Atom"
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0, section 2.2


def feed_xml(site: Site, *, title: str, author: str) -> bytes:
    """The feed as XML, an entry a piece, the newest first.

    Parameters
    ----------
    site : with an address and at least one piece.
    title, author : of the whole feed.

    Notes
    -----
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
    """What stands beside a piece's answer, in its language: a forecast is no advice, and invented numbers are said."""
    words = messages(locale_of(piece.language))["kit"]
    return " ".join([*([words["invented_numbers"]] if piece.invented else []), words["email_caution"]])


def _add(parent: ET.Element, name: str, text: str = "", **attributes: str) -> ET.Element:
    child = ET.SubElement(parent, f"{{{ATOM}}}{name}", attributes)
    if text:
        child.text = _NOT_XML.sub(" ", text)
    return child
