"""Make the picture of the README: the demo's published page as it opens on a laptop.

    python tests/readme_picture.py

Needs Chromium. It overwrites growth/giveaway/page.png.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from calculator_page import chromium

from growth.giveaway import publish

ROOT = Path(__file__).resolve().parents[1]
PICTURE = ROOT / "growth" / "giveaway" / "page.png"
MOST_BYTES = 300 * 1024


def main() -> None:
    """Publish the demo, photograph the calculator's part of its page, and check the weight of the picture."""
    with tempfile.TemporaryDirectory() as folder, chromium() as browser:
        page = browser.new_page(viewport={"width": 1280, "height": 800}, color_scheme="light")
        page.goto(publish(ROOT / "scenarios" / "fernhollow.yaml", to=folder).as_uri())
        page.locator(".growth-calculator").first.scroll_into_view_if_needed()
        page.locator(".growth-calculator").first.evaluate("(part) => part.scrollIntoView({ block: 'start' })")
        page.wait_for_timeout(300)
        page.screenshot(path=PICTURE)
    weight = PICTURE.stat().st_size
    if weight > MOST_BYTES:
        raise SystemExit(f"{PICTURE.name} has {weight / 1024:.0f} KB; at most {MOST_BYTES // 1024} are allowed")
    print(f"{PICTURE.relative_to(ROOT)}: {weight / 1024:.0f} KB")


if __name__ == "__main__":
    main()
