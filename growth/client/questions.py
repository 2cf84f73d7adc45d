"""What to ask an owner, in order: the five first questions, then whatever moves this client's answer most."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from growth.calculator.as_said import as_said
from growth.calculator.language import LOCALE, messages, said, words_in
from growth.calculator.number_words import percent
from growth.giveaway.sensitivity import sensitivities
from growth.scenario import Scenario
from growth.scenario.about_numbers import sources_by_path
from growth.scenario.address import fields

_FILES = Path(__file__).parent / "languages"


def question_words(locale: str = LOCALE) -> dict[str, Any]:
    """The words of the list in a locale's language; English where the language has no file here.

    What to ask about a number stands under `ask`, by the number's name: common practice, no source.

    >>> question_words("de-DE")["first_head"]
    'Zuerst'
    """
    return words_in(_FILES, locale)


def questions_text(scenario: Scenario, locale: str = LOCALE) -> str:
    """The list of questions as Markdown.

    Parameters
    ----------
    scenario
        Of the client, as far as it is known. The deeper questions follow from its numbers.
    locale
        Its language is that of the list.

    Returns
    -------
    str
        Markdown: five first questions, then one for each number that moves the last month's MRR, the largest effect
        first, with where the number comes from so far.

    Examples
    --------
    >>> plan = {"name": "Studio", "monthly_price": 29}
    >>> text = questions_text(Scenario(business="Kiln", opening={"customers": 40}, pay={"plans": [plan]}))
    >>> text.splitlines()[0]
    '# What to ask: Kiln'
    """
    words, kinds = question_words(locale), messages(locale)["page"]["sources"]
    known = sources_by_path(scenario)
    there = {field.path: field for field in fields(scenario)}
    lines = [f"# {said(words['title'], business=scenario.business)}", "", f"## {words['first_head']}", ""]
    lines += [f"{number}. {question}" for number, question in enumerate(words["first"], start=1)]
    lines += ["", f"## {words['then_head']}", ""]
    for number, one in enumerate(sensitivities(scenario, locale), start=1):
        source, field = known.get(one.path), there[one.path]
        told = "; ".join(text for text in (kinds[source.source], source.note) if text) if source else words["no_source"]
        if given := as_said(field.value, field.assumption.unit, scenario.currency, locale):
            told += f"; {given[:1].lower()}{given[1:-1]}"
        effect = words["hardly"]
        if one.size >= 0.005:
            share = percent(round(one.size, 2), locale)
            effect = said(words["moves"], month=str(scenario.months), share=share)
        question = words["ask"].get(field.name, words["other"])
        lines.append(f"{number}. **{one.label}** ({effect}; {told}). {question}")
    lines += ["", words["caution"], ""]
    return "\n".join(lines)
