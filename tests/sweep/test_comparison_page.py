"""The comparison's page: from the notebook's stored outputs, in a browser without a network."""

import re
from functools import partial
from xml.etree import ElementTree

import nbformat
import numpy as np
import pytest
from axe import violations
from browser_tabs import tab
from sweep_tools import ROOT

import growth
from growth.sweep import comparison_html
from growth.sweep.design import design_of
from growth.sweep.influence import points_of
from growth.sweep.load_sweep import load_sweep
from growth.sweep.notebook_page import notebook_page
from growth.sweep.small_charts import lines, scale_over, some

NOTEBOOK = ROOT / "notebooks" / "comparison.ipynb"


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    page = tmp_path_factory.mktemp("page") / "comparison.html"
    page.write_text(notebook_page(nbformat.read(NOTEBOOK, as_version=4), title="A <test> & more"), encoding="utf-8")
    return page.as_uri()


@pytest.fixture(scope="module")
def sampled():
    design = design_of(load_sweep(ROOT / "scenarios" / "sweep-what-is-uncertain.yaml"))
    return design, points_of(design)


@pytest.fixture(scope="module")
def sampled_address(sampled, tmp_path_factory):
    output = partial(nbformat.v4.new_output, "display_data")
    makers = (
        comparison_html.heading,
        comparison_html.which_moves_most,
        comparison_html.heat_maps,
        comparison_html.small_multiples,
    )
    outputs = [output(data={"text/html": make(*sampled).html}) for make in makers]
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(outputs=outputs)])
    page = tmp_path_factory.mktemp("page") / "sampled.html"
    page.write_text(notebook_page(notebook, title="A sample"), encoding="utf-8")
    return page.as_uri()


def first_column(page, number):
    return page.eval_on_selector_all(
        f".sortable tbody tr td:nth-child({number})", "cells => cells.map(cell => cell.textContent)"
    )


@pytest.mark.parametrize(("which", "title"), [("address", "A <test> & more"), ("sampled_address", "A sample")])
def test_it_asks_for_nothing_and_fits_a_phone(browser, which, title, request):
    address = request.getfixturevalue(which)
    page = tab(browser, viewport={"width": 360, "height": 740})
    page.goto(address)
    assert (page.asked, page.complaints) == ([address], [])
    assert page.title() == title
    assert page.evaluate("document.documentElement.scrollWidth") == 360


def test_a_heading_sorts_up_then_down_with_blanks_last(browser, address):
    page = tab(browser)
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
    page = tab(browser, java_script_enabled=False)
    page.goto(address)
    assert page.locator(".sortable tbody tr").count() == 50
    assert page.locator(".heat").count() == 2 and page.locator("svg").count() == 5
    assert "What moves it most" in page.locator(".answer").inner_text()


@pytest.mark.parametrize(("which", "scheme"), [("address", "light"), ("address", "dark"), ("sampled_address", "light")])
def test_everyone_can_use_it(browser, which, scheme, request):
    address = request.getfixturevalue(which)
    page = tab(browser, color_scheme=scheme, bypass_csp=True)
    page.goto(address)
    assert violations(page) == []


def test_a_sample_is_shown_over_each_axis_and_month_by_month(sampled):
    """Every drawn dot is a point, at its place; the fan's middle is the median of what the one pass computed."""
    design, points = sampled
    root = ElementTree.fromstring(
        comparison_html.small_multiples(design, points).html.replace("&nbsp;", " ").join(["<d>", "</d>"])
    )
    figures = {figure.findtext("figcaption"): figure.find("svg") for figure in root.iter("figure")}
    axes = [axis.title for axis in design.loaded.sweep.axes]
    assert set(figures) == {*axes, "all sets of numbers", "medians by visitors who sign up"}
    shown = some(len(points), 300)
    for title in axes:
        dots = figures[title].find("path").get("d").removeprefix("M").removesuffix("h0").split("h0M")
        drawn = np.array([tuple(map(float, dot.split(","))) for dot in dots])
        assert len(drawn) == 300
        for column, values in ((0, points[title]), (1, points["closing_mrr"])):  # straight lines: the axes' scales
            values = values.to_numpy(float)[shown]
            fitted = np.polyval(np.polyfit(values, drawn[:, column], 1), values)
            assert abs(drawn[:, column] - fitted).max() < 0.1
    said = figures["all sets of numbers"].get("aria-label")
    assert f"50% end below €{points['closing_mrr'].median():,.0f};" in said
    assert len(list(figures["medians by visitors who sign up"].iter("polyline"))) == 5


def test_a_saved_report_stays_small():
    assert (ROOT / "notebooks" / "report.ipynb").stat().st_size < 100_000


def test_the_word_at_the_goal_stands_clear_of_the_lines():
    base = growth.load_scenario(ROOT / "scenarios" / "fernhollow.yaml")
    rising = [np.linspace(1160, end, 37) for end in (2600, 3700, 5100)]
    scale = scale_over(base, rising)
    svg = lines("", "price", [(f"EUR {i}", one) for i, one in enumerate(rising)], scale)
    x, y = (float(n) for n in re.search(r'<text x="([-\d.]+)" y="([-\d.]+)" class="goal-word"', svg).groups())
    for points in re.findall(r'<polyline points="([^"]+)"', svg):
        for a, b in (map(float, point.split(",")) for point in points.split()):
            assert not (x < a < x + 50 and y - 7 < b < y)  # "goal €2,500", ten pixels high
