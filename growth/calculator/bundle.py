"""The front end as one text: the engine and the form as one ES module, and their stylesheet."""

from __future__ import annotations

import hashlib
import re
from functools import cache
from pathlib import Path

_PAGE = Path(__file__).parent / "page"
_COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
_SPACE = re.compile(r"\s*([{};,])\s*")  # other blanks, as in selectors, can have a meaning
_AROUND = re.compile(r" ([>~]) ")  # "+" stays, since calc() needs its blanks
_ZERO = re.compile(r"(?<![\w.#])0(\.\d)")
_EXPORT = re.compile(r"^export (?:default )?", re.MULTILINE)
_IMPORT = re.compile(r'^import \{[^}]*\} from "\./(\w+\.js)";\n', re.MULTILINE)

MINIFIED = _PAGE.with_name("page.min.js")
"""The parts minified by `tests/build_page_script.py`. The first line is a comment with the checksum of the parts."""


@cache
def script() -> str:
    """The parts as one ES module that JupyterLab starts."""
    return _joined("live.js")


@cache
def page_script() -> str:
    """The parts that a page needs and what starts them, minified."""
    return MINIFIED.read_text("utf-8").partition("\n")[2]


def page_source() -> str:
    """What `page_script` is made from: the parts in a function, so that every name in it may be shortened."""
    return f"(() => {{\n{_EXPORT.sub('', _joined('boot.js'))}}})();\n"


def checksum(source: str) -> str:
    """The first line of the minified file for this source."""
    return f"// made by tests/build_page_script.py from {hashlib.sha256(source.encode('utf-8')).hexdigest()}\n"


@cache
def style() -> str:
    """The stylesheet, with the custom properties for colours and type that the page's own styles use too."""
    return _bare((_PAGE / "calculator.css").read_text("utf-8"))


@cache
def live_style() -> str:
    """The stylesheet in JupyterLab."""
    return style() + _bare((_PAGE / "live.css").read_text("utf-8"))


def compact(css: str) -> str:
    """A stylesheet without comments and needless blanks.

    >>> compact("a > b { color: red; margin: 0.5rem; } /* links */")
    'a>b{color:red;margin:.5rem}'
    """
    return _ZERO.sub(r"\1", _AROUND.sub(r"\1", _bare(css).replace(": ", ":").replace(";}", "}")))


def _bare(css: str) -> str:
    return _SPACE.sub(r"\1", _COMMENT.sub("", css)).strip()


def _joined(name: str) -> str:
    """A part behind all those that it imports from, each once."""
    texts: dict[str, str] = {}

    def add(part: str) -> None:
        text = (_PAGE / part).read_text("utf-8")
        for other in _IMPORT.findall(text):
            if other not in texts:
                add(other)
        texts[part] = _IMPORT.sub("", text)

    add(name)
    return "\n".join(texts.values())
