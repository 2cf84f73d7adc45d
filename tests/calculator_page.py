"""A page that holds the calculator alone, under a policy as strict as a published page's, opened in Chromium."""

from __future__ import annotations

import base64
import hashlib
import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from browser_tabs import tab

import growth
from growth.calculator import Calculator
from growth.calculator.bundle import script, style
from growth.calculator.data import page_data

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
QUIET = ("background-networking", "component-update", "sync")
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", *(f"--disable-{name}" for name in QUIET)]
START = """
const place = (globalThis.place = document.getElementById("calculator"));
Object.assign(globalThis, { mrrNodes, flowNodes, leftNodes, toldByPictures });
place.calculator = mount(place, JSON.parse(document.getElementById("data").textContent));
"""


# As in JupyterLab: the widget's front end in an output that scrolls within a panel below the toolbars.
LIVE_START = """
const set = (name, value) => (values[name] = value);
const sent = (globalThis.sent = []); // the messages to Python
const send = (message) => sent.push(message);
const model = { get: (name) => values[name], set, send, save_changes() {}, on() {}, off() {} };
const data = JSON.parse(document.getElementById("data").textContent);
const values = { data, tuned: data.scenario, keeps: true, sources: {}, sourcing: SOURCING };
live.render({ model, el: document.getElementById("calculator") });
"""
LIVE_STYLE = """
.panel { position: absolute; inset: 90px 0 0 0; overflow-y: auto; padding: 10px 20px 400px 100px; }
body { margin: 0; }
"""


def page_html(
    scenario: growth.Scenario, locale: str = "en-GB", *, brief: dict[str, Any] | None = None, live: bool = False
) -> str:
    """The page: one hashed script, one hashed stylesheet, and no other source of anything."""
    code, look = script() + START, style()
    if live:
        start = LIVE_START.replace("SOURCING", json.dumps(Calculator(scenario, "kept.yaml", locale=locale).sourcing))
        code, look = script().replace("export default", "const live =") + start, style() + LIVE_STYLE
    hashes = (base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in (code, look))
    sources = "script-src 'sha256-{}'; style-src 'sha256-{}'".format(*hashes)
    policy = f"default-src 'none'; {sources}; base-uri 'none'; form-action 'none'"
    data = json.dumps(page_data(scenario, locale=locale, brief=brief)).replace("<", "\\u003c")
    return (
        f'<!doctype html><html lang="{locale[:2]}"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width"><title>Calculator</title>'
        f"<style>{look}</style></head>"
        f'<body><main class="{"panel" if live else ""}"><h1>Calculator</h1><div id="calculator"></div></main>'
        f'<script type="application/json" id="data">{data}</script>'
        f'<script type="module">{code}</script></body></html>'
    )


@contextmanager
def chromium() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        yield browser
        browser.close()


def opened(
    browser: Any,
    scenario: growth.Scenario,
    folder: Path,
    *,
    fragment: str = "",
    locale: str = "en-GB",
    brief: dict[str, Any] | None = None,
    live: bool = False,
    **context: Any,
) -> Any:
    """The calculator of a scenario in a tab; `page.complaints` collects errors and requests."""
    file = folder / "page.html"
    file.write_text(page_html(scenario, locale, brief=brief, live=live), encoding="utf-8")
    page = tab(browser, **context)
    page.goto(file.as_uri() + fragment)
    return page


def follow(page: Any, fragment: str) -> None:
    """Follow a link within the page, as one does who pastes it into a tab that holds the page."""
    page.evaluate(
        """(fragment) => new Promise((done) => {
          addEventListener("hashchange", () => setTimeout(done), { once: true });
          location.hash = fragment;
        })""",
        fragment,
    )
