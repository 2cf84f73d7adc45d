"""From an empty folder to a published page in a real JupyterLab, without touching a file by hand."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

import growth
from growth.cli import main
from growth.scenario.about_numbers import sources_by_path

CHROMIUM = shutil.which("chromium")
pytest.importorskip("playwright")
pytest.importorskip("jupyterlab")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
LONG = 120_000  # milliseconds; a slow machine is no failure


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[tuple[Path, str]]:
    folder = tmp_path / "client"
    said = ["--customers", "63", "--price", "29", "--joining", "5", "--leaving", "2", "--goal", "2500"]
    assert main(["new", "Kiln & Co", "--to", str(folder), *said]) == 0
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    options = ["--no-browser", f"--port={port}", "--IdentityProvider.token=", "--allow-root", "--ip=127.0.0.1"]
    # JupyterLab 4.2 hides what is not in view, until one scrolls there
    settings = tmp_path / "settings" / "@jupyterlab" / "notebook-extension" / "tracker.jupyterlab-settings"
    settings.parent.mkdir(parents=True)
    settings.write_text('{"windowingMode": "defer"}', "utf-8")
    own = {
        "JUPYTER_CONFIG_DIR": str(tmp_path / "config"),
        "JUPYTER_RUNTIME_DIR": str(tmp_path / "runtime"),
        "JUPYTERLAB_SETTINGS_DIR": str(tmp_path / "settings"),
    }
    server = subprocess.Popen(
        [sys.executable, "-m", "jupyterlab", *options],
        cwd=folder,
        env=os.environ | own,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        for _ in range(600):
            with socket.socket() as there:
                if there.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.2)
        yield folder, f"http://127.0.0.1:{port}/lab/tree/client.ipynb"
    finally:
        server.terminate()
        server.wait(60)


def test_from_an_empty_folder_to_a_published_page(browser: Any, lab: tuple[Path, str]) -> None:
    from playwright.sync_api import expect

    folder, address = lab
    page = browser.new_page(viewport={"width": 1400, "height": 1000})
    page.set_default_timeout(LONG)
    page.goto(address)

    def run_all() -> None:
        page.locator(".jp-Notebook").wait_for()
        page.get_by_text("Python 3 (ipykernel) | Idle").wait_for()
        page.get_by_text("Run", exact=True).first.click()
        page.locator(".lm-Menu").get_by_text("Run All Cells", exact=True).click()

    run_all()
    leaving = page.locator(".growth-line", has_text="Customers leaving each month").locator("input.growth-number")
    expect(leaving.first).to_have_value("3.1746", timeout=LONG)  # as typed: 2 of 63
    leaving.first.fill("5")
    leaving.first.press("Enter")
    line = page.locator(".growth-line", has_text="Customers leaving each month").first
    expect(line.locator("summary")).to_contain_text("of another number")  # it was told of 2 of 63
    line.locator("summary").click()
    line.get_by_role("combobox", name="Where this number comes from").select_option("measured")
    line.get_by_role("textbox", name="in a few words").fill("counted in <b>June</b>")
    page.get_by_role("button", name="Keep these numbers").click()
    page.get_by_text("Kept in kiln-co.yaml.").wait_for()
    kept = growth.load_scenario(folder / "kiln-co.yaml")
    assert kept.stay.churn.monthly_churn_rate == 0.05
    source = sources_by_path(kept)["stay.churn.monthly_churn_rate"]
    assert (source.source, source.note, source.was) == ("measured", "counted in <b>June</b>", 0.05)
    assert "pay.plans.0.monthly_price" in sources_by_path(kept)

    page.get_by_role("textbox", name="Byline").fill("By <b>Ada</b> Example")
    page.get_by_role("button", name="Keep these words").click()
    page.get_by_text("Kept in kiln-co.yaml.").nth(1).wait_for()

    page.get_by_role("button", name="Publish the page").click()
    page.get_by_text("The page is at").wait_for()
    published = (folder / "published" / "kiln-co.html").read_text("utf-8")
    assert "told by the owner" in published and "2 of 63" not in published
    assert "By &lt;b&gt;Ada&lt;/b&gt; Example" in published
    shown = page.frame_locator("iframe[title='The page']")
    expect(shown.get_by_text("By <b>Ada</b> Example")).to_be_visible(timeout=LONG)

    copy = folder / "meetings" / f"{date.today().isoformat()}.yaml"
    assert copy.read_bytes() == (folder / "kiln-co.yaml").read_bytes()  # for the next meeting

    page.keyboard.press("Control+s")
    page.reload()
    run_all()
    expect(leaving.first).to_have_value("5", timeout=LONG)  # as it was left
    page.close()
