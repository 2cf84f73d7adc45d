"""The answer's sentences as formulas, from the calculator's own messages, so that they change with the input cells."""

from __future__ import annotations

from growth.calculator.words import month_count
from growth.measures.ceiling import REASONS
from growth.spreadsheet.ceiling_sheet import Level
from growth.spreadsheet.changes_sheet import YEAR
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import (
    Formula,
    absolute,
    as_formula,
    both,
    choose,
    dot,
    maximum,
    minimum,
    pick,
    position_of,
    total,
    written,
)
from growth.spreadsheet.formula_table import print_setup, text_lines
from growth.spreadsheet.months_sheet import MonthsSheet
from growth.spreadsheet.number_text import NumberText, filled
from growth.spreadsheet.worksheet import DASH

_ROW = 4  # of the first fact
_WIDTH = 90  # of the column of facts, in characters


class SentenceSheet:
    """The sheet that puts the answer together: facts, clauses, and the sentences `answer`, `cash` and `why`.

    goal_month: the month of the goal, a dash where it is not reached (or there is none). labels: the calendar months.
    """

    def __init__(self, book: WorkbookContext, *, months: MonthsSheet, level: Level):
        words = book.words["sentence"]
        self._book, self._months, self._level, self._page = book, months, level, book.messages["calculator"]
        self.numbers = NumberText(currency=book.scenario.currency, locale=book.locale)
        self.labels = months.label.span(0, book.scenario.months)
        self._sheet, self._row = book.sheets["sentence"], _ROW
        page = self._sheet.worksheet
        page.set_row(0, 27)
        page.set_column(0, 0, 44, book.styles("paper"))
        page.set_column(1, 1, _WIDTH, book.styles("paper"))
        self._sheet.text(0, 0, words["title"], "title")
        self._sheet.text(1, 0, words["line"], "line")
        self.goal_month = self._goal_month()
        clauses = self._lead() & self._goal_clause(self.goal_month) & self._settles()
        nothing = both(
            total(self._span("opening_mrr")).equals(0),
            total(self._span("closing_mrr")).equals(0),
            total(self._span("closing_customers")).equals(0),
            level.mrr.equals(0),
        )
        self.answer = self._put("answer", choose(nothing, self._page["nothing"], clauses))
        self.cash = self._put("cash", choose(nothing, "", self._cash()))
        self.line_labels = self._line_labels()
        print_setup(self._sheet, heads=None, labels=0)

    def _span(self, name: str, first: int = 1) -> Formula:
        return self._months.columns[name].span(first, self._book.scenario.months)

    def _put(self, key: str, formula: Formula, kind: str = "") -> Formula:
        """One line: what it is, and its cell."""
        self._sheet.text(self._row, 0, self._book.words["sentence"]["facts"][key], "soft")
        if isinstance(formula.value, str):
            self._sheet.worksheet.set_row(self._row, 14 * text_lines(formula.value, width=_WIDTH) + 2)
        cell = self._sheet.put(self._row, 1, formula, "wrapped" if isinstance(formula.value, str) else "left", kind)
        self._row += 1
        return cell

    def _goal_month(self) -> Formula:
        if self._book.scenario.goal_mrr is None:
            return self._put("goal_month", as_formula(DASH))
        reached = self._span("reached", 0)
        return self._put("goal_month", choose(total(reached) > 0, position_of(1, reached) - 1, DASH), "count")

    def _lead(self) -> Formula:
        """Who joins and who leaves: at first, and at the end where that differs by more than a twentieth."""
        scenario, months, page = self._book.scenario, self._book.scenario.months, self._page
        seasonal = any(channel.season is not None for channel in scenario.arrive.channels)
        yearly = any(plan.billing == "yearly" for plan in scenario.pay.plans)
        new, span = self._months.columns["new_customers"], min(YEAR if seasonal else 1, months)
        joins = self._put("new", total(new.span(1, span)) / span, "people")
        joins_end = self._put("new_end", total(new.span(months - span + 1, months)) / span, "people")
        churn, churn_end = self._churn(YEAR if yearly else 1)
        places = {"new": self.numbers.number(joins), "new_end": self.numbers.number(joins_end)}
        places |= {"churn": self.numbers.percent(churn), "churn_end": self.numbers.percent(churn_end)}
        self._moves = _moves(joins, joins_end)
        if seasonal:
            average, moving = (filled(page[key], places) for key in ("new_average", "new_average_moving"))
            joining = choose(self._moves, moving, average)
        else:
            joining = filled(page["new"], places) & self._moving("new", joins, joins_end, places)
        leaving = filled(page["churn"], places) & self._moving("churn", churn, churn_end, places) & page["lead_end"]
        silent = choose(self._moves, page["lead_end_after_comma"], page["lead_end"])
        return self._put("lead", joining & choose(self._months.columns["aboard"][months] > 0, leaving, silent))

    def _churn(self, span: int) -> tuple[Formula, Formula]:
        """The share leaving over the first and the last `span` months that open with customers on board."""
        aboard, lost, opening = (self._span(name) for name in ("aboard", "lost_customers", "opening_customers"))
        count = self._months.columns["aboard"][self._book.scenario.months]
        shares = [
            choose(count > 0, dot(lost, when) / dot(opening, when), 0)  # months with nobody on board add nothing
            for when in ((aboard <= span) * 1, (aboard > count - span) * 1)
        ]
        return self._put("churn", shares[0], "churn"), self._put("churn_end", shares[1], "churn")

    def _moving(self, key: str, first: Formula, last: Formula, places: dict[str, Formula]) -> Formula:
        """That a number rises or falls from the first months to the last, where it does so by more than a twentieth."""
        rising, falling = (filled(self._page[f"{key}_{way}"], places) for way in ("rising", "falling"))
        return choose(_moves(first, last), choose(last > first, rising, falling), "")

    def _goal_clause(self, reached: Formula) -> Formula:
        page, months = self._page, self._book.scenario.months
        span = as_formula(month_count(months, self._book.locale))
        if self._book.scenario.goal_mrr is None:
            closing = self.numbers.money(self._months.columns["closing_mrr"][months])
            return self._put("goal", filled(page["no_goal"], {"closing": closing, "months": span}))
        flags, ever = self._span("reached"), total(self._span("reached", 0)) > 0
        below = self._put("lost_month", choose(minimum(flags) < 1, position_of(0, flags), 0), "count")
        month = choose(ever, reached, 0)
        places = {
            "goal": self.numbers.money(self._book.given("goal_mrr")),
            "month": written(month, 0),
            "calendar": pick(self.labels, month + 1),
            "lost_month": written(below, 0),
            "months": span,
        }
        already = choose(below > 0, filled(page["goal_lost"], places), filled(page["goal_already"], places))
        at_all = choose(reached.equals(0), already, filled(page["goal_reached"], places))
        return self._put("goal", choose(ever, at_all, filled(page["goal_never"], places)))

    def _settles(self) -> Formula:
        """Where growth stops, or why it does not; and, for the month by hand, why."""
        level, page = self._level, self._page
        places = {"ceiling": self.numbers.roughly(level.mrr)}
        shrinks = level.mrr < self._months.columns["opening_mrr"][1]
        still, moving = (
            choose(shrinks, *(filled(page[f"ceiling_{way}{then}"], places) for way in ("below", "above")))
            for then in ("", "_then")
        )
        reason = as_formula(page["reasons"][REASONS[4]])
        for number in (3, 2, 1):
            reason = choose(level.reason.equals(number), page["reasons"][REASONS[number]], reason)
        nobody = total(self._span("lost_customers")).equals(0)
        reason = self._put("unstopped", choose(nobody, page["reasons"]["nobody leaves"], reason))
        there, told = level.reason.equals(0), self._book.messages["page"]
        none = filled(told["why_none"], {"reason": reason})
        self.why = self._put("why", choose(there, choose(shrinks, told["why_below"], told["why_above"]), none))
        return self._put("settles", choose(there, choose(self._moves, moving, still), page["ceiling_none"] & reason))

    def _line_labels(self) -> dict[str, Formula]:
        """What stands on the lines of the chart for the goal and the ceiling, with their amounts."""
        page, labels = self._page, {}
        if self._book.scenario.goal_mrr is not None:
            goal = _unbroken(page["line_goal"]) & self.numbers.money(self._book.given("goal_mrr"))
            labels["goal"] = self._put("line_goal", goal)
        level = _unbroken(self._book.words["answer"]["line_level"]) & self.numbers.roughly(self._level.mrr)
        labels["ceiling"] = self._put("line_ceiling", level)
        return labels

    def _cash(self) -> Formula:
        """What is left a month, and when cash is lowest, where the scenario has costs or cash."""
        page, months = self._page, self._book.scenario.months
        span = min(YEAR, months)
        last_year = self._months.columns["net_cash"].span(months - span + 1, months)
        left = self._put("left", total(last_year) / span, "cents")
        cash = self._span("cash", 0)
        low = self._put("low", minimum(cash), "cents")
        month = self._put("low_month", position_of(low, cash) - 1, "count")
        places = {
            "span": as_formula(month_count(span, self._book.locale)),
            "left": self.numbers.money(absolute(left)),
            "low": self.numbers.money(low),
            "low_month": written(month, 0),
        }
        sides = choose(left < 0, filled(page["cash_short"], places), filled(page["cash"], places))
        lowest = choose(month > 0, filled(page["cash_low"], places), filled(page["cash_never_low"], places))
        return choose(self._has_costs(), sides & lowest, "")

    def _has_costs(self) -> Formula:
        """Whether there are costs or cash to speak of; a paid channel has some."""
        channels = self._book.scenario.arrive.channels
        if any(channel.kind == "paid" for channel in channels):
            return as_formula(1) > 0
        names = "payment_fee_rate fee_per_payment monthly_cost_to_serve monthly_fixed_costs opening_cash".split()
        costs = [absolute(self._book.given(f"bill.{name}")) for name in names]
        costs += [self._book.given(f"arrive.channels.{index}.monthly_cost") for index in range(len(channels))]
        return total(*costs) > 0


def _unbroken(text: str) -> str:
    """The beginning of a label that stays on one line."""
    return f"{text} ".replace(" ", "\N{NO-BREAK SPACE}")


def _moves(first: Formula, last: Formula) -> Formula:
    return absolute(last - first) > 0.05 * maximum(first, last)
