"""Months: every series of the forecast, with the bridges that have to balance."""

from __future__ import annotations

from collections.abc import Callable

from growth.calculator.number_words import month_labels
from growth.engine import SERIES
from growth.measures.measure import ROUNDING, SAME
from growth.spreadsheet.arrivals_sheet import ArrivalsSheet
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import (
    Formula,
    absolute,
    added,
    as_formula,
    both,
    choose,
    dot,
    maximum,
    minimum,
    missing,
    position_of,
    rounded,
)
from growth.spreadsheet.lifetime_formulas import Level
from growth.spreadsheet.plan_sheet import PlanSheet
from growth.spreadsheet.styles import label_every
from growth.spreadsheet.worksheet import DASH, FormulaColumn, Worksheet

GROUPS = {  # the series of each group of columns; "check" stands for the bridge before it
    "customers": "opening_customers new_customers returned_customers lost_customers closing_customers check_customers",
    "mrr": "opening_mrr new_mrr reactivation_mrr expansion_mrr contraction_mrr churned_mrr closing_mrr check_mrr "
    "arr arpa",
    "rates": "monthly_customer_churn_rate monthly_gross_revenue_churn_rate",
    "arrive": "visitors sign_ups referred_sign_ups",
    "cash": "revenue cash_in payments payment_fees cost_to_serve fixed_costs acquisition_spend net_cash cash "
    "deferred_revenue",
    "chart": "aboard reached last_reached last_missed enough last_enough last_short last_short_earned lowest "
    "chart_label goal_line ceiling_line",
}
_OF_PLANS = (
    "new_customers returned_customers lost_customers closing_customers new_mrr reactivation_mrr expansion_mrr "
    "contraction_mrr churned_mrr closing_mrr cash_in payments deferred_revenue"
).split()
_OF_GOAL = ("reached", "last_reached", "last_missed", "goal_line")
_OF_LEFT = ("enough", "last_enough", "last_short", "last_short_earned")
_PEOPLE = ("customers", "visitors", "sign_ups", "payments")
_RATIOS = ("monthly_customer_churn_rate", "monthly_gross_revenue_churn_rate")


