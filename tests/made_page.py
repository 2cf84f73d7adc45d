"""A published page without the seconds that its kernel takes."""

from __future__ import annotations

from pathlib import Path

import nbformat

import growth
from growth.calculator.data import PAGE_DATA, page_data
from growth.giveaway import sections
from growth.giveaway.brief import Giveaway, brief_data
from growth.giveaway.exporter import page_html
from growth.giveaway.placeholders import load_giveaway
from growth.scenario import Scenario


def page_of(words: Giveaway, result: growth.Forecast, scenario: Scenario) -> str:
    """As the notebook makes it, without a kernel: the same outputs in the same order."""
    shown = [
        sections.question(words, result)._repr_mimebundle_(),
        sections.case(words)._repr_mimebundle_(),
        {PAGE_DATA: page_data(scenario, locale=words.locale, brief=brief_data(words))},
        sections.worked_month(result, locale=words.locale)._repr_mimebundle_(),
        sections.cautions(words)._repr_mimebundle_(),
        sections.invitation(words)._repr_mimebundle_(),
    ]
    cells = [
        nbformat.v4.new_code_cell(outputs=[nbformat.v4.new_output("display_data", data=bundle)]) for bundle in shown
    ]
    return page_html(nbformat.v4.new_notebook(cells=cells))


def without_kernel(scenario: Scenario, words: Giveaway, **_: object) -> tuple[str, int]:
    """In place of `publishing.made_page`, where a test is not about how the notebook is run."""
    return page_of(words, growth.forecast(scenario), scenario), 1


def made(source: Path, folder: Path) -> Path:
    """The page of a scenario file, in that folder; `test_page.py` holds that it is the published one."""
    scenario = growth.load_scenario(source)
    file = folder / "page.html"
    file.write_text(page_of(load_giveaway(source, scenario=scenario), growth.forecast(scenario), scenario), "utf-8")
    return file
