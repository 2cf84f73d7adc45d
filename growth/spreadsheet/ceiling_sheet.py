"""Ceiling: where customers and MRR settle if what comes in at the end of the forecast goes on for ever."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from growth.engine.long_run import EDGE, FLAT, ONE, STAYS
from growth.measures.ceiling import MORE, NOBODY
from growth.measures.reason import REASONS, Reason
from growth.spreadsheet.arrivals_sheet import ArrivalsSheet
from growth.spreadsheet.changes_sheet import ChangesSheet
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula, as_formula, both, choose, dot, either, maximum, minimum, total
from growth.spreadsheet.lifetime_formulas import (
    NO_REASON,
    Level,
    LifetimeColumns,
    first_of,
    growth_at_the_end,
    plan_facts,
)
from growth.spreadsheet.months_sheet import MonthsSheet
from growth.spreadsheet.plan_sheet import PlanSheet
from growth.spreadsheet.stay_sheet import PlanByAge
from growth.spreadsheet.worksheet import FIRST, FormulaColumn, FormulaTable

FAR = 1e60  # stands for joiners without end
_KINDS = ("customers", "mrr")
# Reasons true of one plan; where customers of another plan leave, the next reason of the list is the true one.
_OF_ONE_PLAN = (Reason.EXPANSION_WITHOUT_CHURN, Reason.NOBODY_LEAVES)
_LINES = (
    "joining waiting_customers waiting_mrr referral lifetime endless sent fed holds source joined everybody "
    "why_customers why_mrr whether_customers whether_mrr told_customers told_mrr mrr_then reason "
    "level_customers level_mrr"
).split()


def ceiling(
    book: WorkbookContext,
    *,
    lives: list[PlanByAge],
    changes: ChangesSheet,
    arrivals: ArrivalsSheet,
    plans: Sequence[PlanSheet],
    months: MonthsSheet,
) -> Level:
    """Fill the sheet of the ceiling: a row for each plan, and the sums over all plans below. See model.md."""
    sheet = _CeilingSheet(book, lives=lives, changes=changes)
    sheet.outside(arrivals, months)
    for row, plan in enumerate(plans):
        sheet.plan(row, plan)
    level = sheet.level(months.columns["closing_customers"][book.scenario.months])
    sheet.table.finish()
    return level


class _CeilingSheet:
    def __init__(self, book: WorkbookContext, *, lives: list[PlanByAge], changes: ChangesSheet):
        self._book, self._lives, self._changes, self._words = book, lives, changes, book.words["ceiling"]
        words, self._plans = self._words, book.scenario.pay.plans
        last = len(self._plans) + len(_LINES) + len(REASONS) + 4
        self.table = FormulaTable(book.sheets["ceiling"], title=words["title"], lines=words["lines"], last=last)
        self._name = self.table.column(words["plan"], width=46, left=True)
        self._share, self._price = self._column("share", "share"), self._column("price", "cents")
        self._fall, self._whole = self._column("fall", "0.0000"), self._column("whole", "count")
        self._sums = {kind: LifetimeColumns(words, self.table, words[kind]) for kind in _KINDS}
        self._aboard = {kind: self._column(f"aboard_{kind}", "0.00", words["verdict"]) for kind in _KINDS}
        self._adds = {kind: self._column(f"per_{kind}", "0.0000", words["verdict"]) for kind in _KINDS}
        self._counts = {kind: self._column(f"counts_{kind}", "count", words["verdict"]) for kind in _KINDS}
        self._sends = self._column("sends", "count", words["verdict"])
        self._remains = {kind: self._column(f"remains_{kind}", "count", words["verdict"]) for kind in _KINDS}
        self._keeps = {kind: self._column(f"keeps_{kind}", "0.00", words["verdict"]) for kind in _KINDS}
        self._lasts = self._column("lasts", "0.0000", words["verdict"])
        self._pays = self._column("pays", "0.0000", words["verdict"])
        self._pays_late = self._column("pays_late", "0.0000", words["verdict"])
        self._then = self._column("then", "0.00", words["verdict"])
        self._lines: dict[str, Formula] = {}

    def _column(self, key: str, kind: str, group: str = "") -> FormulaColumn:
        return self.table.column(self._words[key], kind, group=group)

    def _line(self, key: str, formula: Formula, kind: str) -> Formula:
        """Write a number of all plans together, in its row below them."""
        row = FIRST + len(self._plans) + 1 + _LINES.index(key)
        self.table.sheet.put(row, 0, self._words[key], "cell")
        self._lines[key] = self.table.sheet.put(row, 1, formula, "strong", kind)
        return self._lines[key]

    def outside(self, arrivals: ArrivalsSheet, months: MonthsSheet) -> None:
        """Who joins at the end, who may still come back, and how many customers a customer brings in."""
        book, last = self._book, self._book.scenario.months
        self._line("joining", choose(arrivals.level > NOBODY, arrivals.level, 0), "people")
        for kind, name in (("customers", "lost_customers"), ("mrr", "churned_mrr")):
            waiting = as_formula(0)
            if book.scenario.stay.comeback is not None:
                back = book.in_month(last).given("stay.comeback.comeback_rate")
                recent = (months.number.span(1, last) > last - book.given("stay.comeback.after_months")) * 1
                waiting = choose(both(back > 0, dot(months.columns[name].span(1, last), recent) > NOBODY), 1, 0)
            self._line(f"waiting_{kind}", waiting, "count")
        now = book.in_month(last)
        referral = now.given("sign_up.monthly_referral_rate") * now.given("pay.conversion_rate")
        self._line("referral", referral, "0.0000")

    def plan(self, row: int, sheet: PlanSheet) -> None:
        """A plan's row: the lifetime of its customers and of their MRR, and who is on board at the end."""
        book, plan, life, months = self._book, self._plans[row], self._lives[row], self._book.scenario.months
        self._name.put(row, plan.name)
        share = self._share.put(row, 1 * self._changes.joining_share(row, months))
        price = self._price.put(row, self._changes.price(row, months))
        facts = plan_facts(book, row, life, self._changes, fall=self._fall, whole=self._whole)
        growth = growth_at_the_end(life, yearly=plan.billing == "yearly")
        people, money = (self._sums[kind] for kind in _KINDS)
        people.put(row, facts, life.alive, life.gone, as_formula(0))
        money.put(row, facts, life.worth, life.lost, growth)
        for kind, name in (("customers", "closing_customers"), ("mrr", "closing_mrr")):
            self._aboard[kind].put(row, 1 * sheet.columns[name][months])
        used = self._counts["customers"].put(row, choose(share > 0, 1, 0))
        self._counts["mrr"].put(row, choose(both(share > 0, price > 0), 1, 0))
        self._adds["customers"].put(row, share * people.once(row))
        self._adds["mrr"].put(row, share * price * money.once(row))
        stays = either(people["kind"][row].equals(STAYS), people["back"][row] >= ONE)
        self._lasts.put(row, choose(share > 0, share * people["century"][row], 0))
        for column, name in ((self._pays, "century"), (self._pays_late, "late")):
            column.put(row, choose(both(share > 0, price > 0), share * price * money[name][row], 0))
        self._sends.put(row, choose(both(used.equals(0), stays, self._aboard["customers"][row] > NOBODY), 1, 0))

    def level(self, aboard: Formula) -> Level:
        """The level, from all plans together; aboard: the customers at the end."""
        last, lines = len(self._plans) - 1, self._lines
        joining, referral = lines["joining"], lines["referral"]
        life = self._line("lifetime", total(self._adds["customers"].span(0, last)), "0.0000")
        endless = self._line("endless", self._least("customers", "accumulates"), "count")
        sent = self._line("sent", choose(endless < NO_REASON, 0, referral * life), "0.0000")
        made_up = first_of(sent >= ONE, Reason.REFERRALS_MAKE_UP, sent >= EDGE, Reason.NOT_KNOWN)
        fed = self._line("fed", choose(endless < NO_REASON, endless, made_up), "count")
        alone = both(joining.equals(0), referral > 0, aboard > NOBODY)
        level_off = both(endless.equals(NO_REASON), sent >= EDGE, sent <= 2 - EDGE)
        holds = self._line("holds", choose(both(alone, level_off), 1, 0), "count")
        source = choose(both(referral > 0, total(self._sends.span(0, last)) > 0), 1, 0)
        source = self._line("source", source, "count")
        endlessly = both(alone, fed <= Reason.NOT_KNOWN.number)
        some = either(joining > 0, source.equals(1), holds.equals(1), endlessly)
        joined = self._line("joined", choose(some, 1, 0), "count")
        everybody = self._line("everybody", minimum(*map(self._stay_all(joined), range(last + 1))), "count")
        for row in range(len(self._plans)):
            self._stay_behind(row, joined)
        customers = choose(sent < EDGE, joining * life / (1 - sent), 0)
        levels = {
            "customers": customers,
            "mrr": (joining + referral * customers) * total(self._adds["mrr"].span(0, last)),
        }
        through = {"customers": choose(referral > 0, fed, endless), "mrr": choose(referral > 0, fed, NO_REASON)}
        found, reasons = {}, {}
        for kind in _KINDS:
            reached = both(joined.equals(1), total(self._counts[kind].span(0, last)) > 0)
            why = minimum(through[kind], self._least(kind, "accumulates"))
            why = choose(reached, choose(holds.equals(1), Reason.REFERRALS_HOLD.number, why), NO_REASON)
            why = self._line(f"why_{kind}", minimum(why, self._remains[kind].span(0, last)), "count")
            aboard_at_all = total(self._aboard[kind].span(0, last)) > NOBODY
            returning = both(lines[f"waiting_{kind}"].equals(1), aboard_at_all.equals(as_formula(False)))
            returning = both(returning, reached.equals(as_formula(False)), why.equals(NO_REASON))
            settle = self._those_who_come_back_settle(kind)
            why = choose(returning, choose(settle, Reason.LEVELS_OFF.number, Reason.NOT_KNOWN.number), why)
            fed_by_stayers = both(why.equals(NO_REASON), reached, source.equals(1))
            why = self._line(f"whether_{kind}", choose(fed_by_stayers, Reason.LEVELS_OFF.number, why), "count")
            of_one = either(*(why.equals(one.number) for one in _OF_ONE_PLAN))
            of_several = choose(both(of_one, everybody.equals(0)), why + 1, why)
            reasons[kind] = self._line(f"told_{kind}", of_several, "count")
            found[kind] = levels[kind] + total(self._keeps[kind].span(0, last))
        vague = both(lines["referral"] > 0, reasons["customers"].equals(Reason.NOT_KNOWN.number))
        vague = both(vague, reasons["mrr"] > Reason.NOT_KNOWN.number)  # how many customers send others
        reasons["mrr"] = choose(vague, Reason.NOT_KNOWN.number, reasons["mrr"])
        reasons["mrr"] = choose(self._slow(reasons["mrr"], last), Reason.NOT_KNOWN.number, reasons["mrr"])
        reason = self._line("reason", choose(reasons["mrr"].equals(NO_REASON), 0, reasons["mrr"]), "count")
        people = choose(reasons["customers"].equals(NO_REASON), found["customers"], 0)
        people = self._line("level_customers", people, "people")
        money = self._line("level_mrr", choose(reason.equals(0), found["mrr"], 0), self._book.money)
        first = FIRST + len(self._plans) + len(_LINES) + 2
        for number, text in enumerate(self._words["reasons"]):
            self.table.sheet.put(first + number, 0, text, "soft")
        return Level(people, money, reason)

    def _slow(self, reason: Formula, last: int) -> Formula:
        """Whether unlimited growth does not show within a hundred years, as far as is known."""
        lines = self._lines
        sends, then = lines["referral"] * total(self._lasts.span(0, last)), self._then.span(0, last)
        joining = choose(sends < 2, lines["joining"], choose(lines["joined"].equals(1), FAR, 0))
        pays, aboard = total(self._pays.span(0, last)), self._aboard["mrr"]
        century = self._line("mrr_then", joining * pays + total(then), self._book.money)
        still = [self._then[row] <= MORE * aboard[row] for row in range(last + 1)]
        level = both(
            reason < Reason.COMEBACKS_MAKE_UP.number,
            sends < 2,
            total(self._pays_late.span(0, last)) <= MORE * pays,
            *still,
        )
        most = [aboard[row] * self._rise(row) for row in range(last + 1)]
        below = century <= sum(most[1:], most[0])  # those on board fade from there
        return both(reason < Reason.NOT_KNOWN.number, either(below, level))

    def _rise(self, row: int) -> Formula:
        """How many times what they pay now those on board may come to pay; 1 where that never stops growing."""
        life = self._lives[row]
        still, paid = life.alive[life.ages - 1], life.worth[life.ages - 1]
        stops = both(self._sums["mrr"]["growth"][row] <= FLAT, still > 0)
        return choose(stops, maximum(paid / still, 1), 1)

    def _those_who_come_back_settle(self, kind: str) -> Formula:
        """Whether nothing keeps those from a level who have left and come back."""
        waiting, sums = self._lines[f"waiting_{kind}"], self._sums[kind]
        reasons = (
            sums.remains(row, self._whole[row], self._same(row, kind), waiting) for row in range(len(self._plans))
        )
        return minimum(*reasons) >= Reason.LEVELS_OFF.number

    def _least(self, kind: str, name: str) -> Formula:
        """The first reason given by the plans that count."""
        counts, column = self._counts[kind], self._sums[kind][name]
        return minimum(*(choose(counts[row].equals(1), column[row], NO_REASON) for row in range(len(self._plans))))

    def _stay_all(self, joined: Formula) -> Callable[[int], Formula]:
        """1 where nobody leaves a plan, or nobody is or comes on board of it; for a row."""

        def of(row: int) -> Formula:
            joins = both(joined.equals(1), self._counts["customers"][row].equals(1))
            somebody = either(joins, self._aboard["customers"][row] > NOBODY)
            return choose(both(self._whole[row].equals(0), somebody), 0, 1)

        return of

    def _same(self, row: int, kind: str) -> Formula:
        """1 where what a newcomer brings never changes."""
        life = self._lives[row]
        kept = life.alive if kind == "customers" else life.worth
        return choose(kept[life.ages - 1].equals(1), 1, 0)

    def _stay_behind(self, row: int, joined: Formula) -> None:
        """The future of the customers of a plan that nobody joins."""
        for kind in _KINDS:
            waiting = self._lines[f"waiting_{kind}"]
            sums, aboard = self._sums[kind], self._aboard[kind][row]
            deserted = either(joined.equals(0), self._counts[kind][row].equals(0))
            idle = both(deserted, aboard > NOBODY)
            reason = choose(idle, sums.remains(row, self._whole[row], self._same(row, kind), waiting), NO_REASON)
            odd = both(sums["odd"][row].equals(1), aboard > NOBODY)
            reason = minimum(reason, choose(odd, Reason.NOT_KNOWN.number, NO_REASON))
            self._remains[kind].put(row, reason)
            if kind == "mrr":
                self._then.put(row, choose(idle, aboard * sums["left"][row], 0))
            self._keeps[kind].put(row, choose(both(idle, sums["kind"][row].equals(STAYS)), aboard, 0))
