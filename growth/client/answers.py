"""A first scenario from five answers: customers, price, joining, leaving, goal."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import date

from growth.calculator.language import ENGLISH, locale_of
from growth.client.questions import question_words
from growth.errors import Problem, ScenarioError
from growth.scenario.file import parse, scenario_of
from growth.scenario.write import scalar


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
    year, month = (today.year + 1, 1) if today.month == 12 else (today.year, today.month + 1)
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
  first_month: {year}-{month:02d}
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
