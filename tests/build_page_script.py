"""Minify the page's script: growth/calculator/*.js become page.min.js, which publishing puts into a page.

    python tests/build_page_script.py

Run it after a change to one of the .js files; a test says when it has been forgotten. The minified file is kept in the
repository because the minifier has no wheel for some machines on which pages are published.
"""

from __future__ import annotations

import re

from growth.calculator.bundle import MINIFIED, checksum, page_source

_CONST = re.compile(r"\bconst (?=[\w$\[{])")


def main() -> None:
    import minify

    source = page_source()
    shorter = _CONST.sub("let ", source)  # that nothing is set twice is checked where `const` stands
    MINIFIED.write_text(checksum(source) + minify.string("application/javascript", shorter) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
