"""Stay: who leaves at each age, how those who stay grow, and what is left of a new customer of each plan by then."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass

from growth.calculator.language import said
from growth.engine.curves import LIFETIME
from growth.scenario import Scenario
from growth.scenario.pay import Plan
from growth.scenario.stay import Churn
from growth.spreadsheet.changes_sheet import YEAR, ChangesSheet, rate_months
from growth.spreadsheet.churn_formulas import BDW_COLUMNS, beta_discrete_weibull, churn_at
from growth.spreadsheet.context import PRINTED_AGES, WorkbookContext
from growth.spreadsheet.formula import Formula, as_formula, choose, minimum
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

    leaves: churn at ages 1, 2, ... in the last month of the forecast; of a lifetime so many ages and 0 are summed.
    stretches: one for each stretch of months without a change of rates; the last holds at the end of the forecast.
    starts: the first month of each stretch.
    alive, worth: what is left of a new customer and of a price of 1, at the rates of the last stretch.
    gone, lost: what left of both.
    """

    leaves: list[Formula]
    stretches: list[RatesByAge]
    starts: list[int]
    alive: FormulaColumn
    worth: FormulaColumn
    gone: FormulaColumn
    lost: FormulaColumn

    @property
    def ages(self) -> int:
        """How many ages of a lifetime are summed."""
        return len(self.leaves) + 1

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
    """The sheet of ages, with what each plan does by age: `lives`, in the order of the plans."""

    def __init__(self, book: WorkbookContext, changes: ChangesSheet):
        words, scenario = book.words["stay"], book.scenario
        last = max(ages_of(scenario, number) for number in range(len(scenario.pay.plans)))
        table = FormulaTable(book.sheets["stay"], title=words["title"], lines=words["lines"], last=last)
        age = table.column(words["age"], "count", width=9)
        for a in range(last + 1):
            age.put(a, a, "center")
        starts = rate_months(scenario)
        stretches = [_Stretch(book, table, age, changes, start, starts).rates for start in starts]
        self.lives = []
        for number, plan in enumerate(scenario.pay.plans):
            if len(starts) > 1:
                table.skip()
            life = table.named(words, dict.fromkeys(("alive", "worth", "gone", "lost"), "ratio"), group=plan.name)
            self.lives.append(_lived(book, number, [of[number] for of in stretches], starts, changes, **life))
        table.finish(rows=PRINTED_AGES)


def _lived(
    book: WorkbookContext, number: int, stretches: list[RatesByAge], starts: list[int], changes: ChangesSheet, *,
    alive: FormulaColumn, worth: FormulaColumn, gone: FormulaColumn, lost: FormulaColumn,
) -> PlanByAge:  # fmt: skip
    """Fill a plan's columns of what is left at each age, by the rates at the end of the forecast."""
    leave, more, less = stretches[-1].leave, stretches[-1].more, stretches[-1].less
    ages, months = range(1, lifetime_ages(book.scenario, number)), book.scenario.months
    scaled = renews_by_month(book.scenario.pay.plans[number])  # the factor is in each month's churn already
    leaves = [leave[a] if scaled else changes.scaled(leave[a], months) for a in ages]
    alive.put(0, 1)
    worth.put(0, 1)
    for a, churn in zip(ages, leaves, strict=True):
        gone.put(a, alive[a - 1] * churn)
        lost.put(a, worth[a - 1] * churn)
        alive.put(a, alive[a - 1] * (1 - churn))
        worth.put(a, minimum(BEYOND, worth[a - 1] * (1 - churn) * (1 + more[a - 1] - less[a - 1])))
    return PlanByAge(leaves, stretches, starts, alive, worth, gone, lost)


