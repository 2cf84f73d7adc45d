"""Changes by month: numbers that change from a month on, churn factors and price changes."""

from __future__ import annotations

from growth.scenario import Assumption, Scenario
from growth.scenario.pay import Plan
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula, as_formula, both, choose, maximum, minimum
from growth.spreadsheet.inputs import changed_fields, is_rate_by_age, label_of, live_changes
from growth.spreadsheet.worksheet import FormulaColumn, FormulaTable

YEAR = 12


class ChangesSheet:
    """The sheet of changes; it exists only if the scenario has some."""

    def __init__(self, book: WorkbookContext):
        self._book = book
        self._factor: FormulaColumn | None = None
        self._price: dict[int, FormulaColumn] = {}
        self._still_join: dict[int, FormulaColumn] = {}
        self._rate: dict[int, FormulaColumn] = {}
        self._provoked: dict[int, FormulaColumn] = {}
        if not needed(book.scenario):
            return
        words = book.words["changes"]
        table, self._month, _ = book.month_table("changes", title=words["title"], lines=words["lines"])
        put_over_time(book, table, self._month)
        self._churn(table)
        for number, plan in enumerate(book.scenario.pay.plans):
            reaching = [
                index
                for index, change in enumerate(book.scenario.grow.price_changes)
                if change.plan in (None, plan.name)
            ]
            if reaching:
                self._plan(table, number, plan, reaching)
        table.finish()

    def churn_factor(self, month: int) -> Formula | None:
        """The factor on churn in a month; None if nothing changes it."""
        return None if self._factor is None else self._factor.same_row(month)

    def scaled(self, churn: Formula, month: int) -> Formula:
        """Churn with the factor of a month; never more than 1."""
        factor = self.churn_factor(month)
        return churn if factor is None else minimum(1, churn * factor)

    def price(self, plan: int, month: int) -> Formula:
        """What a new customer pays in a month."""
        if plan in self._price:
            return self._price[plan].same_row(month)
        return self._book.in_month(month).price(plan)

    def joining_share(self, plan: int, month: int) -> Formula:
        """The share of new customers who join a plan in a month, less those lost to its price changes."""
        share = self._book.given(f"pay.plans.{plan}.share")
        return share * self._still_join[plan].same_row(month) if plan in self._still_join else share

    def rate(self, plan: int, month: int) -> Formula | None:
        """The price change that reaches existing customers in a month; None if there is none."""
        return self._rate[plan].same_row(month) if plan in self._rate else None

    def provoked(self, plan: int, month: int) -> Formula | None:
        """The share of these customers who leave because of it."""
        return self._provoked[plan].same_row(month) if plan in self._provoked else None

    def _months(self) -> range:
        return range(1, self._book.scenario.months + 1)

    def _churn(self, table: FormulaTable) -> None:
        changes = self._book.scenario.stay.churn_changes
        if not changes:
            return
        self._factor = table.column(self._book.words["changes"]["factor"], "number", width=14)
        for when in self._months():
            whole = as_formula(1)
            for index in range(len(changes)):
                place = f"stay.churn_changes.{index}"
                begun = self._month.same_row(when) >= self._book.given(f"{place}.from_month")
                factor = choose(begun, self._book.given(f"{place}.factor"), 1)
                whole = whole * factor if index else factor
            self._factor.put(when, whole)

    def _plan(self, table: FormulaTable, number: int, plan: Plan, reaching: list[int]) -> None:
        words = self._book.words["changes"]
        table.skip()
        self._price[number] = table.column(words["price"], "cents", group=plan.name, width=14)
        self._still_join[number] = table.column(words["still_join"], "share", group=plan.name, width=14)
        for when in self._months():
            price, joining = self._book.in_month(when).price(number), as_formula(1)
            for index in reaching:
                place = f"grow.price_changes.{index}"
                begun = self._month.same_row(when) >= self._book.given(f"{place}.month")
                price = price * choose(begun, 1 + self._book.given(f"{place}.change_rate"), 1)
                joining = joining * choose(begun, 1 - self._book.given(f"{place}.lost_new_rate"), 1)
            self._price[number].put(when, price)
            self._still_join[number].put(when, joining)
        on_board = [i for i in reaching if self._book.scenario.grow.price_changes[i].applies_to == "all"]
        wait = YEAR if plan.billing == "yearly" else 1
        for position, index in enumerate(on_board):
            last = position == len(on_board) - 1
            rate = table.column(words["rate" if last else "rate_so_far"], "share", group=plan.name, width=14)
            provoked = table.column(
                words["provoked" if last else "provoked_so_far"], "share", group=plan.name, width=14
            )
            for when in self._months():
                self._compound(rate, provoked, number, index, wait, when)
            self._rate[number], self._provoked[number] = rate, provoked

    def _compound(
        self, rate: FormulaColumn, provoked: FormulaColumn, plan: int, index: int, wait: int, when: int
    ) -> None:
        """Add one change: where several reach the same customers, 1 + rate and 1 - provoked churn multiply."""
        place, month = f"grow.price_changes.{index}", self._month.same_row(when)
        change = self._book.given(f"{place}.month")
        meets = month.equals(change) if wait == 1 else both(month >= change, month < change + wait)
        more = choose(meets, self._book.given(f"{place}.change_rate"), 0)
        leave = choose(meets, self._book.given(f"{place}.provoked_churn_rate"), 0)
        if plan in self._rate:
            before, before_leave = self._rate[plan].same_row(when), self._provoked[plan].same_row(when)
            more, leave = before + (1 + before) * more, before_leave + (1 - before_leave) * leave
        rate.put(when, as_formula(more))
        provoked.put(when, as_formula(leave))


