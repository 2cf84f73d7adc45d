"""A plan's lifetime added up in formulas: the rules of `growth.engine.long_run`, one row a plan."""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from operator import mul
from typing import Any

from growth.engine.curves import LIFETIME
from growth.engine.long_run import (
    BARELY,
    EDGE,
    FADED,
    FINITE,
    FLAT,
    GROWS,
    LOYAL,
    LOYAL_GROWS,
    NOTHING,
    ONE,
    SLOW,
    STAYS,
    UNSETTLED,
)
from growth.measures.reason import REASONS, Reason
from growth.spreadsheet.changes_sheet import YEAR, ChangesSheet
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula, absolute, as_formula, both, choose, either, maximum, minimum, total
from growth.spreadsheet.stay_sheet import PlanByAge
from growth.spreadsheet.worksheet import FormulaColumn, FormulaTable

HIGH, LOW = 100, 1e-3  # yearly ratios beyond these are taken as these, so that LibreOffice can raise them to a power
NO_REASON = len(REASONS) + 1  # so that the first reason told is the least
_COLUMNS = dict.fromkeys(
    "sum last before ratio ratio_before growth rest total kind known century late left back accumulates odd".split(),
    "0.0000",
) | dict.fromkeys(("kind", "known", "accumulates", "odd"), "count")


def first_of(*pairs: tuple[Formula, Reason]) -> Formula:
    """The number of the first reason whose condition holds."""
    code = as_formula(NO_REASON)
    for condition, reason in reversed(pairs):
        code = choose(condition, reason.number, code)
    return code


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """customers, mrr: the level, 0 where there is none; reason: 0, or which of REASONS, from 1, stands in its way."""

    customers: Formula
    mrr: Formula
    reason: Formula


@dataclass(frozen=True, slots=True, eq=False)
class PlanFacts:
    """The facts that both sums of a plan need.

    fall: the power of age with which survival falls in the end, 0 without one; None where its curve has none. after,
    before: churn of the last step and of the one before. step: months of a step.
    stayed: the share that stays over the last year of ages, of those who are there.
    """

    life: PlanByAge
    fall: Formula | None
    after: Formula
    before: Formula
    step: int
    whole: Formula
    stayed: Formula
    comeback: Formula


def plan_facts(
    book: WorkbookContext, number: int, life: PlanByAge, changes: ChangesSheet, *, fall: Any, whole: Any
) -> PlanFacts:
    """The facts of one plan, written into the columns `fall` and `whole`."""
    plan, ages = book.scenario.pay.plans[number], life.ages
    curve, place = (plan.churn, f"pay.plans.{number}.churn") if plan.churn else (book.scenario.stay.churn, "stay.churn")
    step = YEAR if plan.billing == "yearly" else 1
    factor, now = changes.churn_factor(book.scenario.months), book.in_month(book.scenario.months)
    power: Formula | None = None
    if curve.curve in ("sbg", "bdw") and (plan.billing == "monthly" or plan.renewal_rate is None):
        power = now.given(f"{place}.alpha")
        power = power * now.given(f"{place}.shape") if curve.curve == "bdw" else power
        power = fall.put(number, power if factor is None else power * factor)
    else:
        fall.put(number, 0)
    back = book.scenario.stay.comeback
    return PlanFacts(
        life=life,
        fall=power,
        after=life.leaves[-step],
        before=life.leaves[-2 * step],
        step=step,
        whole=whole.put(number, choose(life.alive[ages - 1].equals(1), 1, 0)),
        stayed=reduce(mul, [1 - churn for churn in life.leaves[-YEAR:]]),
        comeback=as_formula(0) if back is None else now.given("stay.comeback.comeback_rate"),
    )


