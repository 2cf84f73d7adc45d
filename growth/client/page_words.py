"""The words of a page field by field, as a form shows them: what is in the file, what was changed, what is missing."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, TypeAlias

from growth.calculator.language import ENGLISH, languages
from growth.errors import GrowthError, Problem, ScenarioError
from growth.giveaway.brief import Giveaway
from growth.giveaway.look import with_logo
from growth.giveaway.placeholders import filled
from growth.giveaway.review import words_reviewed
from growth.scenario import Scenario
from growth.scenario.address import Place
from growth.scenario.validation import problems_in

Words: TypeAlias = dict[str, Any]  # the plain `giveaway` part of a file
Typed: TypeAlias = str | bool  # what a field of the form holds
ACCENT = "#1f5f8b"  # of a page without one of its own, on light paper


@dataclass(frozen=True, slots=True)
class WordField:
    """One field of the form.

    Attributes
    ----------
    place
        In the `giveaway` part.
    label, hint
        What stands before it, and in it while it is empty.
    kind
        A line, a text of several lines, a list of paragraphs, one of several choices, a colour, a logo or a yes or no.
    without
        What it shows where the file says nothing.
    choices
        Label and value of each.
    """

    place: Place
    label: str
    hint: str = ""
    kind: Literal["line", "text", "paragraphs", "choice", "colour", "logo", "yes"] = "line"
    without: Typed = ""
    choices: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Remark:
    """What is to be said of a field: something wrong, which cannot be kept, or a question as an editor would ask it."""

    place: Place
    text: str
    wrong: bool


def groups(words: Words) -> dict[str, list[WordField]]:
    """The form's fields by heading: of the quotations, one more than there are.

    >>> [field.label for field in groups({})["The question"]]
    ['Question', 'Answer']
    """
    filled_in = "optional, above the computed answer; {goal_month} and {closing_mrr} are filled in"
    there = len(value_at(words, ("case", "quotations")) or ())
    quotations = [
        field
        for n in range(there + 1)
        for field in (
            WordField(("case", "quotations", n, "words"), "They said", "a sentence you heard or read", "text"),
            WordField(("case", "quotations", n, "who"), "Who said it", "an owner of a pottery studio"),
        )
    ]
    apart = "an empty line between paragraphs"
    return {
        "The question": [
            WordField(("question",), "Question", "as one reader would say it aloud, with their own numbers", "text"),
            WordField(("answer",), "Answer", filled_in, "text"),
        ],
        "Whom it is for": [
            *quotations,
            WordField(("case", "details"), "Their situation", f"what you know of it; {apart}", "paragraphs"),
            WordField(("cautions",), "It leaves out", f"what would change the answer; {apart}", "paragraphs"),
        ],
        "The invitation": [
            WordField(("invitation", "text"), "Invitation", "one thing to do: shall I send you the next?", "text"),
            WordField(("invitation", "button"), "Button", "as the language has it"),
            WordField(("invitation", "form_address"), "Form posts to", "https://, from your mailing list"),
            WordField(("invitation", "link"), "or links to", "https://"),
        ],
        "Whose page it is": [
            WordField(("byline",), "Byline", "who wrote it, in a line"),
            WordField(("look", "name"), "Name", "yours, beside the logo"),
            WordField(("look", "site"), "Site", "https://"),
            WordField(("address",), "Page's address", "https://, where the page will be"),
            WordField(("name",), "File name", "how-big-can-it-get"),
        ],
        "How it looks": [
            WordField(("look", "accent"), "Accent", kind="colour", without=ACCENT),
            WordField(("look", "logo"), "Logo", "an .svg or .png file beside the client's file", "logo"),
            _choice(("look", "letters"), "Letters", ("serif", "sans"), "serif"),
            _choice(("look", "scheme"), "Light or dark", ("reader", "light", "dark"), "reader"),
            WordField(
                ("language",),
                "Language",
                kind="choice",
                without=ENGLISH,
                choices=tuple((name, code) for code, name in languages().items()),
            ),
            WordField(("show_sources",), "Show where the numbers come from", kind="yes", without=False),
        ],
    }


_CHOICES = {
    "serif": "serif, like a book",
    "sans": "sans serif, like a screen",
    "reader": "as the reader's device",
    "light": "always light",
    "dark": "always dark",
}


def _choice(place: Place, label: str, values: tuple[str, ...], without: str) -> WordField:
    return WordField(
        place, label, kind="choice", without=without, choices=tuple((_CHOICES[one], one) for one in values)
    )


def shown(field: WordField, words: Words) -> Typed:
    """What a field shows of a file's words."""
    value = value_at(words, field.place)
    if isinstance(value, list):
        return "\n\n".join(str(part).strip() for part in value)
    known = value in dict(field.choices).values() if field.kind == "choice" else isinstance(value, str | bool)
    return field.without if not known else value.strip() if isinstance(value, str) else bool(value)


