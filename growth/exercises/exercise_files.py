"""The files of a scenario's exercises: a worksheet and an answer sheet to print, and a notebook."""

from __future__ import annotations

import json
from collections.abc import Sequence
from html import escape
from pathlib import Path
from pprint import pformat
from typing import Any

from growth.calculator.language import language_attributes, said
from growth.errors import PublishError
from growth.exercises.all_questions import questions
from growth.exercises.closed_form import likely_scenario
from growth.exercises.exercise import Exercise, exercise_words
from growth.giveaway.brief import Giveaway, read_giveaway
from growth.giveaway.look import dressed, sender_html
from growth.output import SEAL, write_outputs
from growth.scenario import Scenario
from growth.scenario.file import load_scenario

_STYLE = Path(__file__).with_name("worksheet.css")
_LINES = {"payback": 9, "ltv": 7, "first_mrr": 6, "goal_month": 6, "race": 3}  # to write on, by question
_USUAL_LINES = 4


def worksheet_page(exercises: Sequence[Exercise], scenario: Scenario, giveaway: Giveaway) -> str:
    """The questions with room to write, in the giveaway's language, or in English if it has no exercises."""
    language = giveaway.language
    words = exercise_words(language)
    sections = [
        f"{_question(number, one, language)}{_room(_LINES.get(one.key, _USUAL_LINES))}"
        f'<p class="lead">{escape(words["your_answer"])}</p>{_room(1)}</section>'
        for number, one in enumerate(exercises, 1)
    ]
    whose = f'<div class="whose"><span>{escape(words["name"])}</span><span>{escape(words["date"])}</span></div>'
    intro = f"<p>{escape(words['know'])}</p><p>{escape(words['lead'])}</p>{_notes(scenario, language)}{whose}"
    return _document("title", intro, sections, scenario, giveaway)


def answer_page(exercises: Sequence[Exercise], scenario: Scenario, giveaway: Giveaway) -> str:
    """The same questions with the answers: the formula in words, the sum, and what the tool says."""
    language = giveaway.language
    words = exercise_words(language)
    sections = []
    for number, one in enumerate(exercises, 1):
        lines = "".join(f'<li><bdi dir="ltr">{escape(line)}</bdi></li>' for line in one.working)
        sections.append(
            f'{_question(number, one, language)}<p class="lead">{escape(words["by_hand"])}</p>'
            f'<p class="ask">{escape(one.words)}</p><ul class="working">{lines}</ul>'
            f'<p class="result">{escape(words["answer"])}: {escape(one.answer)}</p>'
            f'<p class="lead">{escape(words["by_tool"])}</p>'
            f'<code dir="ltr">{escape(one.code)} = {round(one.by_tool, 4)}</code></section>'
        )
    return _document("answers_title", _notes(scenario, language), sections, scenario, giveaway)


def _question(number: int, one: Exercise, language: str) -> str:
    words = exercise_words(language)
    title = said(words["question"], n=str(number), title=one.title)
    facts = "".join(f"<li>{escape(fact)}</li>" for fact in one.given)
    given = f'<p class="lead">{escape(words["given"])}</p><ul class="given">{facts}</ul>' if facts else ""
    return f'<section><h2>{escape(title)}</h2>{given}<p class="ask">{escape(one.ask)}</p>'


def _room(lines: int) -> str:
    return f'<div class="room" aria-hidden="true">{"<div></div>" * lines}</div>'


def _notes(scenario: Scenario, language: str) -> str:
    words = exercise_words(language)
    invented = [words["invented"]] if scenario.invented else []
    return f'<p class="soft">{escape(" ".join([*invented, words["mrr"], words["likely"], words["rounding"]]))}</p>'


def _document(title: str, intro: str, sections: Sequence[str], scenario: Scenario, giveaway: Giveaway) -> str:
    words = exercise_words(giveaway.language)
    head = escape(said(words[title], business=scenario.business))
    body = "\n".join(sections)
    return f"""<!doctype html>
<html {language_attributes(words["code"])}><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:">
<title>{head}</title><style>{dressed(_STYLE.read_text("utf-8"), giveaway.look)}</style></head>
<body><main>{sender_html(giveaway.look)}<h1>{head}</h1>{intro}
{body}
<footer>{escape(words["cautions"])}</footer></main></body></html>
"""