class _Stretch:
    """What each plan does by age from a month on, until the next change of its rates: `rates`."""

    def __init__(
        self, book: WorkbookContext, table: FormulaTable, age: FormulaColumn, changes: ChangesSheet, start: int,
        starts: list[int],
    ):  # fmt: skip
        self._scenario, self._words, self._table, self._age = book.scenario, book.words, table, age
        self._changes, self._at_end, months = changes, start == starts[-1], book.scenario.months
        self._now = book.in_month(months if self._at_end else start)
        self._since = f", {said(book.messages['whose']['since'], month=str(start))}" if len(starts) > 1 else ""
        self._everyone = self._words["stay"]["everyone"]
        self._common = self._common_curve()
        self._growth = self._common_growth()
        self._year_growth = self._common_year_growth()
        self.rates = [self._rates_of(number, plan) for number, plan in enumerate(book.scenario.pay.plans)]

    def _column(self, key: str, group: str) -> FormulaColumn:
        return self._table.column(self._words["stay"][key], "churn", group=group + self._since)

    def _last_age(self, number: int) -> int:
        """The largest age of a plan that the stretch needs; only the last has lifetimes to be summed."""
        return ages_of(self._scenario, number) if self._at_end else max(aboard_ages(self._scenario, number), 1)

    def _longest(self, wanted: Callable[[Plan], bool]) -> int:
        """The same of the plans for which `wanted` holds; 0 where there is none."""
        plans = enumerate(self._scenario.pay.plans)
        return max((self._last_age(number) for number, plan in plans if wanted(plan)), default=0)

    def _common_curve(self) -> FormulaColumn | None:
        """The curve of all plans that have none of their own."""
        last = self._longest(lambda plan: plan.churn is None and plan.renewal_rate is None)
        if not last:
            return None
        self._table.skip()
        return self._churn(self._scenario.stay.churn, "stay.churn", last, self._everyone)

    def _churn(self, curve: Churn, place: str, last: int, group: str) -> FormulaColumn:
        """Write the columns of a curve, whose section is at `place`, for ages 1..last. Returns that of churn."""
        steps: dict[str, FormulaColumn] = {}
        if curve.curve == "bdw":
            steps = self._table.named(self._words["bdw"], BDW_COLUMNS, group=group + self._since)
        column = self._column("leave", group)
        for a in range(1, last + 1):
            given, age = lambda name: self._now.given(f"{place}.{name}"), self._age.same_row(a)
            leaving = beta_discrete_weibull(steps, given, age, a) if steps else churn_at(curve, given, age, a)
            column.put(a, leaving)
        return column

    def _common_growth(self) -> tuple[FormulaColumn, FormulaColumn] | None:
        """Expansion and contraction up to the last age at which they happen."""
        if self._scenario.grow.last_age_months is None:
            return None
        more, less = (self._column(key, self._everyone) for key in ("more", "less"))
        for a in range(1, self._longest(lambda plan: True) + 1):
            grows = self._age.same_row(a) <= self._now.inputs["grow.last_age_months"]
            for column, rate in zip((more, less), self._rates(), strict=True):
                column.put(a, choose(grows, rate, 0))
        return more, less

    def _rates(self) -> tuple[Formula, Formula]:
        return self._now.given("grow.monthly_expansion_rate"), self._now.given("grow.monthly_contraction_rate")

    def _common_year_growth(self) -> tuple[FormulaColumn, FormulaColumn] | None:
        """Growth since the last renewal, month on month, for plans billed by the year."""
        last = self._longest(lambda plan: plan.billing == "yearly")
        if not last:
            return None
        up, down = (self._column(key, self._everyone) for key in ("more_year", "less_year"))
        for a in range(1, last + 1):
            more, less = self._grown(a)
            anew = a % YEAR == 1
            up.put(a, more if anew else up[a - 1] + (1 + up[a - 1]) * more)
            down.put(a, less if anew else down[a - 1] + (1 - down[a - 1]) * less)
        return up, down

    def _rates_of(self, number: int, plan: Plan) -> RatesByAge:
        last = self._last_age(number)
        self._table.skip()
        curve = self._common  # churn month by month; none where no plan has a use for any
        if plan.churn is not None and plan.renewal_rate is None:
            curve = self._churn(plan.churn, f"pay.plans.{number}.churn", last, plan.name)
        leave = self._leave(number, plan, last, curve)
        grown = self._grown_at_renewal if plan.billing == "yearly" else self._grown
        more, less = map(list, zip(*(grown(a) for a in range(1, last + 1)), strict=True))
        by_month = renews_by_month(plan) and self._changes.churn_factor(self._scenario.months) is not None
        return RatesByAge(leave, curve if by_month else None, more, less)

    def _leave(self, number: int, plan: Plan, last: int, curve: FormulaColumn | None) -> FormulaColumn:
        """Churn at each age; a yearly plan's customers leave at its renewals alone."""
        if plan.billing == "monthly":
            return present(curve)
        within: FormulaColumn | None = None
        if plan.renewal_rate is None:
            within, by_month = self._column("leave_year", plan.name), present(curve)
            for a in range(1, last + 1):
                churn = self._changes.scaled(by_month[a], self._scenario.months)
                within.put(a, churn if a % YEAR == 1 else within[a - 1] + (1 - within[a - 1]) * churn)
        column = self._column("renewal", plan.name)
        for a in range(1, last + 1):
            renewal = 1 - self._now.given(f"pay.plans.{number}.renewal_rate") if within is None else within[a]
            column.put(a, 0 if a % YEAR else renewal)
        return column

    def _grown(self, a: int) -> tuple[Formula, Formula]:
        """What those who stay pay more and less at an age."""
        return self._rates() if self._growth is None else (self._growth[0][a], self._growth[1][a])

    def _grown_at_renewal(self, a: int) -> tuple[Formula, Formula]:
        """The same where they pay by the year."""
        up, down = present(self._year_growth)
        return (up[a], down[a]) if a % YEAR == 0 else (as_formula(0), as_formula(0))


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
