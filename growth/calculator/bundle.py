"""The front end as one text: the engine and the form as one ES module, and their stylesheet."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

_HERE = Path(__file__).parent
# each part imports from those before it alone
_PARTS = (
    "life.js", "engine.js", "chance.js", "long_run.js", "tools.js", "band.js", "words.js", "how_sure.js", "headline.js",
    "plot.js", "chart.js", "control.js", "form.js", "sure.js", "share.js", "whatif.js", "result.js", "screen.js",
    "calculator.js", "live.js",
)  # fmt: skip
_COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
_SPACE = re.compile(r"\s*([{};,])\s*")  # other blanks, as in selectors, can have a meaning
_IMPORT = re.compile(r'^import \{[^}]*\} from "\./\w+\.js";\n', re.MULTILINE)


@cache
def script(*, live: bool = True) -> str:
    """The parts as one ES module without imports, comments and needless spaces; a page does without the `live` part."""
    from rjsmin import jsmin

    names = _PARTS if live else [name for name in _PARTS if name != "live.js"]
    text: str = jsmin("\n".join(_IMPORT.sub("", (_HERE / name).read_text("utf-8")) for name in names))
    return text


@cache
def style() -> str:
    """The stylesheet, with the custom properties for colours and type that the page's own styles use too."""
    return _SPACE.sub(r"\1", _COMMENT.sub("", (_HERE / "calculator.css").read_text("utf-8"))).strip()
