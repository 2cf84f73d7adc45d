"""Ceiling: where customers and MRR settle if what comes in at the end of the forecast goes on for ever."""

from __future__ import annotations

from collections.abc import Sequence

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
from growth.spreadsheet.worksheet import FIRST, FormulaTable

FAR = 1e60  # stands for joiners without end
_KINDS = ("customers", "mrr")
# Reasons true of one plan; where customers of another plan leave, the next reason of the list is the true one.
_OF_ONE_PLAN = (Reason.EXPANSION_WITHOUT_CHURN, Reason.NOBODY_LEAVES)
_OF_A_PLAN = {"share": "share", "price": "cents", "fall": "0.0000", "whole": "count"}
_VERDICT = {  # columns of what is on board, what a newcomer adds, and what stays of a plan that nobody joins
    "aboard_customers": "0.00",
    "aboard_mrr": "0.00",
    "per_customers": "0.0000",
    "per_mrr": "0.0000",
    "counts_customers": "count",
    "counts_mrr": "count",
    "sends": "count",
    "remains_customers": "count",
    "remains_mrr": "count",
    "keeps_customers": "0.00",
    "keeps_mrr": "0.00",
    "lasts": "0.0000",
    "pays": "0.0000",
    "pays_late": "0.0000",
    "then": "0.00",
}
_LINES = (
    "joining waiting_customers waiting_mrr referral lifetime endless sent fed holds source joined everybody "
    "why_customers why_mrr whether_customers whether_mrr told_customers told_mrr mrr_then reason "
    "level_customers level_mrr"
).split()


