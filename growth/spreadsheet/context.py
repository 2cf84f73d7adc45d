"""What the sheets of one workbook share: the scenario, its forecast, its input cells, its styles, and each other."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel

from growth.calculator.language import messages
from growth.calculator.number_words import month_labels
from growth.engine import Forecast
from growth.giveaway.brief import Giveaway
from growth.scenario import Scenario
from growth.spreadsheet.formula import Formula
from growth.spreadsheet.inputs import Inputs
from growth.spreadsheet.styles import Styles
from growth.spreadsheet.texts import workbook_words
from growth.spreadsheet.worksheet import LABEL_WIDTH, FormulaColumn, FormulaTable, Worksheet

if TYPE_CHECKING:
    import xlsxwriter

PRINTED_AGES = 60  # of the sheets with a row for each month of age


@dataclass(frozen=True, slots=True, eq=False)
class WorkbookContext:
    """One workbook in the making: xlsxwriter's, and what its sheets share.

    words_of_page: the giveaway's question, cautions and look.
    sheets: by key, such as "months" or "plan 0".
    money: the kind of number that amounts are shown as.
    over_time: by place, the column of a number that changes over time.
    month: the month whose numbers `given`, `used` and `price` name; None for those that hold at first.
    """

    workbook: xlsxwriter.Workbook
    words_of_page: Giveaway
    scenario: Scenario
    forecast: Forecast
    inputs: Inputs
    styles: Styles
    money: str
    locale: str
    sheets: dict[str, Worksheet] = field(default_factory=dict)
    over_time: dict[str, FormulaColumn] = field(default_factory=dict)
    month: int | None = None

    def in_month(self, month: int) -> WorkbookContext:
        """The same workbook, referring to the numbers in force in a month, 1..T."""
        return replace(self, month=month) if self.over_time else self

    @property
    def messages(self) -> dict[str, Any]:
        """The words that page and workbook share."""
        return messages(self.locale)

    @property
    def words(self) -> dict[str, Any]:
        """The workbook's own words, in its language."""
        return workbook_words(self.locale)

    def month_table(
        self, key: str, *, title: str, lines: list[str]
    ) -> tuple[FormulaTable, FormulaColumn, FormulaColumn]:
        """Start a sheet with a row for each month from 0. Returns it, its month numbers and its calendar months."""
        months = self.scenario.months
        table = FormulaTable(self.sheets[key], title=title, lines=lines, last=months, labels=2)
        number = table.column(self.words["month"], "count", width=7)
        label = table.column("", width=LABEL_WIDTH, left=True)
        for month, text in enumerate(month_labels(self.scenario.first_month, months, self.locale)):
            number.put(month, month, "center")
            label.put(month, text, "soft")
        return table, number, label

    def given(self, place: str) -> Formula:
        """A number of the scenario: its input cell, or the month's cell if it changes over time."""
        if self.month is not None and place in self.over_time:
            return self.over_time[place][self.month]
        return self.inputs[place]

    def price(self, number: int) -> Formula:
        """What a new customer of a plan pays a month, before any price change."""
        place = f"pay.plans.{number}"
        yearly = self.used(self.scenario.pay.plans[number], place, "yearly_price")
        return self.given(f"{place}.monthly_price") if yearly is None else yearly / 12

    def season(self, place: str) -> Formula:
        """The twelve factors of a channel's season."""
        return self.inputs.span(f"{place}.season")

    def cells(self, place: str, count: int) -> list[Formula]:
        """The input cells of a list of numbers."""
        return [self.inputs[f"{place}.{index}"] for index in range(count)]

    def used(self, section: BaseModel, place: str, name: str) -> Formula | None:
        """An optional number, as `given` returns it; None if it is left out."""
        return None if getattr(section, name) is None else self.given(f"{place}.{name}".lstrip("."))
