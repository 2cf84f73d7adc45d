"""The sentence on what is left each month as a formula; the rules are those of growth/calculator/left.py."""

from __future__ import annotations

from collections.abc import Callable

from growth.calculator.words import month_count
from growth.spreadsheet.changes_sheet import YEAR
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import (
    Formula,
    absolute,
    as_formula,
    both,
    choose,
    maximum,
    pick,
    position_of,
    total,
    written,
)
from growth.spreadsheet.lifetime_formulas import Level
from growth.spreadsheet.months_sheet import MonthsSheet
from growth.spreadsheet.number_text import NumberText, filled

Put = Callable[..., Formula]


def left_sentence(
    book: WorkbookContext, *, months: MonthsSheet, level: Level, way: Formula, labels: Formula, numbers: NumberText,
    put: Put,
) -> Formula | None:  # fmt: skip
    """The sentence; None without a goal for what is left.

    way: how the forecast's end stands to the level, as in the sentence sheet. put(key, formula, kind) writes a fact.
    """
    scenario, columns, page = book.scenario, months.columns, book.messages["calculator"]
    if scenario.goal_left is None:
        return None
    last, goal = scenario.months, book.given("goal_left")
    enough, net = columns["enough"].span(1, last), columns["net_cash"].span(1, last)
    ever, kept = total(enough) > 0, columns["enough"][last].equals(1)
    start = put("left_month", choose(kept, columns["last_short"][last] + 1, 0), "count")
    first = put("left_first", choose(ever, position_of(1, enough), 1), "count")
    most = put("left_most", maximum(net), "cents")
    month = choose(kept, start, first)
    span = as_formula(month_count(last, book.locale))
    places = {
        "goal_left": numbers.money(goal),
        "left_most": numbers.money(most),
        "left_month": written(month, 0),
        "left_calendar": pick(labels, month + 1),
        "left_first": written(first, 0),
        "left_last": written(columns["last_enough"][last], 0),
        "months": span,
    }
    text = {key: filled(page[f"left_{key}"], places) for key in "already from lost once never short".split()}
    when = choose(start.equals(1), text["already"], text["from"])
    once = choose(columns["last_enough"][last].equals(first), text["once"], text["lost"])
    never = choose(most > 0, text["never"], text["short"])
    said = put("left_when", choose(kept, when, choose(ever, once, never)))
    if any(plan.billing == "yearly" for plan in scenario.pay.plans):
        earned = put("left_earned", columns["last_short_earned"][last] + 1, "count")
        places |= {"left_earned": written(earned, 0)}
        text = {key: filled(page[f"left_earned_{key}"], places) for key in ("already", "from", "never")}
        since = choose(earned.equals(1), text["already"], text["from"])
        said = said & put("left_as_earned", choose(earned > last, text["never"], since))
    return said & _level(book, months=months, level=level, way=way, numbers=numbers, put=put, kept=kept)


def _level(
    book: WorkbookContext, *, months: MonthsSheet, level: Level, way: Formula, numbers: NumberText, put: Put,
    kept: Formula,
) -> Formula:  # fmt: skip
    """What is left where it settles, unless enough is left for good."""
    columns, last, page = months.columns, book.scenario.months, book.messages["calculator"]
    goal = book.given("goal_left")
    recent = max(1, last - YEAR + 1)
    people, payments = (total(columns[name].span(recent, last)) for name in ("closing_customers", "payments"))
    paying = choose(people > 0, payments / people, 0)
    now = book.in_month(last)
    served = level.customers * (now.given("bill.monthly_cost_to_serve") + now.given("bill.fee_per_payment") * paying)
    out = served + now.given("bill.monthly_fixed_costs") + columns["acquisition_spend"][last]
    left = put("left_at_level", level.mrr * (1 - now.given("bill.payment_fee_rate")) - out, "cents")
    near = put("left_level_near", numbers.roughly(absolute(left), goal))
    said = {}
    for where in ("levels_off", "settles"):
        text = {
            side: filled(page[f"left_{where}_{side}"], {"left_level": near}) for side in ("short", "enough", "missing")
        }
        said[where] = choose(left < 0, text["missing"], choose(left < goal, text["short"], text["enough"]))
    known = both(level.reason.equals(0), level.customers > 0, way < 3)
    needed = choose(kept, choose(left < goal, 1, 0), 1).equals(1)
    return choose(both(known, needed), choose(way.equals(1), said["levels_off"], said["settles"]), "")
