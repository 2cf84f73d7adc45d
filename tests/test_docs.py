"""The API pages are built without a warning, and each public name has its place on them."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

import pytest
from build_docs import build, documented


def test_every_public_name_has_its_place_in_the_api_pages(tmp_path: Path):
    pytest.importorskip("pdoc")
    build(tmp_path)
    for module in documented():
        page = tmp_path.joinpath(*module.split(".")).with_suffix(".html")
        text = page.read_text("utf-8")
        for name in getattr(import_module(module), "__all__", ()):
            own_page = page.with_suffix("") / f"{name}.html"  # a module, or a function with the name of its module
            assert own_page.exists() or f'id="{name}"' in text, f"{module}.{name}"
