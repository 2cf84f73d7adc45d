"""Numbers that change from a month on: a column of each, month by month, on the sheet of changes."""

from __future__ import annotations

from growth.scenario import Scenario
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula, maximum, minimum
from growth.spreadsheet.formula_table import FormulaTable
from growth.spreadsheet.inputs import changed_fields, label_of


def put_over_time(book: WorkbookContext, table: FormulaTable) -> None:
    """Add the columns to the sheet of changes, and to `book.over_time`."""
    for place, (field, _) in book.inputs.changed.items():
        table.skip()
        unit = field.assumption.unit
        kind = "churn" if unit == "share" else "cents" if unit.startswith("money") else "number"
        column = table.column(label_of(field, book.locale)[0], kind, width=20)
        column.put(0, book.given(place), "opening")
        for month in range(1, book.scenario.months + 1):
            column.put(month, changed(book, place, month, column[month - 1]))
        book.over_time[place] = column


def changed(book: WorkbookContext, place: str, month: int, value: Formula) -> Formula:
    """A number with the change made to it that begins in `month`, if there is one; shares stay within their range."""
    if place not in book.inputs.changed or month not in book.inputs.changed[place][1]:
        return value
    field, positions = book.inputs.changed[place]
    position, entry = positions[month], field.assumption
    if book.scenario.changes[position].becomes is not None:
        return book.given(f"changes.{position}.becomes")
    value = value * book.given(f"changes.{position}.times")
    return maximum(entry.low, minimum(entry.high, value)) if entry.unit == "share" else value


def rate_months(scenario: Scenario) -> list[int]:
    """Month 1, and the months from which churn, renewal or growth by age goes by other numbers.

    >>> plans = [{"name": "Studio", "monthly_price": 29}]
    >>> rate_months(Scenario(business="Fernhollow", pay={"plans": plans}, changes=[
    ...     {"from_month": 7, "field": "stay.churn.monthly_churn_rate", "times": 0.5},
    ...     {"from_month": 10, "field": "bill.monthly_fixed_costs", "becomes": 500}]))
    [1, 7]
    """
    months = {1}
    for place, (_, positions) in changed_fields(scenario).items():
        if place.startswith(("stay.churn.", "grow.")) or ".churn." in place or place.endswith(".renewal_rate"):
            months |= positions.keys()
    return sorted(months)
