"""The cohorts of a plan: one column for each month in which customers joined, one row for each month."""

from __future__ import annotations

from functools import reduce
from operator import mul

import numpy as np

from growth.calculator.language import said
from growth.calculator.words import month_labels
from growth.spreadsheet.changes_sheet import YEAR, ChangesSheet
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula, dot, maximum, minimum, total
from growth.spreadsheet.opening_sheet import OLDEST, OpeningSheet
from growth.spreadsheet.stay_sheet import PlanByAge, RatesByAge
from growth.spreadsheet.worksheet import FIRST, FormulaTable, present

_WIDTH = 8.5


class PlanCohorts:
    """Two triangles, customers and MRR, oldest cohort first, and below the months what happens at each age.

    The ages stand from the oldest to 1, so that the cohorts on board before any month, oldest first, meet their ages in
    the last so many cells of each row.
    """

    def __init__(
        self, book: WorkbookContext, table: FormulaTable, number: int, opening: OpeningSheet, life: PlanByAge,
        changes: ChangesSheet,
    ):  # fmt: skip
        self._book, self._sheet, self._number, self._life = book, table.sheet, number, life
        self._changes, self._months = changes, book.scenario.months
        self._yearly = book.scenario.pay.plans[number].billing == "yearly"
        self._count = OLDEST + 1 + self._months
        self._starts: list[int] = []
        self._values = np.zeros((2, self._months + 1, self._count))
        for kind, name in enumerate(("cohort_customers", "cohort_mrr")):
            self._starts.append(self._block(table, book.words["plan_sheet"][name]))
            whole = (opening.customers, opening.mrr)[kind][number]
            for age in range(OLDEST + 1):
                self._put(kind, 0, OLDEST - age, whole * opening.age_shares(number)[age], "opening")
        self._ages = self._by_age()
        self._scaled = self._leave_by_month(table) if life.at_end.monthly is not None else None

    def month(self, month: int, joined: Formula, joined_mrr: Formula) -> dict[str, Formula]:
        """Take every cohort through one month and add the newcomers. Returns the plan's series of the month."""
        series = self._moves(month)
        for kind, newcomers in enumerate((joined, joined_mrr)):
            for cohort in range(OLDEST + month):
                self._put(kind, month, cohort, self._aged(kind, month, cohort))
            self._put(kind, month, OLDEST + month, newcomers)
        series |= {
            "closing_customers": total(self._row(0, month, OLDEST + month)),
            "closing_mrr": total(self._row(1, month, OLDEST + month)),
        }
        return series | (self._billed(month) if self._yearly else {})

    def hide_empty(self) -> None:
        """Hide the cohorts older than any today; they hold zeros until the inputs change."""
        aboard = np.flatnonzero(self._values[0, 0, :OLDEST])
        empty = int(aboard[0]) if aboard.size else OLDEST
        for start in self._starts:
            if empty:
                paper = self._sheet.styles("paper")
                self._sheet.worksheet.set_column(start, start + empty - 1, _WIDTH, paper, {"hidden": True})

    def _block(self, table: FormulaTable, title: str) -> int:
        table.skip()
        labels = month_labels(self._book.scenario.first_month, self._months, self._book.locale)
        for cohort in range(self._count):
            joined = cohort - OLDEST
            head = (
                labels[joined] if joined > 0 else self._book.words["plan_sheet"]["before"].replace("{n}", str(-joined))
            )
            column = table.column(head, group=title, width=_WIDTH)
        return column.index - self._count + 1

    def _put(self, kind: int, month: int, cohort: int, formula: Formula, style: str = "cell") -> None:
        self._values[kind, month, cohort] = formula.value
        shown = self._book.money if kind else "people"
        self._sheet.put(FIRST + month, self._starts[kind] + cohort, formula, style, shown)

    def _cell(self, kind: int, month: int, cohort: int) -> Formula:
        value = float(self._values[kind, month, cohort])
        return self._sheet.cell(FIRST + month, self._starts[kind] + cohort, value, fixed="row")

    def _row(self, kind: int, month: int, last: int) -> Formula:
        """The cohorts of a month up to one, oldest first."""
        row, start = FIRST + month, self._starts[kind]
        return self._sheet.cells((row, row), (start, start + last), self._values[kind, month, : last + 1], fixed="row")

    def _by_age(self) -> dict[tuple[str, int], tuple[int, np.ndarray]]:
        """The rows below the months: by name and stretch of months, the row and its values from the oldest age to 1."""
        words, start, oldest = self._book.words["plan_sheet"], self._starts[0], OLDEST + self._months
        rates = [*(["leave"] if self._life.at_end.monthly is None else []), "more", "less"]
        names = [("age", 0), *((name, k) for k in range(len(self._life.starts)) for name in rates)]
        names += [("renews", 0), ("owed", 0)] if self._yearly else []
        ages = range(oldest, 0, -1)
        rows: dict[tuple[str, int], tuple[int, np.ndarray]] = {}
        for offset, (name, stretch) in enumerate(names):
            row = FIRST + self._months + 3 + offset
            self._sheet.put(row, start - 1, "", "paper")
            since = ""
            if name in rates and len(self._life.starts) > 1:
                since = said(self._book.messages["whose"]["since"], month=str(self._life.starts[stretch]))
            self._sheet.put(row, 0, ", ".join(text for text in (words[name], since) if text), "soft")
            values = np.empty(oldest)
            for column, age in enumerate(ages):
                formula = self._of_age(name, age, self._life.stretches[stretch])
                kind = "churn" if name in ("leave", "more", "less") else "count"
                values[column] = self._sheet.put(row, start + column, formula, "soft", kind).value
            rows[name, stretch] = row, values
        self._sheet.put(FIRST + self._months + 2, 0, words["by_age"], "section")
        return rows

    def _leave_by_month(self, table: FormulaTable) -> tuple[int, np.ndarray]:
        """For each month a row of what leaves at each age, oldest first: the factor of the month is in each of the
        twelve months before a renewal, so a single row times the factor would not do. Returns the first column and the
        values."""
        table.skip()
        oldest = OLDEST + self._months
        columns = [
            table.column(str(age), group=self._book.words["plan_sheet"]["leave"], width=_WIDTH)
            for age in range(oldest, 0, -1)
        ]
        first, values = columns[0].index, np.zeros((self._months + 1, oldest))
        for month in range(1, self._months + 1):
            monthly = present(self._life.rates(month).monthly)
            factor = present(self._changes.churn_factor(month))
            for position, age in enumerate(range(oldest, 0, -1)):
                if age % YEAR or age >= OLDEST + 1 + month:  # nobody is that old yet
                    continue
                year = range(age - YEAR + 1, age + 1)
                stay = reduce(mul, (1 - minimum(1, monthly[one] * factor) for one in year))
                formula = 1 - stay
                values[month, position] = formula.value
                self._sheet.put(FIRST + month, first + position, formula, "soft", "churn")
        return first, values

    def _leave(self, age: int, month: int) -> Formula:
        """What leaves at an age in a month, before what a price change provokes."""
        if self._scaled is not None:
            first, values = self._scaled
            position = OLDEST + self._months - age
            return self._sheet.cell(FIRST + month, first + position, float(values[month, position]), fixed="row")
        churn, factor = self._age_cell("leave", age, month), self._changes.churn_factor(month)
        return churn if factor is None else minimum(1, churn * factor)

    def _leave_row(self, month: int) -> Formula:
        """The same at the ages that the cohorts on board before `month` reach in it, oldest first."""
        if self._scaled is not None:
            (first, values), row, skipped = self._scaled, FIRST + month, self._months - month
            last = first + OLDEST + self._months - 1
            return self._sheet.cells((row, row), (first + skipped, last), values[month, skipped:], fixed="row")
        leave, factor = self._age_row("leave", month), self._changes.churn_factor(month)
        if factor is None:
            return leave
        return (leave * factor < 1) * (leave * factor) + (leave * factor >= 1)  # at most 1

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

    def _age_cell(self, name: str, age: int, month: int) -> Formula:
        row, values = self._ages[name, self._life.stretch(month)]
        column = OLDEST + self._months - age
        return self._sheet.cell(row, self._starts[0] + column, float(values[column]), fixed="row")

    def _age_row(self, name: str, month: int) -> Formula:
        """What happens at the ages that the cohorts on board before `month` reach in it, oldest first."""
        row, values = self._ages[name, 0 if name in ("renews", "owed") else self._life.stretch(month)]
        skipped = self._months - month
        first, last = self._starts[0] + skipped, self._starts[0] + OLDEST + self._months - 1
        return self._sheet.cells((row, row), (first, last), values[skipped:], fixed="row")

    def _aged(self, kind: int, month: int, cohort: int) -> Formula:
        """A cohort a month later: who stays, and what they pay then."""
        before, age = self._cell(kind, month - 1, cohort), OLDEST + month - cohort
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
        last = OLDEST + month - 1
        customers, mrr = self._row(0, month - 1, last), self._row(1, month - 1, last)
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
        last = OLDEST + month - 1
        customers, mrr = self._row(0, month, last), self._row(1, month, last)
        new, new_mrr = (self._cell(kind, month, OLDEST + month) for kind in (0, 1))
        renews, owed = self._age_row("renews", month), self._age_row("owed", month)
        return {
            "payments": dot(customers, renews) + new,
            "cash_in": YEAR * (dot(mrr, renews) + new_mrr),
            "deferred_revenue": dot(mrr, owed) + (YEAR - 1) * new_mrr,
        }
