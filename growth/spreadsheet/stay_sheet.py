"""Stay: who leaves at each age, how those who stay grow, and what is left of a new customer of each plan by then."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass

from growth.calculator.language import said
from growth.engine.curves import LIFETIME
from growth.scenario import Scenario
from growth.scenario.pay import Plan
from growth.spreadsheet.changes_sheet import YEAR, ChangesSheet, rate_months
from growth.spreadsheet.churn_formulas import churn_column
from growth.spreadsheet.context import PRINTED_AGES, WorkbookContext
from growth.spreadsheet.formula import Formula, choose, minimum
from growth.spreadsheet.inputs import by_age
from growth.spreadsheet.opening_sheet import OLDEST
from growth.spreadsheet.worksheet import FormulaColumn, FormulaTable, present

SETTLED = 156  # where it has after 120 months at most: three whole years more
ALWAYS_SETTLED = 36  # where it is the same at every age
BEYOND = 1e200  # MRR of a lifetime that has left all bounds is cut here: programs have no infinity


@dataclass(frozen=True, slots=True, eq=False)
class RatesByAge:
    """Churn and growth of a plan at ages 1, 2, ... in a stretch of months.

    leave: churn, before the factor of a month. monthly: for a yearly plan without a renewal rate whose churn has such a
    factor, the churn its years are made of, and `leave` is then that of the last month; None elsewhere. more, less:
    growth of those who stay.
    """

    leave: FormulaColumn
    monthly: FormulaColumn | None
    more: list[Formula]
    less: list[Formula]


@dataclass(frozen=True, slots=True, eq=False)
class PlanByAge:
    """A plan by age.

    ages: how many of a lifetime are summed.
    stretches: one for each stretch of months without a change of rates; the last holds at the end of the forecast.
    starts: the first month of each stretch.
    alive, worth: what is left of a new customer and of a price of 1, at the rates of the last stretch.
    gone, lost: what left of both.
    """

    ages: int
    stretches: list[RatesByAge]
    starts: list[int]
    alive: FormulaColumn
    worth: FormulaColumn
    gone: FormulaColumn
    lost: FormulaColumn

    @property
    def at_end(self) -> RatesByAge:
        """The rates at the end of the forecast."""
        return self.stretches[-1]

    def stretch(self, month: int) -> int:
        """The position of the stretch that a month is in."""
        return bisect_right(self.starts, month) - 1

    def rates(self, month: int) -> RatesByAge:
        """The rates of a month."""
        return self.stretches[self.stretch(month)]


class StaySheet:
    """The sheet of ages, with what each plan does by age."""

    def __init__(self, book: WorkbookContext, changes: ChangesSheet):
        words, scenario = book.words["stay"], book.scenario
        self._book, plans = book, scenario.pay.plans
        last = max(ages_of(scenario, number) for number in range(len(plans)))
        self._table = FormulaTable(book.sheets["stay"], title=words["title"], lines=words["lines"], last=last)
        self._age = self._table.column(words["age"], "count", width=9)
        for a in range(last + 1):
            self._age.put(a, a, "center")
        starts = rate_months(scenario)
        stretches = [self._stretch(start, changes, starts) for start in starts]
        self.lives = [
            self._life(number, [of[number] for of in stretches], starts, changes) for number in range(len(plans))
        ]
        self._table.finish(rows=PRINTED_AGES)

    def _stretch(self, start: int, changes: ChangesSheet, starts: list[int]) -> list[RatesByAge]:
        """What each plan does by age from a month on, until the next change of its rates."""
        self._at_end = start == starts[-1]
        self._now = self._book.in_month(self._book.scenario.months if self._at_end else start)
        self._since = ""
        if len(starts) > 1:
            self._since = said(self._book.messages["whose"]["since"], month=str(start))
        self._common = self._common_curve()
        self._growth = self._common_growth()
        self._year_growth = self._common_year_growth()
        return [self._rates_of(number, plan, changes) for number, plan in enumerate(self._book.scenario.pay.plans)]

    def _group(self, name: str) -> str:
        return f"{name}, {self._since}" if self._since else name

    def _last_age(self, number: int) -> int:
        """The largest age of a plan that the stretch needs; only the last has lifetimes to be summed."""
        scenario = self._book.scenario
        return ages_of(scenario, number) if self._at_end else max(aboard_ages(scenario, number), 1)

    def _users(self, wanted: Callable[[Plan], bool]) -> list[int]:
        """The numbers of the plans for which `wanted` holds."""
        return [number for number, plan in enumerate(self._book.scenario.pay.plans) if wanted(plan)]

    def _longest(self, numbers: list[int]) -> int:
        return max((self._last_age(number) for number in numbers), default=0)

    def _common_curve(self) -> FormulaColumn | None:
        """The curve of all plans that have none of their own."""
        last = self._longest(self._users(lambda plan: plan.churn is None and plan.renewal_rate is None))
        if not last:
            return None
        self._table.skip()
        curve, group = self._book.scenario.stay.churn, self._group(self._book.words["stay"]["everyone"])
        return churn_column(self._now, self._table, self._age, curve=curve, place="stay.churn", last=last, group=group)

    def _common_growth(self) -> tuple[FormulaColumn, FormulaColumn] | None:
        """Expansion and contraction up to the last age at which they happen."""
        if self._book.scenario.grow.last_age_months is None:
            return None
        words, everyone = self._book.words["stay"], self._group(self._book.words["stay"]["everyone"])
        more, less = (self._table.column(words[name], "churn", group=everyone) for name in ("more", "less"))
        for a in range(1, self._longest(self._users(lambda plan: True)) + 1):
            grows = self._age.same_row(a) <= self._book.given("grow.last_age_months")
            for column, rate in zip((more, less), self._rates(), strict=True):
                column.put(a, choose(grows, rate, 0))
        return more, less

    def _rates(self) -> tuple[Formula, Formula]:
        grow = "grow.monthly_expansion_rate", "grow.monthly_contraction_rate"
        return self._now.given(grow[0]), self._now.given(grow[1])

    def _common_year_growth(self) -> tuple[FormulaColumn, FormulaColumn] | None:
        """Growth since the last renewal, month on month, for plans billed by the year."""
        if not self._users(lambda plan: plan.billing == "yearly"):
            return None
        words, everyone = self._book.words["stay"], self._group(self._book.words["stay"]["everyone"])
        up, down = (self._table.column(words[name], "churn", group=everyone) for name in ("more_year", "less_year"))
        for a in range(1, self._longest(self._users(lambda plan: plan.billing == "yearly")) + 1):
            more, less = self._rates() if self._growth is None else (column[a] for column in self._growth)
            anew = a % YEAR == 1
            up.put(a, more if anew else up[a - 1] + (1 + up[a - 1]) * more)
            down.put(a, less if anew else down[a - 1] + (1 - down[a - 1]) * less)
        return up, down

    def _rates_of(self, number: int, plan: Plan, changes: ChangesSheet) -> RatesByAge:
        last = self._last_age(number)
        self._table.skip()
        factor = changes.churn_factor(self._book.scenario.months)
        by_month = factor is not None and renews_by_month(plan)
        curve = self._curve(number, plan, last)
        leave = self._leave(number, plan, last, curve, factor if by_month else None)
        growth = [self._grown(plan, a) for a in range(1, last + 1)]
        more, less = ([pair[kind] for pair in growth] for kind in (0, 1))
        return RatesByAge(leave, curve if by_month else None, more, less)

    def _life(self, number: int, stretches: list[RatesByAge], starts: list[int], changes: ChangesSheet) -> PlanByAge:
        words, table, plan = self._book.words["stay"], self._table, self._book.scenario.pay.plans[number]
        ages, factor = lifetime_ages(self._book.scenario, number), changes.churn_factor(self._book.scenario.months)
        leave, more, less = stretches[-1].leave, stretches[-1].more, stretches[-1].less
        names = ("alive", "worth", "gone", "lost")
        if len(starts) > 1:
            table.skip()
        alive, worth, gone, lost = (table.column(words[name], "ratio", group=plan.name) for name in names)
        alive.put(0, 1)
        worth.put(0, 1)
        for a in range(1, ages):
            churn = leave[a] if factor is None or renews_by_month(plan) else minimum(1, leave[a] * factor)
            gone.put(a, alive[a - 1] * churn)
            lost.put(a, worth[a - 1] * churn)
            alive.put(a, alive[a - 1] * (1 - churn))
            worth.put(a, minimum(BEYOND, worth[a - 1] * (1 - churn) * (1 + more[a - 1] - less[a - 1])))
        return PlanByAge(ages, stretches, starts, alive, worth, gone, lost)

    def _curve(self, number: int, plan: Plan, last: int) -> FormulaColumn | None:
        """The plan's churn month by month; None where it has no use for any."""
        if plan.churn is None or plan.renewal_rate is not None:
            return self._common
        place = f"pay.plans.{number}.churn"
        group = self._group(plan.name)
        return churn_column(self._now, self._table, self._age, curve=plan.churn, place=place, last=last, group=group)

    def _leave(
        self, number: int, plan: Plan, last: int, curve: FormulaColumn | None, factor: Formula | None
    ) -> FormulaColumn:
        """Churn at each age; a yearly plan's customers leave at its renewals alone. factor: on each month's churn."""
        words, group = self._book.words["stay"], self._group(plan.name)
        if plan.billing == "monthly":
            return present(curve)
        within: FormulaColumn | None = None
        if plan.renewal_rate is None:
            within = self._table.column(words["leave_year"], "churn", group=group)
            by_month = present(curve)
            for a in range(1, last + 1):
                before, churn = within[a - 1], by_month[a] if factor is None else minimum(1, by_month[a] * factor)
                within.put(a, churn if a % YEAR == 1 else before + (1 - before) * churn)
        column = self._table.column(words["renewal"], "churn", group=group)
        for a in range(1, last + 1):
            renewal = 1 - self._now.given(f"pay.plans.{number}.renewal_rate") if within is None else within[a]
            column.put(a, 0 if a % YEAR else renewal)
        return column

    def _grown(self, plan: Plan, a: int) -> tuple[Formula, Formula]:
        if plan.billing == "yearly":
            up, down = present(self._year_growth)
            return (up[a], down[a]) if a % YEAR == 0 else (Formula("0", 0.0), Formula("0", 0.0))
        return self._rates() if self._growth is None else (self._growth[0][a], self._growth[1][a])


def renews_by_month(plan: Plan) -> bool:
    """Whether a plan's churn at a renewal is made of that of the months before it."""
    return plan.billing == "yearly" and plan.renewal_rate is None


def lifetime_ages(scenario: Scenario, number: int) -> int:
    """How many ages of a plan are summed for its ceiling: months of age may be changed later, up to 120."""
    curve = (scenario.pay.plans[number].churn or scenario.stay.churn).curve
    if curve in ("sbg", "bdw"):
        return LIFETIME
    return SETTLED if curve != "constant" or scenario.grow.last_age_months is not None else ALWAYS_SETTLED


def ages_of(scenario: Scenario, number: int) -> int:
    """The largest age of a plan that the workbook needs."""
    return max(lifetime_ages(scenario, number) - 1, aboard_ages(scenario, number))


def aboard_ages(scenario: Scenario, number: int) -> int:
    """The largest age that a customer of the plan reaches within the forecast; 0 where no age makes a difference."""
    return scenario.months + OLDEST if by_age(scenario, number) else 0
