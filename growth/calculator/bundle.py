"""The front end as one text: the engine and the form as one ES module, and their stylesheet."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

_HERE = Path(__file__).parent
# each part imports from those before it alone
_PARTS = ("life.js", "engine.js", "tools.js", "words.js", "chart.js", "form.js", "share.js", "calculator.js")
_NOTE = re.compile(r"^ *//.*\n", re.MULTILINE)  # a line that is a comment alone: readers need not load it
_IMPORT = re.compile(r'^import \{[^}]*\} from "\./\w+\.js";\n', re.MULTILINE)


@cache
def script() -> str:
    """The parts as one ES module without imports: anywidget's front end, and the page's one script."""
    return "\n".join(_NOTE.sub("", _IMPORT.sub("", (_HERE / name).read_text("utf-8"))) for name in _PARTS)


@cache
def style() -> str:
    """The stylesheet, with the custom properties for colours and type that the page's own styles use too."""
    return (_HERE / "calculator.css").read_text("utf-8")
