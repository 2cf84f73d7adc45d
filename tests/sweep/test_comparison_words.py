"""A comparison speaks the language of its base scenario's page."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import nbformat
import pytest
from sweep_tools import ROOT

import growth
from growth.calculator.language import LOCALE, languages, locale_of
from growth.sweep import comparison_html, report_html
from growth.sweep.comparison_words import ComparisonWords, axis_labels
from growth.sweep.design import design_of
from growth.sweep.influence import points_of
from growth.sweep.load_sweep import load_sweep
from growth.sweep.notebook_page import notebook_page
from growth.sweep.report_notebook import parameters_of
from growth.sweep.results import tasks_of

REPORT = ROOT / "notebooks" / "report.ipynb"


def texts(words: object, place: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(words, dict):
        for key, part in words.items():
            yield from texts(part, f"{place}.{key}")
    else:
        yield place, str(words)


def swept(folder: Path, language: str, sweep: str, scenario: str) -> object:
    shutil.copy(ROOT / "scenarios" / sweep, folder)
    text = (ROOT / "scenarios" / scenario).read_text("utf-8")
    if "\ngiveaway:\n" not in text:
        text += "\ngiveaway:\n  name: piece\n  question: How big can it get?\n"
    said = text.replace("\ngiveaway:\n", f"\ngiveaway:\n  language: {language}\n")
    (folder / scenario).write_text(said, encoding="utf-8")
    return design_of(load_sweep(folder / sweep))


@pytest.mark.parametrize("language", languages())
def test_every_language_says_everything_with_its_places(language: str) -> None:
    english, own = dict(texts(ComparisonWords().words)), dict(texts(ComparisonWords(locale_of(language)).words))
    assert own.keys() == english.keys()
    for key, text in english.items():
        assert sorted(re.findall(r"\{\w+\}", own[key])) == sorted(re.findall(r"\{\w+\}", text)), key
    alike = {key for key in english if own[key] == english[key]}
    assert language == "en" or len(alike) <= 6  # such as "notebook", "axe"


def test_page_and_numbers_follow_the_language_of_the_scenario(tmp_path: Path) -> None:
    design = swept(tmp_path, "de", "sweep-churn-and-price.yaml", "fernhollow.yaml")
    points = points_of(design)
    makers = ("heading", "which_moves_most", "heat_maps", "small_multiples", "table")
    pieces = [getattr(comparison_html, name)(design, points).html for name in makers]
    pieces.append(comparison_html.cautions(design).html)
    cells = [
        nbformat.v4.new_code_cell(outputs=[nbformat.v4.new_output("display_data", data={"text/html": html})])
        for html in pieces
    ]
    page = notebook_page(nbformat.v4.new_notebook(cells=cells), title="x", locale=design.loaded.locale)
    assert '<html lang="de">' in page and "die Tabelle lässt sich seitlich verschieben" in page
    english = dict(texts(ComparisonWords(LOCALE).words))
    plain = re.sub(r"<[^>]*>", "", "".join(pieces))
    longer = [part for text in english.values() for part in re.split(r"\{\w+\}", text) if len(part) > 12]
    assert [part for part in longer if part in plain] == []
    plain = plain.replace("\N{NO-BREAK SPACE}", " ")
    assert "1.895 € bis 7.448 €" in plain and "Das Ziel von 2.500 € wird mit 45 davon erreicht." in plain


def test_ranges_are_shown_under_the_labels_of_the_language(tmp_path: Path) -> None:
    design = swept(tmp_path, "fr", "sweep-ranges.yaml", "from-zero.yaml")
    assert axis_labels(design)["Sign-ups who become customers"] == "Inscrits qui deviennent clients"
    assert "Sign-ups who become customers" in design.loaded.unknowns  # the file of points keeps its columns


@pytest.mark.parametrize("language", sorted(set(languages()) - {"en"}))
def test_a_report_speaks_the_language_of_the_scenario(language: str, tmp_path: Path) -> None:
    """What it writes of an English forecast stands on no page in another language."""
    design = swept(tmp_path, language, "sweep-churn-and-price.yaml", "fernhollow.yaml")
    [task, *_] = tasks_of(design, [0], REPORT, takes=parameters_of(REPORT))
    locale = task.parameters["locale"]
    assert locale == locale_of(language) and task.parameters["point"] == task.title
    forecast = growth.forecast(growth.load_scenario(task.parameters["scenario"]))
    short = growth.forecast(forecast.scenario.model_copy(update={"months": 6, "goal_mrr": None}))

    def page(shown: growth.Forecast, locale: str) -> list[str]:
        makers = (report_html.mrr, report_html.in_and_out, report_html.cash, report_html.bridge_table)
        pieces = [make(shown, locale).html for make in (*makers, report_html.measures)]
        pieces += [report_html.title(shown, {}, locale=locale).html, report_html.cautions(locale).html]
        words = re.findall(r">([^<>]*[a-z]{2}[^<>]*)<", " ".join(pieces))
        return [word.strip() for word in words]

    for shown in (forecast, short):
        alike = set(page(shown, locale)) & set(page(shown, LOCALE))
        assert alike <= {forecast.scenario.business}, alike
