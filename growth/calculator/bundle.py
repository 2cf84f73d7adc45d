"""The front end as one text: the engine and the form as one ES module, and their stylesheet."""

from __future__ import annotations

from functools import cache
from pathlib import Path

_HERE = Path(__file__).parent
_IMPORT = 'import { forecast, measures } from "./engine.js";\n'


@cache
def script() -> str:
    """engine.js and calculator.js as one ES module without imports: anywidget's front end, and the page's one script."""
    engine, form = ((_HERE / name).read_text("utf-8") for name in ("engine.js", "calculator.js"))
    return f"{engine}\n{form.replace(_IMPORT, '', 1)}"


@cache
def style() -> str:
    """The stylesheet, with the custom properties for colours and type that the page's own styles use too."""
    return (_HERE / "calculator.css").read_text("utf-8")
