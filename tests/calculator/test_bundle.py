"""The script of a page is made from the calculator's parts as they are."""

from __future__ import annotations

from growth.calculator.bundle import MINIFIED, checksum, page_source


def test_the_minified_script_was_made_from_the_parts_as_they_are():
    first_line = MINIFIED.read_text("utf-8").partition("\n")[0] + "\n"

    assert first_line == checksum(page_source()), "run: python tests/build_page_script.py"
