"""What axe finds against accessibility on a page."""

from __future__ import annotations

from typing import Any

import pytest


def violations(page: Any) -> list[tuple[str, list[str]]]:
    """Each rule that the page violates, with the start of each element; empty where axe is content."""
    axe = pytest.importorskip("axe_core_python.sync_playwright").Axe()
    # without this option axe also describes every element that passed, which takes most of the time
    found = axe.run(page, options={"resultTypes": ["violations"]})["violations"]
    return [(one["id"], [node["html"][:120] for node in one["nodes"]]) for one in found]
