"""Crafted links to a published page, followed in Chromium: part of the long attack beside this file."""

from __future__ import annotations

import atexit
import json
import random
import tempfile
from contextlib import ExitStack
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

from calculator_page import CHROMIUM, chromium
from hostile import MARK, TEXTS

import growth
from growth.giveaway.placeholders import load_giveaway
from growth.giveaway.publishing import made_page

SCENARIO = Path(__file__).parents[2] / "scenarios" / "fernhollow.yaml"
NOW = "document.querySelector('#calculator').calculator.get().scenario"
REFUSED = "does not fit this page"
VALUES = [
    "0",
    "1",
    "-1",
    "0.5",
    "1e-9",
    "1e9",
    "1e309",
    "NaN",
    "",
    " ",
    "0x10",
    "１",
    "12",
    "48",
    "12.5",
    "null",
    "a",
    "=",
]
PARTS = [
    "if=none", "line=a;months=12", "line=;", "line=a", "__proto__.x=1", "constructor.prototype.polluted=1", "cautions",
    "%E0%A4%A", "%00", "%2526", "&&", ";", "#", "?x=1", "business=1", "goal_mrr=1", "pay.plans.0.name=x", "\u202e=1",
    "sure.=x", "sure.months=roughly", "pay.plans.99.share=1", "length=3", "toString=1",
]  # fmt: skip


@cache
def published() -> tuple[Any, str, dict[str, Any], list[str]]:
    """A page that is open in Chromium, its address, its own numbers and the places of its sliders."""
    if not CHROMIUM:
        raise SystemExit("links need Chromium")
    stack = ExitStack()
    atexit.register(stack.close)
    folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="growth-attack-page-")))
    scenario = growth.load_scenario(SCENARIO)
    html, _ = made_page(scenario, load_giveaway(SCENARIO, scenario=scenario))
    (folder / "page.html").write_text(html, "utf-8")
    page = stack.enter_context(chromium()).new_page()
    page.complaints = []
    page.on("console", lambda said: said.type in ("error", "warning") and page.complaints.append(said.text))
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.on("dialog", lambda dialog: (page.complaints.append("a dialog"), dialog.dismiss()))
    address = (folder / "page.html").as_uri()
    page.on(
        "request",
        lambda request: request.url.startswith((address, "about:", "data:")) or page.complaints.append(request.url),
    )
    page.goto(address)
    places = page.evaluate("[...new Set([...document.querySelectorAll('[data-path]')].map((one) => one.dataset.path))]")
    return page, address, page.evaluate(NOW), places


def fragment(rng: random.Random, places: list[str]) -> str:
    """A link's fragment of right and wrong parts."""
    parts = []
    for _ in range(rng.randint(1, 5)):
        kind, number = rng.randrange(6), f"{rng.choice(places)}={rng.choice(VALUES)}"
        if kind < 2:
            parts.append(number)
        elif kind == 2:
            parts.append(f"line={quote(quote(rng.choice(TEXTS)[: rng.randint(1, 40)]))};{number}")
        elif kind == 3:
            parts.append(rng.choice(PARTS))
        elif kind == 4:
            parts.append(quote(rng.choice(TEXTS)) + "=" + quote(rng.choice(TEXTS)))
        else:
            at = rng.randrange(len(number))
            parts.append(number[:at] + rng.choice(["%", "&", ";", "=", ".", "<", "'", "\x00", "é"]) + number[at:])
    return rng.choice(["&", "&", "&", ";", "&amp;"]).join(parts)


def follow(rng: random.Random) -> str | None:
    """Follow one link, afresh or within the page. What is wrong with what happened; None where nothing is."""
    page, address, own, places = published()
    link = "#" + fragment(rng, places)
    page.complaints.clear()
    if rng.random() < 0.3:
        page.evaluate("(link) => { location.hash = link; }", link)
        page.evaluate("new Promise((done) => setTimeout(done, 20))")
    else:
        page.goto("about:blank")
        page.goto(address + rng.choice(["", "", "?a=<script>"]) + link)
    now = page.evaluate(NOW)
    told = page.locator("#calculator").inner_text()
    wrong = None
    if page.complaints:
        wrong = f"complaints {page.complaints}"
    elif page.title().startswith(MARK) or page.evaluate("({}).polluted ?? ({}).x") is not None:
        wrong = "a script ran, or a prototype was changed"
    elif REFUSED in told and now != own:
        wrong = f"refused, and the numbers changed: {json.dumps(now)}"
    else:
        try:
            growth.forecast(growth.load_scenario({"scenario": now}))
        except growth.GrowthError as error:
            wrong = f"numbers that are not valid: {error}"
    page.goto("about:blank")
    page.goto(address)
    return wrong and f"{link!r}: {wrong}"
