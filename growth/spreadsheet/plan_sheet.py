"""A plan month by month: its customers and its MRR, pooled, or cohort by cohort where something depends on age."""

from __future__ import annotations

from growth.spreadsheet.changes_sheet import ChangesSheet
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula, choose, maximum, minimum, pick
from growth.spreadsheet.inputs import by_age
from growth.spreadsheet.opening_sheet import OpeningSheet
from growth.spreadsheet.plan_cohorts import PlanCohorts
from growth.spreadsheet.stay_sheet import PlanByAge
from growth.spreadsheet.worksheet import FormulaColumn, present

_PEOPLE = ("opening_customers", "new_customers", "returned_customers", "lost_customers", "closing_customers")
_MONEY = (
    "opening_mrr new_mrr reactivation_mrr expansion_mrr contraction_mrr churned_mrr closing_mrr cash_in "
    "deferred_revenue"
).split()


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
        for name in _PEOPLE:
            self.columns[name] = table.column(book.words["series"][name], "people", group=words["customers"])
        for name in _MONEY[:7]:
            self.columns[name] = table.column(book.words["series"][name], book.money, group=words["mrr"])
        for name in ("payments", *_MONEY[7:]):
            kind = "people" if name == "payments" else book.money
            self.columns[name] = table.column(book.words["series"][name], kind, group=words["bill"])
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
        now, factor = self._book.in_month(month), changes.churn_factor(month)
        churn = now.given(f"{'stay' if self._plan.churn is None else f'pay.plans.{number}'}.churn.monthly_churn_rate")
        churn = churn if factor is None else minimum(1, churn * factor)
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
