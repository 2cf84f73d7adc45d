"""The front end as one text: the engine and the form as one ES module, and their stylesheet."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

_HERE = Path(__file__).parent
# each part imports from those before it alone
_PARTS = (
    "life.js", "engine.js", "long_run.js", "tools.js", "words.js", "headline.js", "plot.js", "chart.js", "control.js",
    "form.js", "share.js", "whatif.js", "result.js", "screen.js", "calculator.js", "live.js",
)  # fmt: skip
_NOTE = re.compile(r"^ *//.*\n", re.MULTILINE)  # a line that is a comment alone: readers need not load it
_INDENT = re.compile(r"^ +", re.MULTILINE)
_IMPORT = re.compile(r'^import \{[^}]*\} from "\./\w+\.js";\n', re.MULTILINE)


@cache
def script() -> str:
    """The parts as one ES module without imports: anywidget's front end, and the page's one script."""
    parts = (_IMPORT.sub("", (_HERE / name).read_text("utf-8")) for name in _PARTS)
    return "\n".join(_INDENT.sub("", _NOTE.sub("", part)) for part in parts)


@cache
def style() -> str:
    """The stylesheet, with the custom properties for colours and type that the page's own styles use too."""
    return _INDENT.sub("", (_HERE / "calculator.css").read_text("utf-8"))
