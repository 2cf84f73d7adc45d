"""A plan month by month: its customers and its MRR, pooled, or cohort by cohort where something depends on age."""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce
from operator import mul

import numpy as np

from growth.calculator.language import said
from growth.calculator.number_words import month_labels
from growth.spreadsheet.changes_sheet import YEAR, ChangesSheet
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula, choose, dot, maximum, minimum, pick, total
from growth.spreadsheet.inputs import by_age
from growth.spreadsheet.opening_sheet import OLDEST, OpeningSheet
from growth.spreadsheet.stay_sheet import PlanByAge, RatesByAge
from growth.spreadsheet.worksheet import FIRST, CellBlock, FormulaColumn, FormulaTable, present

_WIDTH = 8.5  # of a cohort's column, in characters
_SERIES = {  # by group of columns
    "customers": "opening_customers new_customers returned_customers lost_customers closing_customers".split(),
    "mrr": "opening_mrr new_mrr reactivation_mrr expansion_mrr contraction_mrr churned_mrr closing_mrr".split(),
    "bill": "payments cash_in deferred_revenue".split(),
}
_OF_PEOPLE = (*_SERIES["customers"], "payments")


class PlanSheet:
    """The sheet of one plan; `month` fills a row, months one after another. `columns` holds its series by name."""

    def __init__(
        self, book: WorkbookContext, number: int, *, opening: OpeningSheet, life: PlanByAge, changes: ChangesSheet
    ):
        plan, words = book.scenario.pay.plans[number], book.words["plan_sheet"]
        self._book, self._number, self._plan, self._life, self._changes = book, number, plan, life, changes
        aged = by_age(book.scenario, number)
        lines = words["lines"] if aged else words["lines_pooled"]
        self._table, self._month, _ = book.month_table(f"plan {number}", title=plan.name, lines=lines)
        table = self._table
        self.columns: dict[str, FormulaColumn] = {}
        for group, names in _SERIES.items():
            kinds = {name: "people" if name in _OF_PEOPLE else book.money for name in names}
            self.columns |= table.named(book.words["series"], kinds, group=words[group])
        self._leaving = None if aged else table.column(words["leaving"], "churn", group=words["stay"])
        self.columns["closing_customers"].put(0, opening.customers[number], "opening")
        self.columns["closing_mrr"].put(0, opening.mrr[number], "opening")
        table.print_no_further()
        self._cohorts = PlanCohorts(book, table, number, opening, life, changes) if aged else None

    def month(self, month: int, new_customers: Formula) -> None:
        """The month's row, given the new customers of all plans."""
        columns = self.columns

        def put(name: str, formula: Formula | float) -> Formula:
            return columns[name].put(month, formula)

        put("opening_customers", columns["closing_customers"][month - 1])
        put("opening_mrr", columns["closing_mrr"][month - 1])
        new = put("new_customers", new_customers * self._changes.joining_share(self._number, month))
        new_mrr = put("new_mrr", new * self._changes.price(self._number, month))
        back = put("returned_customers", self._back("lost_customers", month))
        back_mrr = put("reactivation_mrr", self._back("churned_mrr", month))
        if self._cohorts is None:
            self._pooled(month, new + back, new_mrr + back_mrr)
            return
        moved = self._cohorts.month(month, new + back, new_mrr + back_mrr)
        for name, formula in moved.items():
            put(name, formula)
        if "cash_in" not in moved:
            self._monthly(month)

    def finish(self) -> None:
        """Print the months only, without the cohorts beside them."""
        if self._cohorts is not None:
            self._cohorts.hide_empty()
        self._table.finish()

    def _back(self, of: str, month: int) -> Formula | float:
        """A share of those who left so many months before; nobody from before month 1."""
        if self._book.scenario.stay.comeback is None or month == 1:
            return 0
        now = self._book.in_month(month)
        rate, after = (now.given(f"stay.comeback.{name}") for name in ("comeback_rate", "after_months"))
        then = self._month.same_row(month) - after
        return choose(then < 1, 0, rate * pick(self.columns[of].span(1, month - 1), then))

    def _pooled(self, month: int, joined: Formula, joined_mrr: Formula) -> None:
        """A month of a plan in which nothing depends on age: all customers leave and grow alike."""
        columns, changes, number = self.columns, self._changes, self._number
        now, whose = self._book.in_month(month), "stay" if self._plan.churn is None else f"pay.plans.{number}"
        churn = changes.scaled(now.given(f"{whose}.churn.monthly_churn_rate"), month)
        provoked, rate = changes.provoked(number, month), changes.rate(number, month)
        churn = churn if provoked is None else churn + (1 - churn) * provoked
        leaving = present(self._leaving).put(month, churn)
        customers, mrr = columns["opening_customers"][month], columns["opening_mrr"][month]
        more, less = (now.given(f"grow.monthly_{name}_rate") for name in ("expansion", "contraction"))
        columns["lost_customers"].put(month, customers * leaving)
        columns["churned_mrr"].put(month, mrr * leaving)
        stayed = mrr * (1 - leaving)
        gained, given_up = stayed * more, stayed * less
        grown = stayed * (1 + more - less)
        if rate is not None:
            gained = gained + grown * maximum(rate, 0)
            given_up = given_up - grown * minimum(rate, 0)
        columns["expansion_mrr"].put(month, gained)
        columns["contraction_mrr"].put(month, given_up)
        columns["closing_customers"].put(month, customers * (1 - leaving) + joined)
        columns["closing_mrr"].put(month, (grown if rate is None else grown * (1 + rate)) + joined_mrr)
        self._monthly(month)

    def _monthly(self, month: int) -> None:
        """Billed by the month: all pay what they pay, and nothing is owed."""
        self.columns["payments"].put(month, self.columns["closing_customers"][month])
        self.columns["cash_in"].put(month, self.columns["closing_mrr"][month])
        self.columns["deferred_revenue"].put(month, 0)


