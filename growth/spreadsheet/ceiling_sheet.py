"""Ceiling: where customers and MRR settle if what comes in at the end of the forecast goes on for ever."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from growth.spreadsheet.arrivals_sheet import ArrivalsSheet
from growth.spreadsheet.changes_sheet import YEAR, ChangesSheet
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula, absolute, as_formula, both, choose, either, total
from growth.spreadsheet.formula_table import FIRST, FormulaColumn, FormulaTable
from growth.spreadsheet.stay_sheet import PlanByAge

EDGE = 1 - 1e-5  # a ratio this near 1 has no level that could be told from growth without end
NOTHING = 1e-200  # a year's sum below this has died out


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """customers, mrr: the level, 0 where there is none; reason: 0, or which of REASONS stands in its way."""

    customers: Formula
    mrr: Formula
    reason: Formula


class _Sums:
    """The lifetime of a plan's customers, or of their MRR, added up, with a tail that goes on as the last years do."""

    def __init__(self, words: dict[str, Any], table: FormulaTable, group: str):
        self._columns = {
            name: table.column(words[name], "0.0000" if name != "sure" else "count", group=group)
            for name in ("sum", "last", "before", "rho", "rho_before", "tail", "sure", "back")
        }

    def put(self, row: int, kept: FormulaColumn, left: FormulaColumn, ages: int, comeback: Formula) -> None:
        """One plan: what is kept at each age, and what leaves."""

        def put(name: str, formula: Formula) -> Formula:
            return self._columns[name].put(row, formula)

        years = [total(kept.span(ages - YEAR * (k + 1), ages - 1 - YEAR * k)) for k in range(3)]
        body = put("sum", total(kept.span(0, ages - 1)))
        last, before = put("last", years[0]), put("before", years[1])
        rho = put("rho", choose(before < NOTHING, 0, last / before))
        rho_before = put("rho_before", choose(years[2] < NOTHING, 0, before / years[2]))
        tail = put("tail", choose(rho < EDGE, last * rho / (1 - rho), 0))
        settled = either(absolute(rho - rho_before) <= 1e-6 * (1 - rho), tail <= 0.01 * body)
        put("sure", choose(both(rho < EDGE, settled), 1, 0))
        gone = total(left.span(ages - YEAR, ages - 1)) * rho / (1 - rho)
        put("back", comeback * (total(left.span(1, ages - 1)) + choose(rho < EDGE, gone, 0)))

    def __getitem__(self, name: str) -> FormulaColumn:
        return self._columns[name]


def ceiling(book: WorkbookContext, *, lives: list[PlanByAge], changes: ChangesSheet, arrivals: ArrivalsSheet) -> Level:
    """Fills the sheet of the ceiling, one row a plan."""
    words, plans, months = book.words["ceiling"], book.scenario.pay.plans, book.scenario.months
    table = FormulaTable(book.sheets["ceiling"], title=words["title"], lines=words["lines"], last=len(plans) + 14)
    table.sheet.worksheet.freeze_panes(FIRST, 1)
    name = table.column(words["plan"], width=46, left=True)
    share = table.column(words["share"], "share")
    price = table.column(words["price"], "cents")
    people, money = (_Sums(words, table, words[group]) for group in ("customers", "mrr"))
    verdict = words["verdict"]
    flags = {
        reason: table.column(words[reason], "count", group=verdict)
        for reason in ("loyal", "outruns", "unsettled", "back")
    }
    per_person = table.column(words["per_person"], "0.0000", group=verdict)
    per_money = table.column(words["per_money"], "0.0000", group=verdict)
    back = book.scenario.stay.comeback
    comeback = as_formula(0) if back is None else book.given("stay.comeback.comeback_rate")
    for row, (plan, life) in enumerate(zip(plans, lives, strict=True)):
        name.text(row, plan.name, "cell")
        share.put(row, book.given(f"pay.plans.{row}.share"))
        price.put(row, changes.price(row, months))
        people.put(row, life.alive, life.gone, life.ages, comeback)
        money.put(row, life.worth, life.lost, life.ages, comeback)
        used = share[row] > 0
        tests = {
            "loyal": both(used, people["rho"][row] < EDGE, people["sure"][row].equals(0)),
            "outruns": both(used, either(money["rho"][row] >= EDGE, people["rho"][row] >= EDGE)),
            "unsettled": both(used, either(people["sure"][row].equals(0), money["sure"][row].equals(0))),
            "back": both(used, either(people["back"][row] >= EDGE, money["back"][row] >= EDGE)),
        }
        for reason, test in tests.items():
            flags[reason].put(row, choose(test, 1, 0))
        for column, sums, worth in ((per_person, people, share[row]), (per_money, money, share[row] * price[row])):
            whole = worth * (sums["sum"][row] + sums["tail"][row]) / (1 - sums["back"][row])
            column.put(row, choose(either(sums["back"][row] >= EDGE, share[row].equals(0)), 0, whole))
    last = len(plans) - 1
    broken = {reason: total(column.span(0, last)) for reason, column in flags.items()}
    level = _level(book, table, arrivals, broken, total(per_person.span(0, last)), total(per_money.span(0, last)))
    book.finish(table, labels=1)
    return level


def _level(
    book: WorkbookContext,
    table: FormulaTable,
    arrivals: ArrivalsSheet,
    sums: dict[str, Formula],
    per_person: Formula,
    per_money: Formula,
) -> Level:
    """The sums over all plans, below their rows."""
    words, scenario = book.words["ceiling"], book.scenario
    row = len(scenario.pay.plans) + 1
    seasonal = any(channel.season is not None for channel in scenario.arrive.channels)
    span = min(YEAR, scenario.months) if seasonal else 1
    joining = total(arrivals.channel_customers.span(scenario.months - span + 1, scenario.months)) / span

    def put(key: str, formula: Formula, kind: str) -> Formula:
        nonlocal row
        table.sheet.text(FIRST + row, 0, words[key], "cell")
        cell = table.sheet.put(FIRST + row, 1, formula, "strong", kind)
        row += 1
        return cell

    joining = put("joining", joining, "people")
    life = put("lifetime", per_person, "0.0000")
    money = put("worth", per_money, book.money)
    sent = book.given("sign_up.monthly_referral_rate") * book.given("pay.conversion_rate") * life
    sent = put("sent", sent, "0.0000")
    code = choose(sent >= EDGE, 4, 0)
    for number, flag in ((3, "back"), (2, "unsettled"), (1, "outruns"), (2, "loyal")):
        code = choose(sums[flag] > 0, number, code)
    reason = put("reason", code, "count")
    there = reason.equals(0)
    customers = put("level_customers", choose(there, joining * life / (1 - sent), 0), "people")
    referral = book.given("sign_up.monthly_referral_rate") * book.given("pay.conversion_rate")
    mrr = put("level_mrr", choose(there, (joining + referral * customers) * money, 0), book.money)
    for number, text in enumerate(words["reasons"]):
        table.sheet.text(FIRST + row + 1 + number, 0, text, "soft")
    return Level(customers, mrr, reason)