class MonthsSheet:
    """The sheet of months: `columns` holds its series by name, `number` and `label` the months."""

    def __init__(self, book: WorkbookContext, *, plans: list[PlanSheet], arrivals: ArrivalsSheet):
        words = book.words["months"]
        self._book, self._plans, self._arrivals = book, plans, arrivals
        self._table, self.number, self.label = book.month_table("months", title=words["title"], lines=words["lines"])
        self.columns: dict[str, FormulaColumn] = {}
        for group, names in GROUPS.items():
            if group == "chart":  # on paper the columns that only feed the chart are left out
                self._table.print_no_further()
            if group != "customers":
                self._table.skip()
            for name in names.split():
                if not (name in _OF_GOAL and self._goal is None) and not (name in _OF_LEFT and self._goal_left is None):
                    head = book.words["series"][name]
                    self.columns[name] = self._table.column(head, self._kind(name), group=words["groups"][group])
        for name in ("closing_customers", "closing_mrr"):
            self._put(name, 0, added([plan.columns[name][0] for plan in plans]))
        self._put("cash", 0, book.given("bill.opening_cash"))
        self._put("aboard", 0, 0)
        self._reached(0)
        self._enough(0)

    @property
    def sheet(self) -> Worksheet:
        """The worksheet of the months."""
        return self._table.sheet

    def month(self, month: int) -> None:
        """Write a month's row, after the arrivals and plans have theirs."""
        book, at = self._book.in_month(month), self._at(month)
        self._put("opening_customers", month, self.columns["closing_customers"][month - 1])
        self._put("opening_mrr", month, self.columns["closing_mrr"][month - 1])
        for name in _OF_PLANS:
            self._put(name, month, added([plan.columns[name][month] for plan in self._plans]))
        came = {"referred_sign_ups": "referred", "acquisition_spend": "spend"}
        for name in ("visitors", "sign_ups", *came):
            self._put(name, month, self._arrivals.columns[came.get(name, name)][month])
        self._read_off(month, at)
        fees = book.given("bill.payment_fee_rate") * at("cash_in") + book.given("bill.fee_per_payment") * at("payments")
        self._put("payment_fees", month, fees)
        self._put("cost_to_serve", month, book.given("bill.monthly_cost_to_serve") * at("closing_customers"))
        self._put("fixed_costs", month, book.given("bill.monthly_fixed_costs"))
        spent = at("payment_fees") + at("cost_to_serve") + at("fixed_costs") + at("acquisition_spend")
        self._put("net_cash", month, at("cash_in") - spent)
        self._put("cash", month, self.columns["cash"][month - 1] + at("net_cash"))
        aboard = choose(at("opening_customers") > 0, 1, 0)
        self._put("aboard", month, self.columns["aboard"][month - 1] + aboard)
        self._reached(month)
        self._enough(month)

    def _read_off(self, month: int, at: Callable[[str], Formula]) -> None:
        """Ratios, and the checks of both bridges."""
        self._put("arr", month, 12 * at("closing_mrr"))
        self._put("revenue", month, at("closing_mrr"))
        self._put("arpa", month, ratio(at("closing_mrr"), at("closing_customers")))
        self._put("monthly_customer_churn_rate", month, ratio(at("lost_customers"), at("opening_customers")))
        given_up = ratio(at("churned_mrr") + at("contraction_mrr"), at("opening_mrr"))
        self._put("monthly_gross_revenue_churn_rate", month, given_up)
        people = at("opening_customers") + at("new_customers") + at("returned_customers") - at("lost_customers")
        money = at("opening_mrr") + at("new_mrr") + at("reactivation_mrr") + at("expansion_mrr")
        money = money - at("contraction_mrr") - at("churned_mrr")
        for name, bridge, closing in (
            ("check_customers", people, at("closing_customers")),
            ("check_mrr", money, at("closing_mrr")),
        ):
            self._put(name, month, rounded((bridge - closing) / maximum(1, closing), 9))

    def finish(self, level: Level) -> None:
        """The lines of the chart: a cell that is not available draws nothing, nor does a ceiling far above."""
        goal, last = self._goal, self._book.scenario.months
        highest = [self.columns["closing_mrr"].span(0, last), *([] if goal is None else [goal])]
        labels, every = month_labels(self._book.scenario.first_month, last, self._book.locale), label_every(last)
        near = both(level.reason.equals(0), level.mrr <= 1.5 * maximum(*highest))
        cash, opening = self.columns["cash"], self._book.given("bill.opening_cash")
        place = position_of(minimum(cash.span(0, last)), cash.span(0, last))  # counted from 1, for month 0
        before = (self.number.span(1, last) < place) * 1
        slack = ROUNDING * (absolute(opening) + dot(self.columns["cash_in"].span(1, last), before))
        for month in range(last + 1):
            least = cash[month] <= minimum(cash.span(0, last)) + slack
            self._put("lowest", month, choose(least, 1, 0))
            self.columns["chart_label"].put(month, labels[month] if month % every == 0 else "", "soft")
            if goal is not None:
                self._put("goal_line", month, goal)
            self._put("ceiling_line", month, choose(near, level.mrr, missing()))
        self._table.finish()

    @property
    def _goal(self) -> Formula | None:
        return self._book.used(self._book.scenario, "", "goal_mrr")

    def _reached(self, month: int) -> None:
        goal = self._goal
        if goal is not None:
            self._put("reached", month, choose(self.columns["closing_mrr"][month] >= goal * (1 - SAME), 1, 0))
            there = self.columns["reached"][month].equals(1)
            before = [self.columns[name][month - 1] if month else -1 for name in ("last_reached", "last_missed")]
            self._put("last_reached", month, choose(there, month, before[0]))
            self._put("last_missed", month, choose(there, before[1], month))

    @property
    def _goal_left(self) -> Formula | None:
        return self._book.used(self._book.scenario, "", "goal_left")

    def _enough(self, month: int) -> None:
        """Whether enough is left; the last months so far in which it was, and was not (by income as earned, too)."""
        goal, names = self._goal_left, _OF_LEFT[1:]
        if goal is None:
            return
        if not month:
            for name in names:
                self._put(name, 0, 0)
            return
        at, before = self._at(month), [self.columns[name][month - 1] for name in names]
        wanted = goal - SAME * maximum(goal, at("cash_in"))
        self._put("enough", month, choose(at("net_cash") >= wanted, 1, 0))
        there = at("enough").equals(1)
        self._put("last_enough", month, choose(there, month, before[0]))
        self._put("last_short", month, choose(there, before[1], month))
        earned = at("net_cash") - at("cash_in") + at("revenue")
        self._put("last_short_earned", month, choose(earned >= wanted, before[2], month))

    def _at(self, month: int) -> Callable[[str], Formula]:
        return lambda name: self.columns[name][month]

    def _put(self, name: str, month: int, formula: Formula | float) -> None:
        """Write a cell of the month. A series is stored with the engine's value."""
        if name in SERIES and month:
            value = float(getattr(self._book.forecast, name)[month - 1])
            formula = Formula(as_formula(formula).text, DASH if value != value else value)
        self.columns[name].put(month, formula, self._style(name, month))

    @staticmethod
    def _style(name: str, month: int) -> str:
        if not month:
            return "opening"
        if name not in SERIES:
            return "soft"
        return "strong" if name in ("closing_customers", "closing_mrr", "cash") else "cell"

    def _kind(self, name: str) -> str:
        special = dict.fromkeys(_RATIOS, "churn") | dict.fromkeys(("aboard", "reached", "enough"), "count")
        special |= {"arpa": "cents", "check_customers": "check", "check_mrr": "check"}
        return special.get(name) or ("people" if name.endswith(_PEOPLE) else self._book.money)


def ratio(part: Formula, whole: Formula) -> Formula:
    """part / whole, a dash where whole is 0."""
    return choose(whole.equals(0), DASH, part / whole)
