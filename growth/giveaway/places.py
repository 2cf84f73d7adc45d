"""Places for computed numbers in a giveaway's prose: {goal_month}, {halved_churn.closing_mrr}.

A place is filled from the forecast of the scenario, or of one of the giveaway's what-ifs. It is refused where the model
has no such number, so that no sentence can say "in month {goal_month}" of a goal that is never reached.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from difflib import get_close_matches
from functools import partial
from pathlib import Path
from typing import Any

from growth.calculator.words import money, month_labels, number, percent, roughly
from growth.engine import Forecast, forecast
from growth.errors import GrowthError, Problem, ScenarioError
from growth.giveaway.brief import Giveaway, WhatIf, read_giveaway
from growth.measures import goal_month, growth_ceiling, lowest_cash
from growth.scenario import Scenario
from growth.scenario.file import load_scenario
from growth.scenario.values import put, value_at

PLACE = re.compile(r"\{([^{}]*)\}")


def _money(read: Callable[[Forecast], float], result: Forecast, locale: str) -> str:
    return money(read(result), result.scenario.currency, locale)


def _count(read: Callable[[Forecast], float], result: Forecast, locale: str) -> str:
    return number(read(result), locale, 0)


def _goal_month(result: Forecast, locale: str) -> str:
    return number(_reached(result), locale)


def _goal_calendar(result: Forecast, locale: str) -> str:
    return month_labels(result.scenario.first_month, result.months, locale)[_reached(result)]


def _reached(result: Forecast) -> int:
    found = goal_month(result)
    if found.value is None:
        raise LookupError(f"no month: {found.reason}")
    return int(found.value)


def _goal(result: Forecast, locale: str) -> str:
    if result.scenario.goal_mrr is None:
        raise LookupError("no goal: the scenario has no goal_mrr")
    return money(result.scenario.goal_mrr, result.scenario.currency, locale)


def _ceiling(result: Forecast, locale: str) -> str:
    found = growth_ceiling(result)
    if found.value is None:
        raise LookupError(f"no ceiling: {found.reason}")
    return roughly(found.value, result.scenario.currency, locale)


PLACES: dict[str, Callable[[Forecast, str], str]] = {
    "opening_mrr": partial(_money, lambda one: one.opening_mrr[0]),
    "closing_mrr": partial(_money, lambda one: one.closing_mrr[-1]),
    "opening_customers": partial(_count, lambda one: one.opening_customers[0]),
    "closing_customers": partial(_count, lambda one: one.closing_customers[-1]),
    "new_customers": lambda one, locale: number(one.new_customers[0], locale),
    "churn": lambda one, locale: percent(one.monthly_customer_churn_rate[0], locale),
    "price": partial(_money, lambda one: one.scenario.pay.plans[0].price),
    "months": lambda one, locale: number(one.months, locale),
    "goal": _goal,
    "goal_month": _goal_month,
    "goal_calendar": _goal_calendar,
    "ceiling": _ceiling,
    "cash": partial(_money, lambda one: one.cash[-1]),
    "first_year_cash_in": partial(_money, lambda one: one.cash_in[:12].sum()),
    "lowest_cash": partial(_money, lambda one: lowest_cash(one).value),
    "deferred_revenue": partial(_money, lambda one: one.deferred_revenue[-1]),
}


def load_giveaway(source: str | Path | Mapping[str, Any] | Giveaway | None, *, scenario: Scenario) -> Giveaway:
    """The validated words of a file or of a mapping (with or without the root key); without any, a plain question.

    Places for computed numbers are filled; `brief.read_giveaway` leaves them as they are. Raises ScenarioError that
    lists every problem with its line.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> load_giveaway(None, scenario=scenario).question
    'How big can Fernhollow get?'
    """
    return filled(read_giveaway(source, scenario=scenario), scenario=scenario)


def filled(giveaway: Giveaway, *, scenario: Scenario) -> Giveaway:
    """The giveaway with every place of its answer, details and cautions filled, by the rules of its language.

    Raises ScenarioError for a place that is not known, or of which the model has no number. {a.more_than.b} is the
    closing MRR of what-if a less that of b, and refused where it is not more; {a.overtakes.b} the first month from
    which a stays ahead of b, having been behind. Either may be `base`, the scenario itself.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160}, goal_mrr=1000,
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> answer = "{opening_customers} pay {opening_mrr}."
    >>> words = Giveaway(name="how-big", question="How big can it get?", answer=answer)
    >>> filled(words, scenario=scenario).answer
    '40 pay €1,160.'
    """
    texts = [giveaway.answer, *giveaway.case.details, *giveaway.cautions]
    if not any("{" in text for text in texts):
        return giveaway
    results: dict[str, Forecast] = {}
    fill = partial(
        _fill,
        results=results,
        scenario=scenario,
        what_ifs={one.name: one for one in giveaway.what_ifs},
        locale=giveaway.locale,
    )
    details = [fill(text, f"giveaway.case.details[{n}]") for n, text in enumerate(giveaway.case.details)]
    cautions = [fill(text, f"giveaway.cautions[{n}]") for n, text in enumerate(giveaway.cautions)]
    return giveaway.model_copy(
        update={
            "answer": fill(giveaway.answer, "giveaway.answer"),
            "case": giveaway.case.model_copy(update={"details": tuple(details)}),
            "cautions": tuple(cautions),
        }
    )


def variants(giveaway: Giveaway, *, scenario: Scenario) -> dict[str, Forecast]:
    """The forecast of each what-if, by its label, or its name in words."""
    return {one.label or one.name.replace("_", " "): forecast(changed(scenario, one)) for one in giveaway.what_ifs}


def changed(scenario: Scenario, what_if: WhatIf) -> Scenario:
    """The scenario with the changes of a what-if. Raises ScenarioError for a field that is none of its numbers."""
    values = scenario.model_dump(mode="json")
    for change in what_if.changes:
        place = f"giveaway.what_ifs[{what_if.name}]"
        try:
            before = value_at(values, change.field)
            if change.times is not None:
                after = before * change.times
            else:
                after = int(change.becomes) if isinstance(before, int) else change.becomes
            put(values, change.field, after)
        except (KeyError, IndexError, TypeError, ValueError):
            rule = "the dotted place of a number of the scenario, positions in lists from 0"
            raise ScenarioError(
                [Problem(place, rule, change.field, "Such as stay.churn.monthly_churn_rate.")]
            ) from None
    return load_scenario({"scenario": values})


def _fill(text: str, field: str, *, results: dict, scenario: Scenario, what_ifs: dict[str, WhatIf], locale: str) -> str:
    def result(name: str) -> Forecast:
        if name not in results:
            if name != "base" and name not in what_ifs:
                raise KeyError(name)
            results[name] = forecast(scenario if name == "base" else changed(scenario, what_ifs[name]))
        return results[name]

    def value(match: re.Match) -> str:
        place = match[1]
        try:
            if comparison := re.fullmatch(r"(\w+)\.(more_than|overtakes)\.(\w+)", place):
                return COMPARISONS[comparison[2]](result(comparison[1]), result(comparison[3]), locale)
            name, _, what = place.rpartition(".")
            return PLACES[what](result(name or "base"), locale)
        except KeyError:
            near_ones = get_close_matches(place.rpartition(".")[2], PLACES, 1)
            fix = f"Did you mean {{{near_ones[0]}}}?" if near_ones else f"There is {', '.join(PLACES)}."
            raise ScenarioError([Problem(field, "a place that the model can fill", match[0], fix)]) from None
        except LookupError as error:
            raise ScenarioError(
                [Problem(field, f"a place with a number; there is {error}", match[0], "Word the sentence otherwise.")]
            ) from None
        except GrowthError as error:
            raise ScenarioError([Problem(field, "a what-if that is a valid scenario", match[0], str(error))]) from None

    return PLACE.sub(value, text)


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
