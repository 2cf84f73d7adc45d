"""The published demo page, once a session, and a way to open pages."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser_tabs import tab

from growth.giveaway import publish

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.fixture(scope="session")
def demo() -> Path:
    return SCENARIOS / "fernhollow.yaml"


@pytest.fixture(scope="session")
def published(demo, tmp_path_factory) -> tuple[Path, list[dict]]:
    """The page, and every step that was told of its making."""
    steps: list[dict] = []
    page = publish(demo, to=tmp_path_factory.mktemp("published"), progress=lambda **step: steps.append(step))
    return page, steps


@pytest.fixture(scope="session")
def page_file(published) -> Path:
    return published[0]


@pytest.fixture
def open_page(browser):
    """open_page(file, **context) -> a page; `complaints` collects console errors, page errors, dialogs and requests."""

    def open_it(file: Path | str, **context):
        address = file.as_uri() if isinstance(file, Path) else file
        page = tab(browser, allowed=lambda url: url == address, **context)
        page.goto(address)
        page.allowed = lambda url: False
        return page

    return open_it