def changed_words(words: Words, typed: Mapping[Place, Typed], fields: list[WordField]) -> Words:
    """The file's words with every field as it was typed; what no field is about stays, and so does their order.

    Parameters
    ----------
    words
        As they are in the file. They are not changed.
    typed
        By the place of the field. Fields that are not in it stay.
    fields
        Of the form.

    Examples
    --------
    >>> fields = groups({})["Whose page it is"]
    >>> changed_words({"byline": "Me", "name": "a"}, {("byline",): " ", ("look", "site"): "https://x.org"}, fields)
    {'name': 'a', 'look': {'site': 'https://x.org'}}
    """
    changed = words
    for field in fields:
        if field.place not in typed or typed[field.place] == shown(field, words):
            continue
        value: Any = typed[field.place]
        if field.kind == "paragraphs":
            value = [part.strip() for part in re.split(r"\n\s*\n", str(value)) if part.strip()]
        elif isinstance(value, str):
            value = value.strip()
        changed = _put(changed, field.place, value if value not in ("", [], field.without) else None) or {}
    quotations = value_at(changed, ("case", "quotations"))
    if isinstance(quotations, list) and {} in quotations:
        changed = _put(changed, ("case", "quotations"), [one for one in quotations if one] or None) or {}
    return changed


def remarks_on(words: Words, scenario: Scenario, folder: Path) -> list[Remark]:
    """What is wrong with a page's words; or, where nothing is, what an editor would ask.

    Parameters
    ----------
    words
        The plain `giveaway` part.
    scenario
        The numbers that places such as {goal_month} are filled from.
    folder
        Where the logo's file lies.

    Examples
    --------
    >>> plan = {"name": "Studio", "monthly_price": 29}
    >>> kiln = Scenario(business="Kiln", pay={"plans": [plan]})
    >>> [(one.place, one.wrong) for one in remarks_on({"name": "kiln", "question": "Why?"}, kiln, Path())]
    [(('question',), True)]
    """
    found = problems_in(Giveaway, words, root="giveaway")
    if isinstance(found, tuple):
        return [_wrong(problem) for problem in found]
    wrong = []
    try:
        with_logo(found.look, folder)
    except GrowthError as error:
        wrong = [Remark(("look", "logo"), str(error), wrong=True)]
    try:
        read = filled(found, scenario=scenario)
    except ScenarioError as error:
        return [*wrong, *(_wrong(problem) for problem in error.problems)]
    asked = words_reviewed(found, read, scenario)
    return [*wrong, *(Remark(place_of(one.field), f"{one.reason} {one.suggestion}", wrong=False) for one in asked)]


def field_about(place: Place, fields: list[WordField]) -> WordField | None:
    """The field that a place belongs to; of a part, its first field.

    >>> field_about(("invitation",), groups({})["The invitation"]).label
    'Invitation'
    """
    alike = (one for one in fields if place[: len(one.place)] == one.place or one.place[: len(place)] == place)
    return next(alike, None) if place else None


def place_of(field: str) -> Place:
    """A place as an error or a finding names it, without the part of the file.

    >>> place_of("giveaway.case.quotations[1].words")
    ('case', 'quotations', 1, 'words')
    """
    steps = re.findall(r"[^.\[\]]+", field.removeprefix("giveaway").lstrip("."))
    return tuple(int(step) if step.isdigit() else step for step in steps)


def value_at(words: Words, place: Place) -> Any:
    """The value at a place of plain words; None where there is none."""
    value: Any = words
    for step in place:
        inside = isinstance(value, list) and isinstance(step, int) and step < len(value)
        value = value[step] if inside else value.get(step) if isinstance(value, dict) else None
    return value


def _wrong(problem: Problem) -> Remark:
    text = str(replace(problem, field="", line=None))
    return Remark(place_of(problem.field), text[:1].upper() + text[1:], wrong=True)


def _put(part: Any, place: Place, value: Any) -> Any:
    """A part with a value set at a place within it, or taken out where it is None; None where nothing is left."""
    step, rest = place[0], place[1:]
    if isinstance(step, int):
        part = [*(part or [])]
        part += [{}] * (step + 1 - len(part))
    else:
        part = dict(part or {})
    new = _put(value_at({"": part}, ("", step)), rest, value) if rest else value
    if new is not None:
        part[step] = new
    elif isinstance(part, dict):
        part.pop(step, None)
    else:
        part[step] = {}
    return part or None