class CeilingSheet:
    """The sheet of the ceiling: a row for each plan, and the sums over all plans below. See model.md.

    level: where all plans together settle.
    """

    def __init__(
        self, book: WorkbookContext, *, lives: list[PlanByAge], changes: ChangesSheet, arrivals: ArrivalsSheet,
        plans: Sequence[PlanSheet], months: MonthsSheet,
    ):  # fmt: skip
        self._book, self._lives, self._changes, self._words = book, lives, changes, book.words["ceiling"]
        words, self._rows, self._lines = self._words, range(len(lives)), dict[str, Formula]()
        last = len(lives) + len(_LINES) + len(REASONS) + 4
        self._table = FormulaTable(book.sheets["ceiling"], title=words["title"], lines=words["lines"], last=last)
        self._name = self._table.column(words["plan"], width=46, left=True)
        self._columns = self._table.named(words, _OF_A_PLAN)
        self._sums = {kind: LifetimeColumns(words, self._table, words[kind]) for kind in _KINDS}
        self._columns |= self._table.named(words, _VERDICT, group=words["verdict"])
        self._outside(arrivals, months)
        for row, plan in enumerate(plans):
            self._plan(row, plan)
        self.level = self._level(months.columns["closing_customers"][book.scenario.months])
        self._table.finish()

    def _total(self, name: str) -> Formula:
        """A column's sum over all plans."""
        return total(self._columns[name].span(0, self._rows[-1]))

    def _line(self, key: str, formula: Formula, kind: str = "count") -> Formula:
        """Write a number of all plans together, in its row below them."""
        row = FIRST + len(self._rows) + 1 + _LINES.index(key)
        self._table.sheet.put(row, 0, self._words[key])
        self._lines[key] = self._table.sheet.put(row, 1, formula, "strong", kind)
        return self._lines[key]

    def _outside(self, arrivals: ArrivalsSheet, months: MonthsSheet) -> None:
        """Who joins at the end, who may still come back, and how many customers a customer brings in."""
        book, last = self._book, self._book.scenario.months
        now = book.in_month(last)
        self._line("joining", choose(arrivals.level > NOBODY, arrivals.level, 0), "people")
        for kind, name in (("customers", "lost_customers"), ("mrr", "churned_mrr")):
            waiting = as_formula(0)
            if book.scenario.stay.comeback is not None:
                back = now.given("stay.comeback.comeback_rate")
                recent = (months.number.span(1, last) > last - book.given("stay.comeback.after_months")) * 1
                waiting = choose(both(back > 0, dot(months.columns[name].span(1, last), recent) > NOBODY), 1, 0)
            self._line(f"waiting_{kind}", waiting)
        referral = now.given("sign_up.monthly_referral_rate") * now.given("pay.conversion_rate")
        self._line("referral", referral, "0.0000")

    def _plan(self, row: int, sheet: PlanSheet) -> None:
        """A plan's row: the lifetime of its customers and of their MRR, and who is on board at the end."""
        book, life, months = self._book, self._lives[row], self._book.scenario.months
        plan = book.scenario.pay.plans[row]

        def put(name: str, formula: Formula) -> Formula:
            return self._columns[name].put(row, formula)

        self._name.put(row, plan.name)
        share = put("share", 1 * self._changes.joining_share(row, months))
        price = put("price", self._changes.price(row, months))
        fall, whole = self._columns["fall"], self._columns["whole"]
        facts = plan_facts(book, row, life, self._changes, fall=fall, whole=whole)
        people, money = (self._sums[kind] for kind in _KINDS)
        people.put(row, facts, life.alive, life.gone, as_formula(0))
        money.put(row, facts, life.worth, life.lost, growth_at_the_end(life, yearly=plan.billing == "yearly"))
        put("aboard_customers", 1 * sheet.columns["closing_customers"][months])
        put("aboard_mrr", 1 * sheet.columns["closing_mrr"][months])
        joins, pays = share > 0, both(share > 0, price > 0)
        used = put("counts_customers", choose(joins, 1, 0))
        put("counts_mrr", choose(pays, 1, 0))
        put("per_customers", share * people.once(row))
        put("per_mrr", share * price * money.once(row))
        put("lasts", choose(joins, share * people["century"][row], 0))
        put("pays", choose(pays, share * price * money["century"][row], 0))
        put("pays_late", choose(pays, share * price * money["late"][row], 0))
        stays = either(people["kind"][row].equals(STAYS), people["back"][row] >= ONE)
        put("sends", choose(both(used.equals(0), stays, self._columns["aboard_customers"][row] > NOBODY), 1, 0))

    def _level(self, aboard: Formula) -> Level:
        """The level, from all plans together; aboard: the customers at the end."""
        lines, joining, referral = self._lines, self._lines["joining"], self._lines["referral"]
        life = self._line("lifetime", self._total("per_customers"), "0.0000")
        endless = self._line("endless", self._least("customers"))
        sent = self._line("sent", choose(endless < NO_REASON, 0, referral * life), "0.0000")
        made_up = first_of((sent >= ONE, Reason.REFERRALS_MAKE_UP), (sent >= EDGE, Reason.NOT_KNOWN))
        fed = self._line("fed", choose(endless < NO_REASON, endless, made_up))
        alone = both(joining.equals(0), referral > 0, aboard > NOBODY)
        level_off = both(endless.equals(NO_REASON), sent >= EDGE, sent <= 2 - EDGE)
        holds = self._line("holds", choose(both(alone, level_off), 1, 0))
        source = self._line("source", choose(both(referral > 0, self._total("sends") > 0), 1, 0))
        endlessly = both(alone, fed <= Reason.NOT_KNOWN.number)
        some = either(joining > 0, source.equals(1), holds.equals(1), endlessly)
        joined = self._line("joined", choose(some, 1, 0))
        everybody = self._line("everybody", minimum(*(self._stay_all(row, joined) for row in self._rows)))
        for row in self._rows:
            self._stay_behind(row, joined)
        customers = choose(sent < EDGE, joining * life / (1 - sent), 0)
        levels = {"customers": customers, "mrr": (joining + referral * customers) * self._total("per_mrr")}
        through = {"customers": choose(referral > 0, fed, endless), "mrr": choose(referral > 0, fed, NO_REASON)}
        found, reasons = {}, {}
        for kind in _KINDS:
            reached = both(joined.equals(1), self._total(f"counts_{kind}") > 0)
            why = minimum(through[kind], self._least(kind))
            why = choose(reached, choose(holds.equals(1), Reason.REFERRALS_HOLD.number, why), NO_REASON)
            remains = self._columns[f"remains_{kind}"].span(0, self._rows[-1])
            why = self._line(f"why_{kind}", minimum(why, remains))
            aboard_at_all = self._total(f"aboard_{kind}") > NOBODY
            returning = both(lines[f"waiting_{kind}"].equals(1), aboard_at_all.equals(as_formula(False)))
            returning = both(returning, reached.equals(as_formula(False)), why.equals(NO_REASON))
            settle = minimum(*(self._remains(row, kind) for row in self._rows)) >= Reason.LEVELS_OFF.number
            why = choose(returning, choose(settle, Reason.LEVELS_OFF.number, Reason.NOT_KNOWN.number), why)
            fed_by_stayers = both(why.equals(NO_REASON), reached, source.equals(1))
            why = self._line(f"whether_{kind}", choose(fed_by_stayers, Reason.LEVELS_OFF.number, why))
            of_one = either(*(why.equals(one.number) for one in _OF_ONE_PLAN))
            of_several = choose(both(of_one, everybody.equals(0)), why + 1, why)
            reasons[kind] = self._line(f"told_{kind}", of_several)
            found[kind] = levels[kind] + self._total(f"keeps_{kind}")
        vague = both(referral > 0, reasons["customers"].equals(Reason.NOT_KNOWN.number))
        vague = both(vague, reasons["mrr"] > Reason.NOT_KNOWN.number)  # how many customers send others
        reasons["mrr"] = choose(vague, Reason.NOT_KNOWN.number, reasons["mrr"])
        reasons["mrr"] = choose(self._slow(reasons["mrr"]), Reason.NOT_KNOWN.number, reasons["mrr"])
        reason = self._line("reason", choose(reasons["mrr"].equals(NO_REASON), 0, reasons["mrr"]))
        people = choose(reasons["customers"].equals(NO_REASON), found["customers"], 0)
        people = self._line("level_customers", people, "people")
        money = self._line("level_mrr", choose(reason.equals(0), found["mrr"], 0), self._book.money)
        for number, text in enumerate(self._words["reasons"], start=FIRST + len(self._rows) + len(_LINES) + 2):
            self._table.sheet.put(number, 0, text, "soft")
        return Level(people, money, reason)

    def _slow(self, reason: Formula) -> Formula:
        """Whether unlimited growth does not show within a hundred years, as far as is known."""
        lines, columns = self._lines, self._columns
        sends = lines["referral"] * self._total("lasts")
        joining = choose(sends < 2, lines["joining"], choose(lines["joined"].equals(1), FAR, 0))
        pays, aboard, then = self._total("pays"), columns["aboard_mrr"], columns["then"]
        century = self._line("mrr_then", joining * pays + self._total("then"), self._book.money)
        still = [then[row] <= MORE * aboard[row] for row in self._rows]
        lasting = self._total("pays_late") <= MORE * pays
        level = both(reason < Reason.COMEBACKS_MAKE_UP.number, sends < 2, lasting, *still)
        most = [aboard[row] * self._rise(row) for row in self._rows]
        below = century <= sum(most[1:], most[0])  # those on board fade from there
        return both(reason < Reason.NOT_KNOWN.number, either(below, level))

    def _rise(self, row: int) -> Formula:
        """How many times what they pay now those on board may come to pay; 1 where that never stops growing."""
        life = self._lives[row]
        still, paid = life.alive[life.ages - 1], life.worth[life.ages - 1]
        stops = both(self._sums["mrr"]["growth"][row] <= FLAT, still > 0)
        return choose(stops, maximum(paid / still, 1), 1)

    def _least(self, kind: str) -> Formula:
        """The first reason why newcomers pile up, of the plans that count."""
        counts, why = self._columns[f"counts_{kind}"], self._sums[kind]["accumulates"]
        return minimum(*(choose(counts[row].equals(1), why[row], NO_REASON) for row in self._rows))

    def _stay_all(self, row: int, joined: Formula) -> Formula:
        """1 where nobody leaves a plan, or nobody is or comes on board of it."""
        joins = both(joined.equals(1), self._columns["counts_customers"][row].equals(1))
        somebody = either(joins, self._columns["aboard_customers"][row] > NOBODY)
        return choose(both(self._columns["whole"][row].equals(0), somebody), 0, 1)

    def _remains(self, row: int, kind: str) -> Formula:
        """Why there is no known level for those on board of a plan that nobody joins."""
        life = self._lives[row]
        kept = life.alive if kind == "customers" else life.worth
        same = choose(kept[life.ages - 1].equals(1), 1, 0)  # what a newcomer brings never changes
        return self._sums[kind].remains(row, self._columns["whole"][row], same, self._lines[f"waiting_{kind}"])

    def _stay_behind(self, row: int, joined: Formula) -> None:
        """The future of the customers of a plan that nobody joins."""
        for kind in _KINDS:
            sums, aboard = self._sums[kind], self._columns[f"aboard_{kind}"][row]
            deserted = either(joined.equals(0), self._columns[f"counts_{kind}"][row].equals(0))
            idle = both(deserted, aboard > NOBODY)
            odd = both(sums["odd"][row].equals(1), aboard > NOBODY)
            reason = choose(idle, self._remains(row, kind), NO_REASON)
            reason = minimum(reason, choose(odd, Reason.NOT_KNOWN.number, NO_REASON))
            self._columns[f"remains_{kind}"].put(row, reason)
            if kind == "mrr":
                self._columns["then"].put(row, choose(idle, aboard * sums["left"][row], 0))
            stays = both(idle, sums["kind"][row].equals(STAYS))
            self._columns[f"keeps_{kind}"].put(row, choose(stays, aboard, 0))
