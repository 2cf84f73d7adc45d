"""Parts of HTML that the comparison and the reports share."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from growth.calculator.language import LOCALE, messages
from growth.giveaway.sections import Piece


def section(title: str, inner: str) -> str:
    """A section of the page; both arguments are HTML."""
    return f'<section class="sweep"><h2>{title}</h2>{inner}</section>'


def wide(inner: str) -> str:
    """A table that may be wider than the screen: it scrolls, and shows that it does."""
    return f'<div class="wide" tabindex="0">{inner}</div>'


def table(headings: Iterable[str], rows: str, look: str = "") -> str:
    """A table that scrolls where it is too wide; headings are text, rows are HTML, look is its class."""
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in headings)
    name = f' class="{look}"' if look else ""
    return wide(f"<table{name}><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>")


def strong(text: str) -> str:
    """Text that stands out."""
    return f"<strong>{escape(text)}</strong>"


def cannot_know(*own: str, locale: str = LOCALE) -> Piece:
    """The cautions of every forecast, and those of the page's own."""
    said = messages(locale)["page"]
    items = "".join(f"<li>{escape(text)}</li>" for text in (*said["cautions"], *own))
    return Piece(section(escape(said["cautions_head"]), f"<ul>{items}</ul>"))
