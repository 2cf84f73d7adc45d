"""Minify the page's script: growth/calculator/page/ becomes page.min.js beside it, which publishing puts into a page.

    python tests/build_page_script.py

Run it after a change to one of the .js files; a test says when it has been forgotten. The minified file is kept in the
repository because the minifier has no wheel for some machines on which pages are published.
"""

from __future__ import annotations

import re

from growth.calculator.bundle import MINIFIED, checksum, page_source

_CONST = re.compile(r"\bconst (?=[\w$\[{])")
_WORLD = re.compile(r"(?<![\w$.\"'`-])(Array|Math|Number|Object|document)(?=[.(])")


def shorter(source: str) -> str:
    """The same in words that a minifier shortens: `let` for `const`, and names of our own for what the browser brings.

    That nothing is set twice is checked where `const` stands: in JupyterLab and in the tests of the sources.
    """
    head, _, rest = _CONST.sub("let ", source).partition("\n")
    names = sorted({found[1] for found in _WORLD.finditer(rest)})
    ours = f"let {', '.join(f'our{name} = {name}' for name in names)};\n"
    return f"{head}\n{ours}{_WORLD.sub(lambda found: f'our{found[1]}', rest)}"


def main() -> None:
    import minify

    source = page_source()
    made = minify.string("application/javascript", shorter(source))
    MINIFIED.write_text(f"{checksum(source)}{made}\n", encoding="utf-8")


if __name__ == "__main__":
    main()
