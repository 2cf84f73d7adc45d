"""Placeholders for computed numbers in a giveaway's prose: {goal_month}, {halved_churn.closing_mrr}.

A placeholder is filled from the forecast of the scenario or of one of its what-ifs. It is an error where the
model has no such number, so no sentence can say "in month {goal_month}" of a goal that is never reached.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from difflib import get_close_matches
from functools import partial
from pathlib import Path
from typing import Any

from growth.calculator.number_words import money, month_labels, number, percent
from growth.calculator.outcome import ceiling_text
from growth.engine import Forecast, forecast
from growth.errors import Problem, ScenarioError
from growth.giveaway.brief import Giveaway, read_giveaway
from growth.measures import goal_month, growth_ceiling, lowest_cash
from growth.scenario import Scenario
from growth.scenario.address import in_file
from growth.scenario.entry import shown
from growth.scenario.file import load_document
from growth.scenario.what_if import BASE, changed

PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


def _money(read: Callable[[Forecast], float], result: Forecast, locale: str) -> str:
    return money(read(result), result.scenario.currency, locale)


def _count(read: Callable[[Forecast], float], result: Forecast, locale: str) -> str:
    return number(read(result), locale, 0)


def _reached(result: Forecast) -> int:
    found = goal_month(result)
    if found.value is None:
        raise LookupError(f"no month: {found.reason}")
    return int(found.value)


def _goal(result: Forecast, locale: str) -> str:
    if result.scenario.goal_mrr is None:
        raise LookupError("no goal: the scenario has no goal_mrr")
    return money(float(result.scenario.goal_mrr), result.scenario.currency, locale)


def _ceiling(result: Forecast, locale: str) -> str:
    found = growth_ceiling(result)
    if found.value is None:
        raise LookupError(f"no ceiling: {found.reason}")
    return ceiling_text(result, locale)


PLACEHOLDERS: dict[str, Callable[[Forecast, str], str]] = {
    "opening_mrr": partial(_money, lambda one: one.opening_mrr[0]),
    "closing_mrr": partial(_money, lambda one: one.closing_mrr[-1]),
    "opening_customers": partial(_count, lambda one: one.opening_customers[0]),
    "closing_customers": partial(_count, lambda one: one.closing_customers[-1]),
    "new_customers": lambda one, locale: number(one.new_customers[0], locale),
    "churn": lambda one, locale: percent(one.monthly_customer_churn_rate[0], locale),
    "price": partial(_money, lambda one: float(one.scenario.pay.plans[0].price)),
    "months": lambda one, locale: number(one.months, locale),
    "goal": _goal,
    "goal_month": lambda one, locale: number(_reached(one), locale),
    "goal_calendar": lambda one, locale: month_labels(one.scenario.first_month, one.months, locale)[_reached(one)],
    "ceiling": _ceiling,
    "cash": partial(_money, lambda one: one.cash[-1]),
    "first_year_cash_in": partial(_money, lambda one: one.cash_in[:12].sum()),
    "lowest_cash": partial(_money, lambda one: float(lowest_cash(one).value or 0.0)),
    "deferred_revenue": partial(_money, lambda one: one.deferred_revenue[-1]),
}


def load_giveaway(source: str | Path | Mapping[str, Any] | Giveaway | None, *, scenario: Scenario) -> Giveaway:
    """The validated words of a giveaway, with every place for a computed number filled.

    Parameters
    ----------
    source : a scenario file; a mapping with or without the root key `giveaway`; or None. Without words the question is
        a plain one. `brief.read_giveaway` reads the same and leaves the places as they are.
    scenario : the numbers that the places are filled from.

    Returns
    -------
    Giveaway

    Raises
    ------
    ScenarioError
        With every problem of the words, their what-ifs and their places, each with its line where there is a file.

    Examples
    --------
    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> load_giveaway(None, scenario=scenario).question
    'How big can Fernhollow get?'
    """
    giveaway = read_giveaway(source, scenario=scenario)
    try:
        return filled(giveaway, scenario=scenario)
    except ScenarioError as error:
        if not isinstance(source, (str, Path)):
            raise
        document = load_document(source)
        lines = {in_file(place): line for place, line in document.lines.items()}
        problems = [replace(problem, line=_line(problem.field, lines)) for problem in error.problems]
        raise ScenarioError(sorted(problems, key=lambda one: one.line or 0), file=document.file) from None


def _line(field: str, lines: Mapping[str, int]) -> int | None:
    """The line of a field, or of the nearest part around it."""
    while field and field not in lines:
        field = field[: max(field.rfind("."), field.rfind("["), 0)]
    return lines.get(field)


def filled(giveaway: Giveaway, *, scenario: Scenario) -> Giveaway:
    """The giveaway with every place of its answer, details and cautions filled, by the rules of its language.

    {a.more_than.b} is the closing MRR of what-if a less that of b, and refused where it is not more; {a.overtakes.b} is
    the first month from which a stays ahead of b, having been behind. Either may be `base`, the scenario itself.

    Raises ScenarioError for every place that is not known, is not closed, stands in another text, or has no number in
    the model, and for every what-if that does not make a valid scenario, used or not: nothing unfilled is published.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160}, goal_mrr=1000,
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> answer = "{opening_customers} pay {opening_mrr}."
    >>> words = Giveaway(name="how-big", question="How big can it get?", answer=answer)
    >>> filled(words, scenario=scenario).answer
    '40 pay €1,160.'
    """
    scenarios, problems = _scenarios(scenario)
    results: dict[str, Forecast] = {}

    def result(name: str) -> Forecast:
        if name not in results:
            results[name] = forecast(scenarios[name])
        return results[name]

    def fill(text: str, field: str) -> str:
        try:
            return _filled(text, field, result, giveaway.locale)
        except ScenarioError as error:
            problems.extend(error.problems)
            return text

    unusable = {one.name for one in scenario.what_ifs} - scenarios.keys()  # already among the problems
    if not unusable:
        details = [fill(text, f"giveaway.case.details[{n}]") for n, text in enumerate(giveaway.case.details)]
        cautions = [fill(text, f"giveaway.cautions[{n}]") for n, text in enumerate(giveaway.cautions)]
        answer = fill(giveaway.answer, "giveaway.answer")
    problems += [
        Problem(field, "no place for a number: only the answer, the details and the cautions are filled", found[0])
        for field, text in _other_texts(giveaway.model_dump(mode="json"), "giveaway")
        if (found := _ELSEWHERE.search(text))
    ]
    if problems:
        raise ScenarioError(problems)
    return giveaway.model_copy(
        update={
            "answer": answer,
            "case": giveaway.case.model_copy(update={"details": tuple(details)}),
            "cautions": tuple(cautions),
        }
    )


def _scenarios(scenario: Scenario) -> tuple[dict[str, Scenario], list[Problem]]:
    """The scenario as `base` and that of each what-if, by name; and what is wrong with the others."""
    made: dict[str, Scenario] = {BASE: scenario}
    problems: list[Problem] = []
    for one in scenario.what_ifs:
        try:
            made[one.name] = changed(scenario, one)
        except ScenarioError as error:
            problems.extend(error.problems)
    return made, problems


def _other_texts(value: Any, field: str) -> Iterator[tuple[str, str]]:
    """(field, text) of every text whose places are not filled."""
    if isinstance(value, dict):
        for key, part in value.items():
            yield from _other_texts(part, f"{field}.{key}")
    elif isinstance(value, list):
        for index, part in enumerate(value):
            yield from _other_texts(part, f"{field}[{index}]")
    elif isinstance(value, str) and not field.startswith(("giveaway.answer", "giveaway.cautions", "giveaway.case.d")):
        yield field, value


def _filled(text: str, field: str, result: Callable[[str], Forecast], locale: str) -> str:
    """One text with its places filled. Raises ScenarioError with all that is wrong with them."""
    problems = []

    def value(match: re.Match[str]) -> str:
        place = match[1]
        try:
            if comparison := re.fullmatch(r"(\w+)\.(more_than|overtakes)\.(\w+)", place):
                return COMPARISONS[comparison[2]](result(comparison[1]), result(comparison[3]), locale)
            name, _, what = place.rpartition(".")
            return PLACEHOLDERS[what](result(name or "base"), locale)
        except KeyError:
            near_ones = get_close_matches(place.rpartition(".")[2], PLACEHOLDERS, 1)
            fix = f"Did you mean {{{near_ones[0]}}}?" if near_ones else f"There is {', '.join(PLACEHOLDERS)}."
            problems.append(Problem(field, "a place that the model can fill", shown(match[0]), fix))
        except LookupError as error:
            fix = "Word the sentence otherwise."
            problems.append(Problem(field, f"a place with a number; there is {error}", match[0], fix))
        return ""

    done = PLACEHOLDER.sub(value, text)
    if open_one := re.search(r"[{}].{0,20}", PLACEHOLDER.sub("", text), re.DOTALL):
        rule, fix = "both braces of a place, such as {goal_month}", "Close the brace, or write the text without it."
        problems.append(Problem(field, rule, shown(open_one[0]), fix))
    if problems:
        raise ScenarioError(problems)
    return done


def _more_than(a: Forecast, b: Forecast, locale: str) -> str:
    more = a.closing_mrr[-1] - b.closing_mrr[-1]
    if more <= 0:
        raise LookupError("no such lead: the second is not below the first")
    return money(more, a.scenario.currency, locale)


def _overtakes(a: Forecast, b: Forecast, locale: str) -> str:
    lead = a.closing_mrr > b.closing_mrr
    if not lead[-1] or lead.all():
        raise LookupError(
            "no month of overtaking: the first is " + ("ahead from the start" if lead.all() else "not ahead at the end")
        )
    return number(lead.size - int(lead[::-1].argmin()) + 1, locale)


COMPARISONS = {"more_than": _more_than, "overtakes": _overtakes}
_ELSEWHERE = re.compile(rf"\{{[\w.]*\b(?:{'|'.join([*PLACEHOLDERS, *COMPARISONS])})\b[^{{}}]{{0,40}}\}}?")