def needed(scenario: Scenario) -> bool:
    """Whether a scenario has changes from a month on."""
    return bool(scenario.changes or scenario.stay.churn_changes or scenario.grow.price_changes)


def put_over_time(book: WorkbookContext, table: FormulaTable, months: FormulaColumn) -> None:
    """Add the columns to the sheet of changes, and to `book.over_time`. months: the column of month numbers."""
    for place, (field, _) in book.inputs.changed.items():
        table.skip()
        unit = field.assumption.unit
        kind = "churn" if unit == "share" else "cents" if unit.startswith("money") else "number"
        column = table.column(label_of(field, book.locale)[0], kind, width=20)
        column.put(0, book.given(place), "opening")
        for month in range(1, book.scenario.months + 1):
            column.put(month, changed(book, place, months.same_row(month), month, column[month - 1]))
        book.over_time[place] = column


def changed(book: WorkbookContext, place: str, row: Formula, month: int, value: Formula) -> Formula:
    """Apply the changes of a number that begin in `month`, the number in the cell `row`: those whose month is a cell as
    that says, of which the first counts."""
    if place not in book.inputs.changed:
        return value
    field, positions = book.inputs.changed[place]
    result = value
    for begins, position in reversed(positions.items()):
        if position in book.inputs.live:
            meets = row.equals(book.given(f"changes.{position}.from_month"))
            result = choose(meets, _becomes(book, position, field.assumption, value), result)
        elif begins == month:
            result = _becomes(book, position, field.assumption, value)
    return result


def _becomes(book: WorkbookContext, position: int, entry: Assumption, value: Formula) -> Formula:
    """What a change makes of a number; shares stay within their range."""
    if book.scenario.changes[position].becomes is not None:
        return book.given(f"changes.{position}.becomes")
    value = value * book.given(f"changes.{position}.times")
    return maximum(entry.low, minimum(entry.high, value)) if entry.unit == "share" else value


def rate_months(scenario: Scenario) -> list[int]:
    """Month 1, and the months from which rates by age go by other numbers, where a plan's cohorts are told apart.

    >>> plans = [{"name": "Studio", "monthly_price": 29, "billing": "yearly"}]
    >>> rate_months(Scenario(business="Fernhollow", pay={"plans": plans}, changes=[
    ...     {"from_month": 7, "field": "stay.churn.monthly_churn_rate", "times": 0.5},
    ...     {"from_month": 10, "field": "bill.monthly_fixed_costs", "becomes": 500}]))
    [1, 7]
    """
    live = live_changes(scenario)
    fixed = (
        month
        for place, (_, positions) in changed_fields(scenario).items()
        for month, position in positions.items()
        if is_rate_by_age(place) and position not in live
    )
    return sorted({1, *fixed})
