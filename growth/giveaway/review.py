"""Review a brief as an editor would before it is published: what is wrong, where, why, and what to try.

The rules are rules of thumb (common practice, no source): each finding is a question to the writer, not a verdict.
Rules that look for particular words know English only; for a brief in another language `passed_over` says what was not
checked.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from babel.numbers import get_decimal_symbol, get_group_symbol

from growth.calculator.language import ENGLISH, languages
from growth.giveaway.brief import Giveaway, read_giveaway
from growth.giveaway.finding import Finding
from growth.giveaway.placeholders import PLACEHOLDER, load_giveaway
from growth.giveaway.review_gaps import missing_parts
from growth.giveaway.review_words import (
    ASKS,
    GENERAL,
    HEDGES,
    HINTS_OF_ELSEWHERE,
    INTERVALS,
    NUMBER_WORDS,
    PROMISES,
    TERMS,
    explained,
    sentences,
)
from growth.scenario import Scenario
from growth.scenario.address import Place
from growth.scenario.file import load_document, load_scenario

LONGEST_SENTENCE = 26  # words; common practice, no source
SHORTEST_QUESTION = 7  # words; common practice, no source
_END = re.compile(r"(?<=[.!?])(?<!\s[^\W\d]\.)\s+(?=\D)")  # of a sentence; not that of "z. B." or "Jan. 2029"


@dataclass(frozen=True, slots=True)
class Passage:
    """A text of the brief: its field and line, as written and with its placeholders filled in."""

    field: str
    line: int | None
    text: str
    read: str

    def finding(self, rule: str, words: str, reason: str, suggestion: str) -> Finding:
        """A finding about words of this passage."""
        return Finding(rule, self.field, self.line, words, reason, suggestion)


def review(path: str | Path, *, notebook: str | Path | None = None, page: str | None = None) -> list[Finding]:
    """Review the brief in a scenario file.

    Parameters
    ----------
    path
        The scenario file. Without a `giveaway:` part the default question is reviewed.
    notebook
        A giveaway notebook whose own Markdown is reviewed too.
    page
        The HTML of the published page, checked for pictures without text and for its weight.

    Returns
    -------
    list of Finding
        In the order of the file's lines; findings without a line come last.

    Raises
    ------
    ScenarioError
        If the file is not valid.
    """
    scenario = load_scenario(path)
    giveaway, read = read_giveaway(path, scenario=scenario), load_giveaway(path, scenario=scenario)
    findings = words_reviewed(giveaway, read, scenario, load_document(path).lines)
    if notebook is not None or page is not None:
        from growth.giveaway.review_page import notebook_findings, page_findings

        findings += notebook_findings(notebook) if notebook else []
        findings += page_findings(page) if page else []
    return sorted(findings, key=lambda finding: finding.line or 10**9)


def words_reviewed(
    giveaway: Giveaway, read: Giveaway, scenario: Scenario, lines: Mapping[Place, int] | None = None
) -> list[Finding]:
    """Review the words alone.

    Parameters
    ----------
    giveaway, read
        With their placeholders as written, and filled in.
    scenario
        The numbers that the words may name.
    lines
        The line of each place in the file; without them findings have no line.
    """
    lines = lines or {}
    passages = list(_passages(giveaway, read, lines))
    line = lines.get(("giveaway",)) or lines.get(("scenario",))
    english = giveaway.language == ENGLISH
    return [
        *_question(passages, english),
        *missing_parts(giveaway, line=line),
        *_answers(passages, english),
        *_invitations(giveaway, passages, english),
        *(finding for passage in passages for finding in _prose(passage, scenario, giveaway.locale)),
        *(_terms(passages) if english else ()),
    ]


def passed_over(path: str | Path) -> str:
    """A sentence on the rules that were skipped because of the brief's language.

    Parameters
    ----------
    path
        The scenario file.

    Returns
    -------
    str
        "" for a brief in English.

    Raises
    ------
    ScenarioError
        If the file is not valid.
    """
    language = read_giveaway(path, scenario=load_scenario(path)).language
    if language == ENGLISH:
        return ""
    return (
        f"The brief is in {language} ({languages()[language]}). Rules that look for words know English alone, so "
        "promises, terms of the trade, hedged answers, numbers in words and calls to do something were not looked for."
    )


def _passages(giveaway: Giveaway, read: Giveaway, lines: Mapping[Place, int]) -> Iterator[Passage]:
    def one(text: str, as_read: str, *place: str | int) -> Passage:
        field = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in place).lstrip(".")
        return Passage(field, lines.get(("giveaway", *place)), text, as_read)

    yield one(giveaway.question, read.question, "question")
    for n, (quotation, _) in enumerate(zip(giveaway.case.quotations, read.case.quotations, strict=True)):
        yield one(quotation.words, quotation.words, "case", "quotations", n, "words")
    for n, (text, as_read) in enumerate(zip(giveaway.case.details, read.case.details, strict=True)):
        yield one(text, as_read, "case", "details", n)
    if giveaway.answer:
        yield one(giveaway.answer, read.answer, "answer")
    for n, (text, as_read) in enumerate(zip(giveaway.cautions, read.cautions, strict=True)):
        yield one(text, as_read, "cautions", n)
    if giveaway.byline:
        yield one(giveaway.byline, read.byline, "byline")
    if giveaway.invitation:
        yield one(giveaway.invitation.text, giveaway.invitation.text, "invitation", "text")


def _question(passages: list[Passage], english: bool) -> Iterator[Finding]:
    passage = passages[0]
    hers = re.search(r"\b(I|I'm|I've|my|me|we|our|us)\b|\d", passage.text)
    general = english and (not hers or GENERAL.search(passage.text))
    if "?" not in passage.text or len(passage.text.split()) < SHORTEST_QUESTION or general:
        yield passage.finding(
            "general question",
            passage.text,
            "A general question fits everybody, so nobody takes it for their own.",
            "Put it as one reader would say it aloud: with I or my, the two things to choose between, a "
            "number of theirs.",
        )


def _answers(passages: list[Passage], english: bool) -> Iterator[Finding]:
    for passage in passages:
        if passage.field != "answer":
            continue
        sentences = _END.split(passage.read.strip())
        hedge = HEDGES.search(passage.read) if english else None
        if len(sentences) > 2 or hedge:
            words = hedge[0] if hedge else passage.read
            yield passage.finding(
                "more than one answer",
                words,
                "A reader remembers one answer. Two are an essay, and leave the choice where it was.",
                "Keep the answer that the numbers give, in one sentence or two. Put the rest into a caution, "
                "or another piece.",
            )


def _invitations(giveaway: Giveaway, passages: list[Passage], english: bool) -> Iterator[Finding]:
    reason = "Each further invitation takes away from the first."
    for passage in passages:
        if passage.field.startswith(("case.quotations", "question")):
            continue
        asks = sorted({match[0].lower() for match in ASKS.finditer(passage.text)} if english else ())
        if passage.field == "invitation.text":
            wrong = len(asks) > 1 or passage.text.count("?") > 1
            suggestion = "Ask for one thing. The best reader will do that one."
        else:
            wrong = bool((asks and giveaway.invitation) or HINTS_OF_ELSEWHERE.search(passage.text))
            suggestion = "Leave it out here; the invitation at the end does the asking."
        if wrong:
            said = ", ".join(asks) or passage.text
            yield passage.finding("more than one invitation", said, reason, suggestion)


def _prose(passage: Passage, scenario: Scenario, locale: str) -> Iterator[Finding]:
    if passage.field.startswith("case.quotations"):
        return
    for promise in PROMISES.finditer(passage.text) if locale.startswith(ENGLISH) else ():
        if not re.search(
            r"\b(not?|nor|never|nobody|no one|without)\W+(\w+\W+){0,3}$", passage.text[: promise.start()], re.IGNORECASE
        ):
            yield passage.finding(
                "promise",
                promise[0],
                "Nobody can promise it, and a forecast is not a promise.",
                "Say what follows from which numbers: on these numbers, you would reach it in month {goal_month}.",
            )
    counted = passage.field.startswith("cautions") and INTERVALS.search(passage.text)  # what is known, not what follows
    if passage.field != "question" and not counted:
        yield from _numbers(passage, scenario, locale)
    for sentence in sentences(passage.read):
        count = len(sentence.split())
        if count > LONGEST_SENTENCE:
            yield passage.finding(
                "long sentence",
                f"{count} words: {sentence}",
                "On a phone the start is out of sight before the end is read.",
                "Make two sentences of it.",
            )


def _numbers(passage: Passage, scenario: Scenario, locale: str) -> Iterator[Finding]:
    prose = PLACEHOLDER.sub(" ", passage.text)
    known = _inputs(scenario)
    found = [match[0] for match in re.finditer(r"\d[\d,.]*\d%?|\d%?", prose)]
    found = [text for text in found if not _is_known(text, known, locale)]
    if passage.field == "answer" and locale.startswith(ENGLISH):
        found += [match[0] for match in NUMBER_WORDS.finditer(prose)]
    for text in found:
        yield passage.finding(
            "number not computed",
            text,
            "The model did not compute it, so it will be wrong as soon as an assumption is changed.",
            "Put a place for it, such as {closing_mrr} or {goal_month}, or leave the number out.",
        )


def _inputs(scenario: Scenario) -> set[float]:
    """Every number that is written in the scenario, shares also as per cent."""

    def numbers(value: object) -> Iterator[float]:
        if isinstance(value, (dict, list)):
            for part in value.values() if isinstance(value, dict) else value:
                yield from numbers(part)
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            yield float(value)

    found = set(numbers(scenario.model_dump(mode="json")))
    return found | {round(value * 100, 9) for value in found if 0 < value <= 1} | {float(scenario.first_month[:4])}


def _is_known(text: str, known: set[float], locale: str) -> bool:
    thousands, point = get_group_symbol(locale.replace("-", "_")), get_decimal_symbol(locale.replace("-", "_"))
    try:
        return float(text.rstrip("%").replace(thousands, "").replace(point, ".")) in known
    except ValueError:
        return False


def _terms(passages: list[Passage]) -> Iterator[Finding]:
    whole = " ".join(passage.read for passage in passages if not passage.field.startswith("case.quotations"))
    seen = set()
    for passage in (one for one in passages if not one.field.startswith("case.quotations")):
        for term, meaning in TERMS.items():
            match = re.search(rf"\b{term}\b", passage.read, 0 if term.isupper() else re.IGNORECASE)
            if match and term not in seen and not explained(term, whole):
                seen.add(term)
                yield passage.finding(
                    "term not explained",
                    match[0],
                    "Not every reader knows this term of the trade.",
                    f"Say once, where it first stands, that it is {meaning}; or use the plain words alone.",
                )
