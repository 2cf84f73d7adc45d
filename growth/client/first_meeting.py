"""The first meeting: what to ask an owner, and a first scenario from five answers."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from growth.calculator.as_said import as_said
from growth.calculator.language import ENGLISH, LOCALE, locale_of, messages, said, words_in
from growth.calculator.number_words import percent
from growth.client.meeting_copies import month_after
from growth.errors import Problem, ScenarioError
from growth.giveaway.sensitivity import sensitivities
from growth.scenario import Scenario
from growth.scenario.about_numbers import sources_by_path
from growth.scenario.address import fields
from growth.scenario.file import parse, scenario_of
from growth.scenario.write import scalar

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


@dataclass(frozen=True, slots=True)
class Answers:
    """What an owner says in the first minutes.

    Attributes
    ----------
    business
        The client's name.
    customers
        Paying customers today.
    price
        What one of them pays a month.
    joining
        How many join in a month.
    leaving
        How many of today's customers leave in a month: a count, as an owner says it, and no rate.
    goal
        The monthly revenue that is wanted; None if nobody has said.
    currency
        Three letters.
    language
        The code of the language of what the client reads, such as de.
    """

    business: str
    customers: float
    price: float
    joining: float
    leaving: float
    goal: float | None = None
    currency: str = "EUR"
    language: str = ENGLISH


def slug_of(business: str) -> str:
    """The name of a business as the name of a file.

    Parameters
    ----------
    business : str

    Returns
    -------
    str
        Small letters, digits and hyphens; "client" where nothing is left.

    Examples
    --------
    >>> slug_of("Müller & Söhne"), slug_of("???")
    ('muller-sohne', 'client')
    """
    plain = unicodedata.normalize("NFKD", business).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:50].strip("-") or "client"


def first_scenario(answers: Answers, *, today: date) -> str:
    """The text of a scenario file with these answers and nothing else.

    Parameters
    ----------
    answers
        From the owner. The file says `leaving` of `customers` as a count, from which the rate follows.
    today
        The forecast begins with the month after it.

    Returns
    -------
    str
        YAML that is valid as it stands.

    Raises
    ------
    ScenarioError
        An answer is out of range; it names the answer.

    Examples
    --------
    >>> said = Answers("Fernhollow", customers=63, price=29, joining=5, leaving=2, goal=2500)
    >>> scenario_of(parse(first_scenario(said, today=date(2027, 1, 15)), file="")).stay.churn.monthly_churn_rate.said
    {'count': 2, 'of': 63}
    """
    _check(answers)
    counted = f"{{count: {scalar(answers.leaving)}, of: {scalar(answers.customers)}}}"
    leaving, rate = (counted, round(answers.leaving / answers.customers, 12)) if answers.customers else ("0", 0.0)
    day = f'"{today.isoformat()}"'
    words = question_words(locale_of(answers.language))
    channel, plan = words["channel"], words["plan"]
    language = f"  language: {answers.language}\n" if answers.language != ENGLISH else ""
    goal = f"  goal_mrr: {scalar(answers.goal)}\n" if answers.goal is not None else ""
    text = f"""\
# {" ".join(answers.business.split())}: what was said in the first meeting.
# Shares are fractions: 0.04 is 4%, or counts: {{count: 2, of: 63}}. Money is a month, or {{a_year: 348}}.
# What is not written here stands at its default; `growth assumptions` lists everything that can be written.
scenario:
  business: {scalar(answers.business)}
  currency: {answers.currency}
  first_month: {month_after(f"{today:%Y-%m}")}
  months: 36
{goal}  opening:
    customers: {scalar(answers.customers)}
  arrive:
    channels:
      - name: {channel}
        kind: customers
        monthly_customers: {scalar(answers.joining)}
  pay:
    plans:
      - name: {plan}
        monthly_price: {scalar(answers.price)}
  stay:
    churn:
      curve: constant
      monthly_churn_rate: {leaving}

  # Where each number comes from: told, measured, rule (of thumb) or guess.
  sources:
    - {{of: opening.customers, source: told, when: {day}, was: {scalar(answers.customers)}}}
    - {{of: arrive.channels.{channel}.monthly_customers, source: told, when: {day}, was: {scalar(answers.joining)}}}
    - {{of: pay.plans.{plan}.monthly_price, source: told, when: {day}, was: {scalar(answers.price)}}}
    - {{of: stay.churn.monthly_churn_rate, source: told, when: {day}, was: {scalar(rate)}}}

giveaway:
  name: {scalar(slug_of(answers.business))}
  question: {scalar(words["page_question"])}
  show_sources: true
{language}"""
    scenario_of(parse(text, file=""))
    return text


def _check(answers: Answers) -> None:
    wrong = []
    if not 0 <= answers.leaving <= answers.customers:
        rule = f"as many as leave in a month, from 0 to today's {answers.customers:g} customers"
        wrong.append(Problem("leaving", rule, f"{answers.leaving:g}"))
    for name, low in (("customers", 0), ("price", 0.01), ("joining", 0)):
        value = getattr(answers, name)
        if not low <= value <= 1e9:
            wrong.append(Problem(name, f"a number from {low:g} up", f"{value:g}"))
    if wrong:
        raise ScenarioError(wrong)
