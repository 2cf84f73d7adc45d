"""What can be told of the made page: pictures without text, and its weight."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path

from growth.giveaway.finding import Finding
from growth.giveaway.publishing import MOST_BYTES

_PICTURE = re.compile(r"!\[\s*\]\([^)]*\)|<img(?![^>]*\balt=[\"'][^\"'])[^>]*>", re.IGNORECASE)


class _Pictures(HTMLParser):
    """Counts pictures with no text, or with none but the name of a class."""

    def __init__(self) -> None:
        super().__init__()
        self.silent: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        text = (dict(attrs).get("alt") or "").strip()
        if tag == "img" and (not text or re.fullmatch(r"<.*>", text)):
            self.silent.append(text or "no text")


def page_findings(page: str) -> list[Finding]:
    """Check the HTML of a published page for pictures without text and for its weight.

    Parameters
    ----------
    page
        The whole HTML document.

    Returns
    -------
    list of Finding
        Without a line: they concern the page as a whole.

    Examples
    --------
    >>> [finding.rule for finding in page_findings('<img src="data:image/png;base64,AAAA">')]
    ['picture without text']
    """
    pictures = _Pictures()
    pictures.feed(page)
    findings = [_silent("the page", None, words) for words in pictures.silent]
    weight = len(page.encode("utf-8"))
    if weight > MOST_BYTES:
        findings.append(
            Finding(
                "page too heavy",
                "the page",
                None,
                f"{weight / 1024:,.0f} KB",
                "On a slow phone it is left before it is there.",
                f"Keep it within {MOST_BYTES // 1024} KB: fewer or smaller pictures, shorter texts.",
            )
        )
    return findings


def notebook_findings(path: str | Path) -> list[Finding]:
    """Check the Markdown cells of a giveaway notebook for pictures without text.

    Parameters
    ----------
    path
        The notebook file.

    Returns
    -------
    list of Finding
        Their line counts within the text of the cell, from 1.
    """
    cells = json.loads(Path(path).read_text("utf-8")).get("cells", [])
    findings = []
    for number, cell in enumerate(cells, start=1):
        if cell.get("cell_type") == "markdown":
            source = "".join(cell.get("source", ""))
            for match in _PICTURE.finditer(source):
                line = source.count("\n", 0, match.start()) + 1
                findings.append(_silent(f"cell {number} of the notebook", line, match[0]))
    return findings


def _silent(field: str, line: int | None, words: str) -> Finding:
    return Finding(
        "picture without text",
        field,
        line,
        words,
        "Whoever cannot see it, or has pictures switched off, learns nothing.",
        "Say in a sentence what it shows, as the picture's alternative text.",
    )
