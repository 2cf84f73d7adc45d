"""Tabs of one Chromium that tests use one after another.

Starting a renderer for a new context takes a core three times as long as loading a page does, so a test gets a tab that
an earlier one has left, emptied. A test that alters more than its page (routes, scripts at the start, cookies) makes a
context of its own.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

VIEWPORT = {"width": 1280, "height": 720}  # Playwright's own default
OWN = ("file:", "blob:", "about:")


def within_the_page(url: str) -> bool:
    """Whether a request asks no host for anything."""
    return url.startswith(OWN)


def tab(
    browser: Any,
    *,
    viewport: dict[str, int] | None = None,
    color_scheme: str = "light",
    allowed: Callable[[str], bool] = within_the_page,
    **context: Any,
) -> Any:
    """An empty tab; `page.complaints` collects console messages, errors, dialogs and requests that are not allowed,
    `page.asked` every request."""
    kind = json.dumps(context, sort_keys=True)
    pages = [page for one in browser.contexts for page in one.pages]
    page = next((one for one in pages if getattr(one, "idle", False) and one.kind == kind), None)
    if page is None:
        page = _watched(browser.new_context(**context).new_page())
        page.kind = kind
    page.idle, page.allowed, page.complaints, page.asked = False, allowed, [], []
    page.set_viewport_size(viewport or VIEWPORT)
    page.emulate_media(media="null", color_scheme=color_scheme)
    return page


def _watched(page: Any) -> Any:
    def on_request(request: Any) -> None:
        page.asked.append(request.url)
        if not page.allowed(request.url):
            page.complaints.append(request.url)

    page.on("console", lambda message: page.complaints.append(message.text))
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.on("dialog", lambda dialog: (page.complaints.append(f"dialog {dialog.message}"), dialog.dismiss()))
    page.on("request", on_request)
    return page


def empty(browser: Any) -> None:
    """Close what a test has opened, but for one tab of each kind, which is left blank for the next test."""
    kept = set()
    for context in browser.contexts:
        page = context.pages[0] if len(context.pages) == 1 else None
        kind = getattr(page, "kind", None)
        if kind is None or kind in kept:
            context.close()
            continue
        kept.add(kind)
        if not page.idle:
            page.complaints = []  # the test may still hold the list that it was given
            page.goto("about:blank")
            page.mouse.move(0, 0)
            page.idle = True
