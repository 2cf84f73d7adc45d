"""One browser for all the tests of the form; what a test opened in it is closed after the test."""

from __future__ import annotations

import pytest


@pytest.fixture(scope="session")
def chromium_running():
    pytest.importorskip("playwright")
    from calculator_page import CHROMIUM, chromium

    if not CHROMIUM:
        pytest.skip("Chromium is not installed")
    with chromium() as running:
        yield running


@pytest.fixture
def browser(chromium_running):
    yield chromium_running
    for context in chromium_running.contexts:
        context.close()
