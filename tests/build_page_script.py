"""Minify the page's script: growth/calculator/*.js become page.min.js, which publishing puts into a page.

    python tests/build_page_script.py

Run it after a change to one of the .js files; a test says when it has been forgotten. The minified file is kept in the
repository because the minifier has no wheel for some machines on which pages are published.
"""

from __future__ import annotations

from growth.calculator.bundle import MINIFIED, checksum, page_source


def main() -> None:
    import minify

    source = page_source()
    MINIFIED.write_text(checksum(source) + minify.string("application/javascript", source) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
