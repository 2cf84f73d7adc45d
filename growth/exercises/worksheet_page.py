"""The worksheet and the answer sheet as pages to print, on A4 or Letter, with no script."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from pathlib import Path

from growth.calculator.language import language_attributes, said
from growth.exercises.exercise import Exercise, exercise_words
from growth.scenario import Scenario

_STYLE = Path(__file__).with_name("worksheet.css")
_LINES = {"payback": 9, "ltv": 7, "first_mrr": 6, "goal_month": 6, "race": 3}  # to write on, by question
_USUAL_LINES = 4


def worksheet_page(exercises: Sequence[Exercise], scenario: Scenario, *, language: str) -> str:
    """The questions with room to write. language: the code of a language; English where it has no exercises."""
    words = exercise_words(language)
    sections = [
        f"{_question(number, one, language)}{_room(_LINES.get(one.key, _USUAL_LINES))}"
        f'<p class="lead">{escape(words["your_answer"])}</p>{_room(1)}</section>'
        for number, one in enumerate(exercises, 1)
    ]
    whose = f'<div class="whose"><span>{escape(words["name"])}</span><span>{escape(words["date"])}</span></div>'
    intro = f"<p>{escape(words['know'])}</p><p>{escape(words['lead'])}</p>{_notes(scenario, language)}{whose}"
    return _document("title", intro, sections, scenario, language)


def answer_page(exercises: Sequence[Exercise], scenario: Scenario, *, language: str) -> str:
    """The same questions with the answers: the formula in words, the sum, and what the tool says."""
    words = exercise_words(language)
    sections = []
    for number, one in enumerate(exercises, 1):
        lines = "".join(f"<li>{escape(line)}</li>" for line in one.working)
        sections.append(
            f'{_question(number, one, language)}<p class="lead">{escape(words["by_hand"])}</p>'
            f'<p class="ask">{escape(one.words)}</p><ul class="working">{lines}</ul>'
            f'<p class="result">{escape(words["answer"])}: {escape(one.answer)}</p>'
            f'<p class="lead">{escape(words["by_tool"])}</p>'
            f"<code>{escape(one.code)} = {round(one.by_tool, 4)}</code></section>"
        )
    return _document("answers_title", _notes(scenario, language), sections, scenario, language)


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


def _document(title: str, intro: str, sections: Sequence[str], scenario: Scenario, language: str) -> str:
    words = exercise_words(language)
    head = escape(said(words[title], business=scenario.business))
    body = "\n".join(sections)
    return f"""<!doctype html>
<html {language_attributes(words["code"])}><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>{head}</title><style>{_STYLE.read_text("utf-8")}</style></head>
<body><main><h1>{head}</h1>{intro}
{body}
<footer>{escape(words["cautions"])}</footer></main></body></html>
"""
