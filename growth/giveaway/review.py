"""Review a brief as an editor would before it is published: what is wrong, where, why, and what to try.

The rules are rules of thumb (common practice, no source): each finding is a question to the writer, not a verdict.
Rules that look for particular words know English only; for a brief in another language `passed_over` says what was not
checked.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from babel.numbers import parse_decimal

from growth.calculator.language import ENGLISH, languages
from growth.giveaway.brief import Giveaway, read_giveaway
from growth.giveaway.placeholders import PLACEHOLDER, load_giveaway
from growth.giveaway.publishing import MOST_BYTES
from growth.giveaway.review_words import (
    ASKS,
    GAPS,
    GENERAL,
    HEDGES,
    HINTS_OF_ELSEWHERE,
    INTERVALS,
    NUMBER_WORDS,
    PROMISES,
    REMARKS,
    TERMS,
    explained,
    sentences,
)
from growth.scenario import Scenario
from growth.scenario.address import Place, in_file, value_at
from growth.scenario.file import load_document, load_scenario

LONGEST_SENTENCE = 26  # words; common practice, no source
SHORTEST_QUESTION = 7  # words; common practice, no source
_END = re.compile(r"(?<=[.!?])(?<!\s[^\W\d]\.)\s+(?=\D)")  # of a sentence; not that of "z. B." or "Jan. 2029"
_DENIED = re.compile(r"\b(not?|nor|never|nobody|no one|without)\W+(\w+\W+){0,3}$", re.IGNORECASE)
_PICTURE = re.compile(r"!\[\s*\]\([^)]*\)|<img(?![^>]*\balt=[\"'][^\"'])[^>]*>", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Finding:
    """One remark on a brief, a notebook or a page.

    rule: its short name, such as "long sentence". field: of the giveaway, such as "case.details[0]", or the cell, or
    "the page". line: of the file, from 1; None where there is none. words: the passage; "" where something is missing.
    reason: why it matters. suggestion: what to try.
    """

    rule: str
    field: str
    line: int | None
    words: str
    reason: str
    suggestion: str


@dataclass(frozen=True, slots=True)
class Passage:
    """A text of the brief: its field and line, as written and with its placeholders filled in."""

    field: str
    line: int | None
    text: str
    read: str

    @property
    def quoted(self) -> bool:
        """Whether somebody else said it."""
        return self.field.startswith("case.quotations")

    def finding(self, rule: str, words: str, *, suggestion: str = "") -> Finding:
        """A finding about words of this passage, with the rule's own suggestion or another one."""
        reason, usual = REMARKS[rule]
        return Finding(rule, self.field, self.line, words, reason, suggestion or usual)


def review(path: str | Path, *, notebook: str | Path | None = None, page: str | None = None) -> list[Finding]:
    """Review the brief in a scenario file; without a `giveaway:` part the default question is reviewed.

    notebook: a giveaway notebook whose own Markdown is reviewed too. page: the HTML of the published page, checked for
    pictures without text and for its weight. The findings stand in the order of the file's lines, those without a line
    last. Raises ScenarioError if the file is not valid.
    """
    scenario = load_scenario(path)
    giveaway, read = read_giveaway(path, scenario=scenario), load_giveaway(path, scenario=scenario)
    findings = words_reviewed(giveaway, read, scenario, load_document(path).lines)
    findings += notebook_findings(notebook) if notebook else []
    findings += page_findings(page) if page else []
    return sorted(findings, key=lambda finding: finding.line or 10**9)


def words_reviewed(
    giveaway: Giveaway, read: Giveaway, scenario: Scenario, lines: Mapping[Place, int] | None = None
) -> list[Finding]:
    """Review the words alone: those of `giveaway` as written, and of `read` with their placeholders filled in.

    scenario: the numbers that the words may name. lines: the line of each place in the file; without them findings
    have no line.
    """
    lines = lines or {}
    passages = _passages(giveaway, read, lines)
    own = [passage for passage in passages if not passage.quoted]
    english = giveaway.language == ENGLISH
    return [
        *_question(passages[0], english),
        *_gaps(giveaway, lines.get(("giveaway",)) or lines.get(("scenario",))),
        *(finding for passage in own if passage.field == "answer" for finding in _answer(passage, english)),
        *(finding for passage in own[1:] for finding in _invitation(giveaway, passage, english)),
        *(finding for passage in own for finding in _prose(passage, scenario, giveaway.locale)),
        *(_terms(own) if english else ()),
    ]


def passed_over(path: str | Path) -> str:
    """A sentence on the rules that were skipped because of the language of a scenario file's brief; "" for English."""
    language = read_giveaway(path, scenario=load_scenario(path)).language
    if language == ENGLISH:
        return ""
    return (
        f"The brief is in {language} ({languages()[language]}). Rules that look for words know English alone, so "
        "promises, terms of the trade, hedged answers, numbers in words and calls to do something were not looked for."
    )


def _passages(giveaway: Giveaway, read: Giveaway, lines: Mapping[Place, int]) -> list[Passage]:
    """The texts that there are, the question first."""
    places: list[Place] = [
        ("question",),
        *(("case", "quotations", number, "words") for number in range(len(giveaway.case.quotations))),
        *(("case", "details", number) for number in range(len(giveaway.case.details))),
        ("answer",),
        *(("cautions", number) for number in range(len(giveaway.cautions))),
        ("byline",),
        *([("invitation", "text")] if giveaway.invitation else []),
    ]
    written, filled = (one.model_dump(mode="json") for one in (giveaway, read))
    return [
        Passage(in_file(place), lines.get(("giveaway", *place)), text, value_at(filled, place))
        for place in places
        if (text := value_at(written, place))
    ]


