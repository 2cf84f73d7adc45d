"""The exercises as a notebook: each question, a cell to work in, the answer folded away, and the tool's check."""

from __future__ import annotations

import json
from collections.abc import Sequence
from html import escape
from pprint import pformat
from typing import Any

from growth.calculator.language import said
from growth.exercises.exercise import Exercise, exercise_words
from growth.output import SEAL
from growth.scenario import Scenario

_MARKS = "\\`*_[]$|~#"  # that Markdown would read as more than text


def exercise_notebook(exercises: Sequence[Exercise], scenario: Scenario, *, language: str) -> str:
    """The notebook as JSON text; it carries the scenario's numbers, so it needs no other file."""
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
    notebook = {
        "cells": cells,
        "metadata": {
            "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
            "language_info": {"name": "python"},
            "seal": SEAL,
            "title": title,
        },
        "nbformat": 4,
        "nbformat_minor": 5,
    }
    return json.dumps(notebook, indent=1, ensure_ascii=False) + "\n"


def _text(source: str) -> dict[str, Any]:
    return {"cell_type": "markdown", "metadata": {}, "source": source.splitlines(keepends=True)}


def _code(source: str) -> dict[str, Any]:
    return {
        "cell_type": "code",
        "execution_count": None,
        "metadata": {},
        "outputs": [],
        "source": source.splitlines(keepends=True),
    }


def _plain(text: str) -> str:
    """Text as Markdown shows it: neither markup nor a formula nor HTML."""
    return escape("".join(f"\\{mark}" if mark in _MARKS else mark for mark in " ".join(text.split())), quote=False)


def _inline(text: str) -> str:
    """Text within HTML of a Markdown cell."""
    return escape(text, quote=False).replace("$", "&#36;").replace("*", "&#42;").replace("_", "&#95;")
