"""Which questions are true for a scenario, and their worked answers."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from growth.calculator.language import LOCALE, said
from growth.calculator.number_words import month_count
from growth.engine import forecast
from growth.exercises.closed_form import (
    ClosedForm,
    closed_form,
    half_as_many_leave,
    likely_scenario,
    twice_as_many_join,
)
from growth.exercises.exercise import Exercise, Writer, at
from growth.exercises.worth_questions import lifetime_value_question, payback_question
from growth.measures import customer_ceiling, goal_month, growth_ceiling
from growth.scenario import Scenario


def questions(scenario: Scenario, *, locale: str = LOCALE) -> list[Exercise]:
    """The exercises that are valid for a scenario, in the order in which a class does them.

    The likely value stands for each range. A short formula is asked for only where it holds; see `closed_form`.

    Parameters
    ----------
    scenario : Scenario
        Without draws.
    locale : str
        For words, amounts and months. Languages without exercises of their own get English words.

    Returns
    -------
    list of Exercise
        Empty where nobody is ever on board.

    Examples
    --------
    >>> scenario = Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160}, pay={
    ...     "plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> [(one.key, round(one.by_hand, 2)) for one in questions(scenario)][:2]  # 40 less 4%, and 1,160 less 4%
    [('first_customers', 38.4), ('first_mrr', 1113.6)]
    """
    write = Writer(forecast(likely_scenario(scenario)), locale)
    short = closed_form(write.forecast)
    if short is None:
        return [*_first_month(write), *_last_month(write), *_two_ways(write, None), *_goal(write, None)]
    worth = [*lifetime_value_question(write, short), *payback_question(write, short)]
    return [*_first_month(write), *_ceiling(write, short), *_two_ways(write, short), *worth, *_goal(write, short)]


def _first_month(write: Writer) -> Iterator[Exercise]:
    result = write.forecast
    there = np.flatnonzero((result.opening_customers > 1e-6) & (result.opening_mrr > 1e-6))
    if not there.size:
        return
    month = int(there[0]) + 1
    names = ("opening", "lost", "new", "closing")
    start, lost, new, end = (at(getattr(result, f"{name}_customers"), month) for name in names)
    returned = at(result.returned_customers, month)
    working = [f"{write.share(lost / start)} × {write.count(start)} = {write.count(lost)}"] if lost else []
    back = f" + {write.count(returned)}" if returned else ""
    total = start - lost + new + returned
    working.append(f"{write.count(start)} − {write.count(lost)} + {write.count(new)}{back} = {write.count(total)}")
    yield write.exercise(
        "first_customers",
        given=[
            write.fact("customers", write.count(start), month),
            write.fact("leave", write.share(lost / start)),
            write.fact("join", write.count(new)),
        ],
        working=working,
        answer=write.people(end),
        by_hand=total,
        code=f"forecast.closing_customers[{month - 1}]",
        by_tool=end,
        month=str(month),
    )
    given, working, by_hand = mrr_of_month(write, month)
    yield write.exercise(
        "first_mrr",
        given=given,
        working=working,
        answer=write.money(by_hand),
        by_hand=by_hand,
        code=f"forecast.closing_mrr[{month - 1}]",
        by_tool=at(result.closing_mrr, month),
        month=str(month),
    )


def mrr_of_month(write: Writer, month: int) -> tuple[list[str], list[str], float]:
    """The given facts, the calculation line by line, and the MRR at the end of a month."""
    result = write.forecast
    names = ("opening", "churned", "expansion", "contraction", "new", "reactivation")
    start, lost, more, less, new, back = (at(getattr(result, f"{name}_mrr"), month) for name in names)
    joining, stayed = at(result.new_customers, month), start - lost
    given, working, total = [write.fact("mrr", write.money(start), month)], [], write.plain(start)
    if lost and start:
        given.append(write.fact("lost", write.share(lost / start)))
        working.append(f"{write.share(lost / start)} × {write.plain(start)} = {write.plain(lost)}")
        total += f" − {write.plain(lost)}"
    for name, value, sign in (("more", more, "+"), ("less", less, "−")):
        if value and stayed > 0:
            given.append(write.fact(name, write.share(value / stayed)))
            sum_ = f"({write.plain(start)} − {write.plain(lost)})" if lost else write.plain(start)
            working.append(f"{write.share(value / stayed)} × {sum_} = {write.plain(value)}")
            total += f" {sign} {write.plain(value)}"
    if new and joining:
        given.append(write.fact("new_each", count=write.count(joining), price=write.money(new / joining)))
        working.append(f"{write.count(joining)} × {write.plain(new / joining)} = {write.plain(new)}")
        total += f" + {write.plain(new)}"
    if back:
        given.append(write.fact("back", write.money(back)))
        total += f" + {write.plain(back)}"
    end = start - lost + more - less + new + back
    return given, [*working, f"{total} = {write.plain(end)}"], end


def _last_month(write: Writer) -> Iterator[Exercise]:
    result, months = write.forecast, write.forecast.months
    came = at(result.new_mrr + result.reactivation_mrr + result.expansion_mrr, months)
    lost = at(result.churned_mrr + result.contraction_mrr, months)
    if came or lost:
        yield write.exercise(
            "last_month",
            given=[write.fact("in", write.money(came), months), write.fact("out", write.money(lost), months)],
            working=[f"{write.plain(came)} − {write.plain(lost)} = {write.plain(came - lost)}"],
            answer=write.money(came - lost),
            by_hand=came - lost,
            code="forecast.closing_mrr[-1] - forecast.opening_mrr[-1]",
            by_tool=at(result.closing_mrr - result.opening_mrr, months),
            month=str(months),
        )


def _ceiling(write: Writer, short: ClosedForm) -> Iterator[Exercise]:
    result = write.forecast
    level = float(customer_ceiling(result).value or np.nan)
    yield write.exercise(
        "lifetime",
        given=write.steady(short, "churn"),
        working=[f"1 / {write.factor(short.churn)} = {write.count(1 / short.churn)}"],
        answer=month_count(1 / short.churn, write.locale),
        by_hand=1 / short.churn,
        code="growth.measures.customer_ceiling(forecast).value / forecast.new_customers[-1]",
        by_tool=level / short.joining,
    )
    yield write.exercise(
        "ceiling_customers",
        given=write.steady(short, "churn", "joining"),
        working=[f"{write.count(short.joining)} / {write.factor(short.churn)} = {write.count(short.customers)}"],
        answer=write.people(short.customers),
        by_hand=short.customers,
        code="growth.measures.customer_ceiling(forecast).value",
        by_tool=level,
    )
    new = short.joining * short.price
    yield write.exercise(
        "ceiling_mrr",
        given=write.steady(short, "churn", "growth", "joining", "price"),
        working=[
            write.kept(short),
            f"{write.count(short.joining)} × {write.plain(short.price)} = {write.plain(new)}",
            f"{write.plain(new)} / (1 − {write.factor(short.kept)}) = {write.plain(short.mrr)}",
        ],
        answer=write.money(short.mrr),
        by_hand=short.mrr,
        code="growth.measures.growth_ceiling(forecast).value",
        by_tool=float(growth_ceiling(result).value or np.nan),
    )


def _two_ways(write: Writer, short: ClosedForm | None) -> Iterator[Exercise]:
    result = write.forecast
    more = twice_as_many_join(result.scenario)
    if more is None or not result.new_customers.any() or not result.lost_customers.any():
        return
    fewer = half_as_many_leave(result.scenario)
    halved, doubled = (forecast(one).closing_customers[-1] for one in (fewer, more))
    after = month_count(result.months, write.locale)
    ends = {"months": after, "halved": write.people(halved), "doubled": write.people(doubled)}
    key = "two_ways" if short else "race"
    if short is None:
        difference = doubled - halved
        yield write.exercise(
            key,
            given=[],
            working=[f"{write.count(doubled)} − {write.count(halved)} = {write.count(difference)}"],
            answer=said(write.words[key]["answer"], **ends),
            by_hand=difference,
            code="growth.forecast(growth.exercises.twice_as_many_join(scenario)).closing_customers[-1] "
            "- growth.forecast(growth.exercises.half_as_many_leave(scenario)).closing_customers[-1]",
            by_tool=difference,
            months=after,
        )
        return
    level = 2 * short.customers
    half, twice = write.factor(short.churn / 2), write.count(2 * short.joining)
    yield write.exercise(
        key,
        given=write.steady(short, "churn", "joining"),
        working=[
            f"{write.count(short.joining)} / {half} = {write.count(level)}",
            f"{twice} / {write.factor(short.churn)} = {write.count(level)}",
        ],
        answer=said(write.words[key]["answer"], value=write.people(level), **ends),
        by_hand=level,
        code="growth.measures.customer_ceiling(growth.forecast(growth.exercises.half_as_many_leave(scenario))).value",
        by_tool=float(customer_ceiling(forecast(fewer)).value or np.nan),
        months=after,
    )


def _goal(write: Writer, short: ClosedForm | None) -> Iterator[Exercise]:
    result = write.forecast
    goal = result.scenario.goal_mrr
    reached = goal_month(result).value
    if goal is None or reached == 0:
        return
    given_goal = write.fact("goal", write.money(float(goal)))
    if reached is not None:
        month = int(reached)
        given, working, end = mrr_of_month(write, month)
        yield write.exercise(
            "goal_month",
            given=[given_goal, *given],
            working=working,
            answer=f"{write.money(end)}. {write.words['yes']}",
            by_hand=end,
            code=f"forecast.closing_mrr[{month - 1}]",
            by_tool=at(result.closing_mrr, month),
            month=str(month),
        )
    elif short is not None and short.mrr < goal * (1 - 1e-3):
        needed = float(goal) * (1 - short.kept) / short.price
        yield write.exercise(
            "goal_joining",
            given=[
                given_goal,
                write.fact("ceiling", write.money(short.mrr)),
                *write.steady(short, "price", "churn", "growth"),
            ],
            working=[
                write.kept(short),
                f"{write.plain(float(goal))} × (1 − {write.factor(short.kept)}) / {write.plain(short.price)} = "
                f"{write.count(needed)}",
            ],
            answer=write.people(needed),
            by_hand=needed,
            code="scenario.goal_mrr / growth.measures.growth_ceiling(forecast).value * forecast.new_customers[-1]",
            by_tool=float(goal) / float(growth_ceiling(result).value or np.nan) * short.joining,
        )
