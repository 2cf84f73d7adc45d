"""The comparison's page: from the notebook's stored outputs, in a browser without a network."""

import nbformat
import pytest
from sweep_tools import ROOT

from growth.sweep.page import page_of
from growth.sweep.reading import SweepError

NOTEBOOK = ROOT / "notebooks" / "comparison.ipynb"


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    page = tmp_path_factory.mktemp("page") / "comparison.html"
    page.write_text(page_of(nbformat.read(NOTEBOOK, as_version=4), title="A <test> & more"), encoding="utf-8")
    return page.as_uri()


def first_column(page, number):
    return page.eval_on_selector_all(
        f".sortable tbody tr td:nth-child({number})", "cells => cells.map(cell => cell.textContent)"
    )


def test_it_asks_for_nothing_and_fits_a_phone(browser, address):
    with browser.new_context(viewport={"width": 360, "height": 740}) as context:
        page = context.new_page()
        asked, said = [], []
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: said.append(message.text))
        page.goto(address)
        assert (asked, said) == ([address], [])
        assert page.title() == "A <test> & more"
        assert page.evaluate("document.documentElement.scrollWidth") == 360


def test_a_heading_sorts_up_then_down_with_blanks_last(browser, address):
    with browser.new_context() as context:
        page = context.new_page()
        page.goto(address)
        goal = page.get_by_role("button", name="goal reached in month")
        goal.focus()
        page.keyboard.press("Enter")
        up = first_column(page, 6)
        page.keyboard.press("Enter")
        down = first_column(page, 6)
    numbers = [int(text) for text in up if text != "–"]
    assert (
        0 < len(numbers) < len(up)
        and numbers == sorted(numbers)
        and up[len(numbers) :] == ["–"] * (len(up) - len(numbers))
    )
    assert [int(text) for text in down[: len(numbers)]] == numbers[::-1] and down[-1] == "–"


def test_with_scripts_off_everything_is_there(browser, address):
    with browser.new_context(java_script_enabled=False) as context:
        page = context.new_page()
        page.goto(address)
        assert page.locator(".sortable tbody tr").count() == 50
        assert page.locator(".heat").count() == 2 and page.locator("svg").count() == 5
        assert "What moves it most" in page.locator(".answer").inner_text()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everyone_can_use_it(browser, address, scheme):
    axe = pytest.importorskip("axe_core_python.sync_playwright")
    with browser.new_context(color_scheme=scheme, bypass_csp=True) as context:
        page = context.new_page()
        page.goto(address)
        found = axe.Axe().run(page)
    assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]] == []


def test_a_notebook_that_shows_nothing_makes_no_page():
    with pytest.raises(SweepError, match="no cell has an HTML output"):
        page_of(nbformat.v4.new_notebook(), title="")


def test_a_saved_report_stays_small():
    assert (ROOT / "notebooks" / "report.ipynb").stat().st_size < 100_000