def _question(passage: Passage, english: bool) -> Iterator[Finding]:
    hers = re.search(r"\b(I|I'm|I've|my|me|we|our|us)\b|\d", passage.text)
    general = english and (not hers or GENERAL.search(passage.text))
    if "?" not in passage.text or len(passage.text.split()) < SHORTEST_QUESTION or general:
        yield passage.finding("general question", passage.text)


def _gaps(giveaway: Giveaway, line: int | None) -> Iterator[Finding]:
    """A finding for each part that a page, a picture or an e-mail cannot do without, and that is left out."""
    words = giveaway.model_dump()
    for rule, field in GAPS.items():
        if not value_at(words, field):
            yield Finding(rule, field, line, "", *REMARKS[rule])


def _answer(passage: Passage, english: bool) -> Iterator[Finding]:
    hedge = HEDGES.search(passage.read) if english else None
    if hedge or len(_END.split(passage.read.strip())) > 2:
        yield passage.finding("more than one answer", hedge[0] if hedge else passage.read)


def _invitation(giveaway: Giveaway, passage: Passage, english: bool) -> Iterator[Finding]:
    asks = sorted({match[0].lower() for match in ASKS.finditer(passage.text)} if english else ())
    if passage.field == "invitation.text":
        wrong = len(asks) > 1 or passage.text.count("?") > 1
        suggestion = "Ask for one thing. The best reader will do that one."
    else:
        wrong, suggestion = bool((asks and giveaway.invitation) or HINTS_OF_ELSEWHERE.search(passage.text)), ""
    if wrong:
        yield passage.finding("more than one invitation", ", ".join(asks) or passage.text, suggestion=suggestion)


def _prose(passage: Passage, scenario: Scenario, locale: str) -> Iterator[Finding]:
    for promise in PROMISES.finditer(passage.text) if locale.startswith(ENGLISH) else ():
        if not _DENIED.search(passage.text[: promise.start()]):
            yield passage.finding("promise", promise[0])
    counted = passage.field.startswith("cautions") and INTERVALS.search(passage.text)  # what is known, not what follows
    if passage.field != "question" and not counted:
        yield from _numbers(passage, scenario, locale)
    for sentence in sentences(passage.read):
        count = len(sentence.split())
        if count > LONGEST_SENTENCE:
            yield passage.finding("long sentence", f"{count} words: {sentence}")


def _numbers(passage: Passage, scenario: Scenario, locale: str) -> Iterator[Finding]:
    prose, known = PLACEHOLDER.sub(" ", passage.text), _inputs(scenario)
    found = [match[0] for match in re.finditer(r"\d[\d,.]*\d%?|\d%?", prose)]
    found = [text for text in found if not _is_known(text, known, locale)]
    if passage.field == "answer" and locale.startswith(ENGLISH):
        found += [match[0] for match in NUMBER_WORDS.finditer(prose)]
    for text in found:
        yield passage.finding("number not computed", text)


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
    try:
        return float(parse_decimal(text.rstrip("%"), locale.replace("-", "_"))) in known
    except ValueError:
        return False


def _terms(passages: list[Passage]) -> Iterator[Finding]:
    whole, seen = " ".join(passage.read for passage in passages), set()
    for passage in passages:
        for term, meaning in TERMS.items():
            match = re.search(rf"\b{term}\b", passage.read, 0 if term.isupper() else re.IGNORECASE)
            if match and term not in seen and not explained(term, whole):
                seen.add(term)
                suggestion = REMARKS["term not explained"][1].replace("MEANING", meaning)
                yield passage.finding("term not explained", match[0], suggestion=suggestion)


class _Pictures(HTMLParser):
    """Collects pictures with no text, or with none but the name of a class."""

    def __init__(self) -> None:
        super().__init__()
        self.silent: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        text = (dict(attrs).get("alt") or "").strip()
        if tag == "img" and (not text or re.fullmatch(r"<.*>", text)):
            self.silent.append(text or "no text")


def page_findings(page: str) -> list[Finding]:
    """Check the HTML of a published page for pictures without text and for its weight.

    >>> [finding.rule for finding in page_findings('<img src="data:image/png;base64,AAAA">')]
    ['picture without text']
    """
    pictures, weight = _Pictures(), len(page.encode("utf-8"))
    pictures.feed(page)
    found = [("picture without text", words) for words in pictures.silent]
    found += [("page too heavy", f"{weight / 1024:,.0f} KB")] if weight > MOST_BYTES else []
    return [Finding(rule, "the page", None, words, *REMARKS[rule]) for rule, words in found]


def notebook_findings(path: str | Path) -> list[Finding]:
    """Check the Markdown cells of a giveaway notebook for pictures without text; lines count within a cell, from 1."""
    cells: list[dict[str, Any]] = json.loads(Path(path).read_text("utf-8")).get("cells", [])
    rule, findings = "picture without text", []
    for number, cell in enumerate(cells, start=1):
        if cell.get("cell_type") == "markdown":
            source = "".join(cell.get("source", ""))
            for match in _PICTURE.finditer(source):
                line = source.count("\n", 0, match.start()) + 1
                findings.append(Finding(rule, f"cell {number} of the notebook", line, match[0], *REMARKS[rule]))
    return findings
