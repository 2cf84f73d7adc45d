"""A notebook that has run as one self-contained page: what it shows, in order, without its code.

The page asks no host for anything. Plotly's figures need a library of megabytes and are left to the notebook; the
bundled notebooks show each figure as HTML and SVG as well, and that is what the page takes.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from pathlib import Path
from typing import Any

from growth.calculator.language import LOCALE, language_attributes
from growth.giveaway.look import Look, dressed, sender_html
from growth.sweep.comparison_words import ComparisonWords

STYLES = [Path(__file__).with_name(name) for name in ("notebook_page.css", "comparison_html.css")]
SCRIPT = Path(__file__).with_name("sort_table.js")
POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:"
LEFT_OUT = "not-in-page"  # the tag of a cell that is meant for the consultant alone
PLOTLY = "application/vnd.plotly.v1+json"


def notebook_page(
    notebook: Any, *, title: str, key: str = "", look: dict[str, Any] | None = None, locale: str = LOCALE
) -> str:
    """The page of a notebook that has run: the text of its Markdown cells and the outputs of its code cells.

    Cells with the tag `not-in-page` are left out. notebook: as nbformat reads it. key: kept in the page, to tell later
    whether it is still what would be made. look: the values of the consultant's `Look`, if the page is to have it.
    locale: whose language the page is in.
    """
    shown = [part for cell in notebook.cells for part in _parts(cell)]
    body = "\n".join(part for part in shown if not part.startswith("<style>"))  # the page has its own
    body = body or "<p>The notebook shows nothing: none of its cells has an output.</p>"
    own = Look.model_validate(look or {})
    script = SCRIPT.read_text(encoding="utf-8")
    return (
        f'<!DOCTYPE html>\n<html {language_attributes(locale.partition("-")[0])}>\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n<link rel="icon" href="data:,">\n'
        f'<meta name="made-from" content="{escape(key)}">\n<title>{escape(title)}</title>\n'
        f"<style>\n{dressed(style(), own)}{_scrolls(locale)}</style>\n</head>\n<body>\n"
        f"<main>\n{sender_html(own)}{body}\n</main>\n"
        f"<script>\n{script}</script>\n</body>\n</html>\n"
    )


def _scrolls(locale: str) -> str:
    """What a table says that is wider than its place."""
    return f':root {{ --scrolls: "{ComparisonWords(locale).plain("scrolls")} \\2192"; }}\n'


def style() -> str:
    """The page's style sheet."""
    return "".join(path.read_text(encoding="utf-8") for path in STYLES)


def _parts(cell: Any) -> Iterator[str]:
    """What a cell shows, as HTML."""
    if LEFT_OUT in cell.metadata.get("tags", ()):
        return
    if cell.cell_type == "markdown":
        yield _markdown(cell.source)
    for output in cell.get("outputs", ()):
        if output.output_type == "stream":
            if output.name == "stdout" and output.text.strip():
                yield f'<pre tabindex="0">{escape(output.text.rstrip())}</pre>'
        elif output.output_type in ("display_data", "execute_result") and (part := _shown(output.data)):
            yield part


def _shown(data: dict[str, Any]) -> str:
    """One output in the richest form that the page can show; "" if there is nothing to show."""
    if "text/html" in data:
        html = "".join(data["text/html"])
        return f'<div class="scroll" tabindex="0">{html}</div>' if html.lstrip().startswith("<div>") else html
    if "image/svg+xml" in data:
        return "".join(data["image/svg+xml"])
    for kind in ("image/png", "image/jpeg"):
        if kind in data:
            return f'<img src="data:{kind};base64,{"".join(data[kind].split())}" alt="A figure of the notebook">'
    if "text/markdown" in data:
        return _markdown(data["text/markdown"])
    if PLOTLY in data:
        return "<p>A figure stands here in the notebook beside this page.</p>"
    return f'<pre tabindex="0">{escape(data["text/plain"])}</pre>' if data.get("text/plain") else ""


def _markdown(text: str) -> str:
    import mistune

    return str(mistune.html(text)).strip()
