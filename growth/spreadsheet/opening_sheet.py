"""OpeningSheet: the customers of month 0 and what they pay, by plan, and how long they have been on board."""

from __future__ import annotations

from growth.spreadsheet.changes_sheet import YEAR
from growth.spreadsheet.context import PRINTED_AGES, WorkbookContext
from growth.spreadsheet.formula import Formula, as_formula, choose, dot, maximum, total
from growth.spreadsheet.inputs import by_age
from growth.spreadsheet.worksheet import FormulaColumn, FormulaTable

OLDEST = 120  # months that an opening customer can have been on board


class OpeningSheet:
    """The opening position.

    customers, mrr: of each plan. broken: by rule, whether the groups by age break it.
    """

    def __init__(self, book: WorkbookContext):
        words, plans = book.words["today"], book.scenario.pay.plans
        sheet = book.sheets["today"]
        ages = OLDEST if any(by_age(book.scenario, number) for number in range(len(plans))) else 0
        table = FormulaTable(sheet, title=words["title"], lines=words["lines"], last=max(len(plans), ages) + 1)
        name = table.column(words["plan"], width=24, left=True)
        customers = table.column(words["customers"], "people", width=14)
        at_price = table.column(words["at_price"], book.money, width=16)
        mrr = table.column(words["mrr"], book.money, width=14)
        last = len(plans) - 1
        for number, plan in enumerate(plans):
            name.put(number, plan.name)
            share = "share" if plan.opening_share is None else "opening_share"
            customers.put(number, book.given("opening.customers") * book.given(f"pay.plans.{number}.{share}"))
            paid = book.used(plan, f"pay.plans.{number}", "opening_price")
            at_price.put(number, customers[number] * (book.price(number) if paid is None else paid))
        for number in range(len(plans)):
            value, people = total(at_price.span(0, last)), total(customers.span(0, last))
            by_people = choose(people > 0, customers[number] / people, 0)
            part = choose(value > 0, at_price[number] / value, by_people)
            mrr.put(number, book.given("opening.mrr") * part)
        self.customers = [customers[number] for number in range(len(plans))]
        self.mrr = [mrr[number] for number in range(len(plans))]
        self.broken: dict[str, Formula] = {}
        self._age_shares = self._ages(book, table) if ages else {}
        table.finish(rows=PRINTED_AGES)

    def age_shares(self, number: int) -> FormulaColumn:
        """The share of a plan's opening customers at each age 0..120, where its customers are told apart by age."""
        return self._age_shares[number]

    def _ages(self, book: WorkbookContext, table: FormulaTable) -> dict[int, FormulaColumn]:
        words, opening, plans = book.words["today"], book.scenario.opening, book.scenario.pay.plans
        groups: tuple[Formula, Formula] | None = None
        if opening.ages:
            table.skip()
            counted = [
                table.column(words["group_age"], "count", group=words["groups"]),
                table.column(words["group_customers"], "people", group=words["groups"]),
            ]
            for index in range(len(opening.ages)):
                for column, field in zip(counted, ("age_months", "customers"), strict=True):
                    column.put(index, book.given(f"opening.ages.{index}.{field}"))
            groups = (counted[0].span(0, len(opening.ages) - 1), counted[1].span(0, len(opening.ages) - 1))
            same = table.column(words["group_same"], "count", group=words["groups"])
            for index in range(len(opening.ages)):
                same.put(index, dot(groups[0].equals(counted[0][index]) * 1))
            self.broken["ages_once"] = maximum(same.span(0, len(opening.ages) - 1)) > 1
            self.broken["ages_some"] = total(groups[1]) <= 0
        table.skip()
        age = table.column(words["age"], "count", group=words["spread"])
        stated = groups is not None or opening.mean_age_months is not None
        if not stated:  # then the customers of yearly plans are spread over their year, all others are new
            for months in range(OLDEST + 1):
                age.put(months, months)
            by_billing: dict[str, FormulaColumn] = {}
            for billing in dict.fromkeys(plan.billing for plan in plans):
                column = table.column(words[f"share_{billing}"], "churn", group=words["spread"])
                for months in range(OLDEST + 1):
                    even = 1 / as_formula(YEAR) if months < YEAR else 0
                    column.put(months, even if billing == "yearly" else float(months == 0))
                by_billing[billing] = column
            return {number: by_billing[plan.billing] for number, plan in enumerate(plans)}
        share = table.column(words["share"], "churn", group=words["spread"])
        for months in range(OLDEST + 1):
            age.put(months, months)
            if groups is None:
                mean = book.given("opening.mean_age_months")
                share.put(months, choose(age[months] <= 2 * mean, 1 / (2 * mean + 1), 0))
            else:
                of_age = groups[0].equals(age[months])
                share.put(months, dot(of_age * groups[1]) / total(groups[1]))
        return dict.fromkeys(range(len(plans)), share)