def make_exercises(source: str | Path, *, to: str | Path, replace: bool = False) -> list[Path]:
    """Write the worksheet, the answer sheet and the notebook of a scenario file.

    They are called NAME-worksheet.html, NAME-answers.html and NAME-exercises.ipynb, NAME being the giveaway's name,
    and have the giveaway's look and are in its language where exercises are written in it, else in English.

    Parameters
    ----------
    source : a scenario file.
    to : the folder, made if it is not there.
    replace : overwrite files of these names that growth did not write, or that were changed since.

    Returns
    -------
    list of Path
        The three files.

    Raises
    ------
    ScenarioError
        The file is not valid.
    PublishError
        Nobody is ever on board, so there is nothing to ask.
    FileError
        A file may not be written there; none is written then.
    """
    scenario = load_scenario(source)
    giveaway = read_giveaway(source, scenario=scenario)
    plain = likely_scenario(scenario)
    exercises = questions(plain, locale=giveaway.locale)
    if not exercises:
        raise PublishError("there is nothing to ask: nobody is ever on board in this scenario", file=str(source))
    contents: dict[str, str | bytes] = {
        f"{giveaway.name}-worksheet.html": worksheet_page(exercises, plain, giveaway),
        f"{giveaway.name}-answers.html": answer_page(exercises, plain, giveaway),
        f"{giveaway.name}-exercises.ipynb": exercise_notebook(exercises, plain, language=giveaway.language),
    }
    return write_outputs(to, contents, inputs=[source], replace=replace)


_MARKS = "\\`*_[]$|~#"  # that Markdown would read as more than text


def exercise_notebook(exercises: Sequence[Exercise], scenario: Scenario, *, language: str) -> str:
    """The notebook as JSON text. It contains the scenario's numbers and needs no other file."""
    words = exercise_words(language)
    title = said(words["title"], business=scenario.business)
    invented = [words["invented"]] if scenario.invented else []
    lead = " ".join([*invented, words["mrr"], words["likely"], words["rounding"]])
    numbers = pformat(scenario.model_dump(mode="json", exclude_defaults=True), sort_dicts=False, width=100)
    intro = [f"# {_plain(title)}", words["know"], words["lead"], _plain(lead), words["notebook_start"]]
    cells = [
        _text("\n\n".join(intro)),
        _code(
            "import growth\nimport growth.exercises\nimport growth.measures\n\n"
            f"numbers = {numbers}\n"
            'scenario = growth.load_scenario({"scenario": numbers})\nforecast = growth.forecast(scenario)'
        ),
    ]
    for number, one in enumerate(exercises, 1):
        heading = said(words["question"], n=str(number), title=one.title)
        facts = "\n".join(f"- {_plain(fact)}" for fact in one.given)
        cells.append(_text(f"## {_plain(heading)}\n\n{facts}\n\n{_plain(one.ask)}"))
        cells.append(_code(words["notebook_try"]))
        lines = "".join(f"<li>{_inline(line)}</li>" for line in one.working)
        cells.append(
            _text(
                f"<details><summary>{escape(words['notebook_open'])}</summary>\n<p>{_inline(one.words)}</p>\n"
                f"<ul>{lines}</ul>\n<p><strong>{_inline(one.answer)}</strong></p>\n</details>\n\n{words['by_tool']}:"
            )
        )
        cells.append(_code(one.code))
    cells.append(_text(words["cautions"]))
    for index, cell in enumerate(cells):
        cell["id"] = f"exercise-{index}"
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    metadata = {"kernelspec": kernel, "language_info": {"name": "python"}, "seal": SEAL, "title": title}
    notebook = {"cells": cells, "metadata": metadata, "nbformat": 4, "nbformat_minor": 5}
    return json.dumps(notebook, indent=1, ensure_ascii=False) + "\n"


def _text(source: str) -> dict[str, Any]:
    return {"cell_type": "markdown", "metadata": {}, "source": source.splitlines(keepends=True)}


def _code(source: str) -> dict[str, Any]:
    lines = source.splitlines(keepends=True)
    return {"cell_type": "code", "execution_count": None, "metadata": {}, "outputs": [], "source": lines}


def _plain(text: str) -> str:
    """Escape text for Markdown: no markup, formulas or HTML."""
    return escape("".join(f"\\{mark}" if mark in _MARKS else mark for mark in " ".join(text.split())), quote=False)


def _inline(text: str) -> str:
    """Escape text for HTML within a Markdown cell."""
    return escape(text, quote=False).replace("$", "&#36;").replace("*", "&#42;").replace("_", "&#95;")