class PlanCohorts:
    """Two triangles, customers and MRR, oldest cohort first, and below the months what happens at each age.

    A column is a month in which customers joined. The ages stand from the oldest to 1, so that the cohorts on board
    before any month, oldest first, meet their ages in the last so many cells of each row.
    """

    def __init__(
        self, book: WorkbookContext, table: FormulaTable, number: int, opening: OpeningSheet, life: PlanByAge,
        changes: ChangesSheet,
    ):  # fmt: skip
        self._book, self._sheet, self._number, self._life = book, table.sheet, number, life
        self._changes, self._months = changes, book.scenario.months
        self._oldest = OLDEST + self._months
        self._yearly = book.scenario.pay.plans[number].billing == "yearly"
        words = book.words["plan_sheet"]
        labels = month_labels(book.scenario.first_month, self._months, book.locale)
        joined = [words["before"].replace("{n}", str(n)) for n in range(OLDEST, -1, -1)] + labels[1:]
        self._cohorts = [self._block(table, words[f"cohort_{name}"], joined) for name in ("customers", "mrr")]
        for kind, whole in enumerate((opening.customers[number], opening.mrr[number])):
            for age in range(OLDEST + 1):
                self._put(kind, 0, OLDEST - age, whole * opening.age_shares(number)[age], "opening")
        self._fill_ages()
        self._scaled = self._leave_by_month(table) if life.at_end.monthly is not None else None

    def month(self, month: int, joined: Formula, joined_mrr: Formula) -> dict[str, Formula]:
        """Take every cohort through one month and add the newcomers. Returns the plan's series of the month."""
        series = self._moves(month)
        for kind, newcomers in enumerate((joined, joined_mrr)):
            for cohort in range(OLDEST + month):
                self._put(kind, month, cohort, self._aged(kind, month, cohort))
            self._put(kind, month, OLDEST + month, newcomers)
        for kind, name in enumerate(("closing_customers", "closing_mrr")):
            series[name] = total(self._cohorts[kind].part(month, 0, OLDEST + month))
        return series | (self._billed(month) if self._yearly else {})

    def hide_empty(self) -> None:
        """Hide the cohorts older than any today; they hold zeros until the inputs change."""
        aboard = np.flatnonzero(self._cohorts[0].values[0, :OLDEST])
        empty = int(aboard[0]) if aboard.size else OLDEST
        for block in self._cohorts if empty else ():
            start, paper = block.first[1], self._sheet.styles("paper")
            self._sheet.worksheet.set_column(start, start + empty - 1, _WIDTH, paper, {"hidden": True})

    def _block(self, table: FormulaTable, group: str, heads: Sequence[str]) -> CellBlock:
        """A column for each head, with a row for each month."""
        table.skip()
        first = table.columns
        for head in heads:
            table.column(head, group=group, width=_WIDTH)
        return CellBlock(self._sheet, (FIRST, first), (self._months + 1, len(heads)))

    def _put(self, kind: int, month: int, cohort: int, formula: Formula, style: str = "cell") -> None:
        self._cohorts[kind].put(month, cohort, formula, style, self._book.money if kind else "people")

    def _fill_ages(self) -> None:
        """Write the rows below the months: what happens at each age, for some of it in each stretch of months."""
        words, starts = self._book.words["plan_sheet"], self._life.starts
        rates = [*(["leave"] if self._life.at_end.monthly is None else []), "more", "less"]
        names = [("age", 0), *((name, k) for k in range(len(starts)) for name in rates)]
        names += [("renews", 0), ("owed", 0)] if self._yearly else []
        top, column = FIRST + self._months + 2, self._cohorts[0].first[1]
        self._ages = CellBlock(self._sheet, (top + 1, column), (len(names), self._oldest))
        self._age_rows = {name: row for row, name in enumerate(names)}
        for (name, stretch), row in self._age_rows.items():
            self._sheet.put(top + 1 + row, column - 1, "", "paper")
            since = ""
            if name in rates and len(starts) > 1:
                since = said(self._book.messages["whose"]["since"], month=str(starts[stretch]))
            self._sheet.put(top + 1 + row, 0, ", ".join(text for text in (words[name], since) if text), "soft")
            for age in range(self._oldest, 0, -1):
                formula = self._of_age(name, age, self._life.stretches[stretch])
                self._ages.put(row, self._oldest - age, formula, "soft", "churn" if name in rates else "count")
        self._sheet.put(top, 0, words["by_age"], "section")

    def _of_age(self, name: str, age: int, rates: RatesByAge) -> Formula | float:
        renewal = age % YEAR == 0
        if name == "age":
            return age
        if name == "renews":
            return float(renewal)
        if name == "owed":
            return YEAR - 1 - age % YEAR
        if self._yearly and not renewal:
            return 0.0
        return rates.leave[age] if name == "leave" else getattr(rates, name)[age - 1]

    def _leave_by_month(self, table: FormulaTable) -> CellBlock:
        """For each month a row of what leaves at each age, oldest first: the factor of the month is in each of the
        twelve months before a renewal, so a single row times the factor would not do."""
        ages = range(self._oldest, 0, -1)
        block = self._block(table, self._book.words["plan_sheet"]["leave"], [str(age) for age in ages])
        for month in range(1, self._months + 1):
            monthly = present(self._life.rates(month).monthly)
            for position, age in enumerate(ages):
                if age % YEAR or age >= OLDEST + 1 + month:  # nobody is that old yet
                    continue
                year = range(age - YEAR + 1, age + 1)
                stay = reduce(mul, (1 - self._changes.scaled(monthly[one], month) for one in year))
                block.put(month, position, 1 - stay, "soft", "churn")
        return block

    def _leave(self, age: int, month: int) -> Formula:
        """What leaves at an age in a month, before what a price change provokes."""
        if self._scaled is not None:
            return self._scaled.cell(month, self._oldest - age)
        return self._changes.scaled(self._age_cell("leave", age, month), month)

    def _leave_row(self, month: int) -> Formula:
        """The same at the ages that the cohorts on board before `month` reach in it, oldest first."""
        if self._scaled is not None:
            return self._scaled.part(month, self._months - month, self._oldest - 1)
        leave, factor = self._age_row("leave", month), self._changes.churn_factor(month)
        if factor is None:
            return leave
        return (leave * factor < 1) * (leave * factor) + (leave * factor >= 1)  # at most 1

    def _age_cell(self, name: str, age: int, month: int) -> Formula:
        return self._ages.cell(self._age_rows[name, self._life.stretch(month)], self._oldest - age)

    def _age_row(self, name: str, month: int) -> Formula:
        """What happens at the ages that the cohorts on board before `month` reach in it, oldest first."""
        row = self._age_rows[name, 0 if name in ("renews", "owed") else self._life.stretch(month)]
        return self._ages.part(row, self._months - month, self._oldest - 1)

    def _aged(self, kind: int, month: int, cohort: int) -> Formula:
        """A cohort a month later: who stays, and what they pay then."""
        before, age = self._cohorts[kind].cell(month - 1, cohort), OLDEST + month - cohort
        if self._yearly and age % YEAR:
            return before
        after = before * (1 - self._leave(age, month))
        provoked, rate = self._changes.provoked(self._number, month), self._changes.rate(self._number, month)
        after = after if provoked is None else after * (1 - provoked)
        if kind:
            after = after * (1 + self._age_cell("more", age, month) - self._age_cell("less", age, month))
            after = after if rate is None else after * (1 + rate)
        return after

    def _moves(self, month: int) -> dict[str, Formula]:
        """Who leaves in the month and what they paid; what those who stay pay more and less."""
        customers, mrr = (block.part(month - 1, 0, OLDEST + month - 1) for block in self._cohorts)
        leave, (more, less) = self._leave_row(month), (self._age_row(name, month) for name in ("more", "less"))
        lost, churned = dot(customers, leave), dot(mrr, leave)
        stay = 1 - leave
        gained, given_up = dot(mrr, stay, more), dot(mrr, stay, less)
        provoked, rate = self._changes.provoked(self._number, month), self._changes.rate(self._number, month)
        if provoked is not None and rate is not None:
            renews = (self._age_row("renews", month),) if self._yearly else ()
            lost = lost + provoked * dot(customers, stay, *renews)
            churned = churned + provoked * dot(mrr, stay, *renews)
            meets = dot(mrr, stay, 1 + more - less, *renews) * (1 - provoked)
            gained = gained * (1 - provoked) + meets * maximum(rate, 0)
            given_up = given_up * (1 - provoked) - meets * minimum(rate, 0)
        names = ("lost_customers", "churned_mrr", "expansion_mrr", "contraction_mrr")
        return dict(zip(names, (lost, churned, gained, given_up), strict=True))

    def _billed(self, month: int) -> dict[str, Formula]:
        """What is charged in the month, at ages 0, 12, 24, ... alone, and what is still owed as service."""
        customers, mrr = (block.part(month, 0, OLDEST + month - 1) for block in self._cohorts)
        new, new_mrr = (block.cell(month, OLDEST + month) for block in self._cohorts)
        renews, owed = self._age_row("renews", month), self._age_row("owed", month)
        return {
            "payments": dot(customers, renews) + new,
            "cash_in": YEAR * (dot(mrr, renews) + new_mrr),
            "deferred_revenue": dot(mrr, owed) + (YEAR - 1) * new_mrr,
        }
