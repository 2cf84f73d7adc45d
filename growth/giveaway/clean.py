"""HTML that may stand in a page: known elements and attributes alone, whatever a cell puts out.

It is one of two fences. The other is the page's content policy, under which nothing runs but the page's own script.
"""

from __future__ import annotations

import re

import nh3

from growth.errors import PublishError

ELEMENTS = frozenset(
    word
    for words in (
        "header section h1 h2 h3 h4 h5 h6 p br hr div span",
        "a abbr b code del em i pre s small strong sub sup u",
        "blockquote details dd dl dt figcaption figure img li ol summary ul",
        "caption table tbody td tfoot th thead tr",
        "button form input label",
    )
    for word in words.split()
)
ATTRIBUTES = {
    "*": {"class", "id", "title", "lang", "role", "aria-label", "aria-labelledby", "aria-describedby"},
    "a": {"href", "rel"},
    "form": {"method", "action"},
    "img": {"src", "alt", "width", "height"},
    "input": {"type", "name", "value", "required", "autocomplete"},
    "button": {"type"},
    "label": {"for"},
    "ol": {"start"},
    "th": {"scope", "colspan", "rowspan"},
    "td": {"colspan", "rowspan"},
}


def clean(html: str, *, cell: int) -> str:
    """Keep the harmless part of a cell's HTML; scripts, styles, handlers and odd links are removed.

    cell: its number in the notebook, from 1. Raises PublishError, which names the cell, for a picture from elsewhere: a
    page asks no other host, so it would be missing.

    >>> clean('<p onclick="go()">Nine <a href="javascript:go()">studios</a><script>go()</script></p>', cell=1)
    '<p>Nine <a>studios</a></p>'
    """
    kept = nh3.clean(
        html,
        tags=ELEMENTS,
        clean_content_tags={"script", "style"},
        attributes=ATTRIBUTES,
        attribute_filter=_allowed,
        url_schemes={"https", "http", "mailto", "data"},
        link_rel=None,
    )
    if re.search(r"<img(?![^>]* src=)", kept):
        raise PublishError(
            f"cell {cell} of the notebook shows a picture that lies elsewhere, and a page asks no other host for "
            "anything. Show it as the output of a code cell."
        )
    return kept


def _allowed(element: str, name: str, value: str) -> str | None:
    if name == "src":
        return value if value.startswith("data:image/") else None
    return None if name == "href" and value.strip().lower().startswith("data:") else value