class LifetimeColumns:
    """The lifetime of each plan's customers, or of their MRR: sums, kind, what comes back, and why there is no sum."""

    def __init__(self, words: dict[str, Any], table: FormulaTable, group: str):
        self._columns = table.named(words, _COLUMNS, group=group)

    def __getitem__(self, name: str) -> FormulaColumn:
        return self._columns[name]

    def put(self, row: int, facts: PlanFacts, kept: FormulaColumn, left: FormulaColumn, growth: Formula) -> None:
        """One plan: what is kept at each age, what leaves, and by how much those who stay grow in a year at the end."""

        def put(name: str, formula: Formula) -> Formula:
            return self._columns[name].put(row, formula)

        ages, fall, end = facts.life.ages, facts.fall, facts.life.ages - 2 * facts.step
        years = [total(kept.span(ages - YEAR * (k + 1), ages - 1 - YEAR * k)) for k in range(3)]
        body = put("sum", total(kept.span(0, ages - 1)))
        last, before = put("last", years[0]), put("before", years[1])
        ratio = put("ratio", choose(before < NOTHING, 0, last / before))
        ratio_before = put("ratio_before", choose(years[2] < NOTHING, 0, before / years[2]))
        growth = put("growth", growth)
        rises, flat = growth > FLAT, absolute(growth) <= FLAT
        tail = choose(ratio < 1, last * ratio / (1 - ratio), 0)
        gone = choose(ratio < 1, total(left.span(ages - YEAR, ages - 1)) * ratio / (1 - ratio), 1e99)
        settles = choose(ratio < EDGE, FINITE, choose(ratio < ONE, UNSETTLED, choose(rises, GROWS, STAYS)))
        all_gone = total(left.span(1, ages - 1))
        later = (LIFETIME - ages) // YEAR  # years that were not looked at
        leaving = all_gone + choose(both(ratio >= ONE, growth <= FLAT), 0, gone)
        if fall is None:
            put("rest", tail)
            whole, kind = body + self._columns["rest"][row], settles
        else:
            powered, known = both(fall > 0, last >= NOTHING), both(fall > 1 + FLAT, facts.after > 0)
            power_rest = choose(known, facts.step * kept[end] * (fall / facts.after - 1) / (fall - 1), 0)
            by_power = both(powered, flat)
            rest = put("rest", choose(by_power, power_rest, tail))
            whole = choose(by_power, total(kept.span(0, end - 1)), body) + rest
            bend = choose(facts.before > 0, absolute(fall / facts.after - fall / facts.before - 1), 1)
            sure = choose(known, bend * rest <= 0.01 * (fall - 1) * whole, 1 > as_formula(2))
            slow = choose(fall <= 1 + FLAT, LOYAL, choose(both(sure, fall > BARELY), FINITE, UNSETTLED))
            small = either(absolute(ratio - ratio_before) <= 1e-6 * (1 - ratio), tail <= 0.01 * body)
            fading = choose(both(ratio < EDGE, small), FINITE, UNSETTLED)
            growing = choose(ratio >= EDGE, GROWS, LOYAL_GROWS)
            kind = choose(powered, choose(flat, slow, choose(rises, growing, fading)), settles)
            leaving = choose(both(fall > 0, flat), total(left.span(1, end)) + kept[end], leaving)
        faded = both(last <= FADED * body, kind > FINITE)
        if later:
            faded = both(faded, growth <= FLAT)
        if fall is None:
            leaving = choose(faded, all_gone, leaving)
        else:
            leaving = choose(both(faded, either(fall <= 0, absolute(growth) > FLAT)), all_gone, leaving)
        put("total", choose(faded, body, whole))
        kind = put("kind", kind)
        put("known", choose(either(kind.equals(FINITE), faded), 1, 0))
        most = minimum(ratio, HIGH)
        base = maximum(most, LOW)
        more = choose(absolute(most - 1) < 1 - ONE, later, most * (1 - base**later) / (1 - most))
        put("century", body + last * more if later else body)
        put("late", last * base**later if later else last)
        put("left", choose(ratio >= ONE, minimum(kept[ages - 1] * base**later, base ** (LIFETIME // YEAR)), 0))
        put("back", facts.comeback * leaving)
        put("accumulates", self._accumulates(row, facts))
        goes_on = facts.stayed * (1 + growth) > SLOW
        if fall is not None:
            goes_on = either(goes_on, both(fall > 0, rises))
        put("odd", choose(both(either(faded, kept[ages - 1].equals(0)), goes_on), 1, 0))

    def once(self, row: int) -> Formula:
        """The sum with comebacks, where it has a limit; else 0."""
        back = self["back"][row]
        return choose(both(self["known"][row].equals(1), back < EDGE), self["total"][row] / (1 - back), 0)

    def _grows(self, kind: Formula, whole: Formula) -> list[tuple[Formula, Reason]]:
        grows = kind.equals(GROWS)
        everybody_stays = both(grows, whole.equals(1))
        return [(everybody_stays, Reason.EXPANSION_WITHOUT_CHURN), (grows, Reason.EXPANSION_OUTRUNS_CHURN)]

    def _accumulates(self, row: int, facts: PlanFacts) -> Formula:
        """Why there is no level where newcomers keep joining."""
        kind, back = choose(self["known"][row].equals(1), FINITE, self["kind"][row]), self["back"][row]
        return first_of(
            *self._grows(kind, facts.whole),
            (both(kind.equals(STAYS), facts.whole.equals(1)), Reason.NOBODY_LEAVES),
            (kind.equals(STAYS), Reason.SOME_NEVER_LEAVE),
            (either(kind.equals(LOYAL), kind.equals(LOYAL_GROWS)), Reason.LOYAL_STAY),
            (both(back >= ONE, self["ratio"][row] <= SLOW), Reason.COMEBACKS_MAKE_UP),
            (either(kind.equals(UNSETTLED), back >= EDGE), Reason.NOT_KNOWN),
        )

    def remains(self, row: int, whole: Formula, same: Formula, waiting: Formula) -> Formula:
        """Why there is no known level for those on board, where nobody joins them.

        whole: 1 where nobody ever leaves. same: 1 where what a newcomer brings never changes.
        """
        kind, back = self["kind"][row], self["back"][row]
        later = either(kind.equals(LOYAL_GROWS), both(absolute(kind - STAYS) > 0, self["ratio"][row] > SLOW))
        return first_of(
            *self._grows(kind, whole),
            (back > 2 - ONE, Reason.COMEBACKS_MAKE_UP),
            (back >= ONE, Reason.ALL_COME_BACK),
            (both(kind.equals(STAYS), either(same.equals(0), waiting.equals(1))), Reason.LEVELS_OFF),
            (later, Reason.NOT_KNOWN),
        )


def growth_at_the_end(life: PlanByAge, *, yearly: bool) -> Formula:
    """The yearly growth of what a staying customer pays, at the last ages."""
    age = life.ages - YEAR if yearly else life.ages - 1
    more, less = life.at_end.more[age - 1], life.at_end.less[age - 1]
    return more - less if yearly else (1 + more - less) ** YEAR - 1
