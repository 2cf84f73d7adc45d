"""The published demo page, once a session, and a way to open pages."""

from __future__ import annotations

from pathlib import Path

import pytest

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
    contexts = []

    def open_it(file: Path | str, **context):
        contexts.append(browser.new_context(**context))
        page = contexts[-1].new_page()
        page.complaints = []
        page.on(
            "console", lambda message: message.type in ("error", "warning") and page.complaints.append(message.text)
        )
        page.on("pageerror", lambda error: page.complaints.append(str(error)))
        page.on("dialog", lambda dialog: (page.complaints.append(f"dialog {dialog.message}"), dialog.dismiss()))
        page.on("request", lambda request: page.complaints.append(request.url) if page.opened else None)
        page.opened = False
        address = file.as_uri() if isinstance(file, Path) else file
        page.on("request", lambda request: request.url.split("#")[0] == address or page.complaints.append(request.url))
        page.goto(address)
        page.opened = True
        return page

    yield open_it
    for context in contexts:
        context.close()
