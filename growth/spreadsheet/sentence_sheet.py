"""The answer's sentences as formulas, from the calculator's own messages, so that they change with the input cells."""

from __future__ import annotations

from growth.calculator.words import EARNED, MOVES, month_count
from growth.measures.measure import SAME
from growth.measures.reason import REASONS, Reason
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
from growth.spreadsheet.left_sentence import left_sentence
from growth.spreadsheet.lifetime_formulas import Level
from growth.spreadsheet.months_sheet import MonthsSheet
from growth.spreadsheet.number_text import NumberText, filled
from growth.spreadsheet.worksheet import DASH, FormulaColumn, text_lines

_ROW = 4  # of the first fact
_WIDTH = 90  # of the column of facts, in characters
_LATER, _GROWING, _OPEN = 2, 3, 4  # ways of the forecast's end, beside 1 above, 0 same and -1 below the level


class SentenceSheet:
    """The sheet that puts the answer together: facts, clauses, and the sentences `answer`, `cash` and `why`.

    goal_month: the month of the goal, a dash where it is not reached (or there is none). labels: the calendar months.
    """

    def __init__(self, book: WorkbookContext, *, months: MonthsSheet, level: Level):
        words = book.words["sentence"]
        self._book, self._months, self._level, self._page = book, months, level, book.messages["calculator"]
        channels, plans = book.scenario.arrive.channels, book.scenario.pay.plans
        self._seasonal = any(channel.season is not None for channel in channels)
        self._yearly = any(plan.billing == "yearly" for plan in plans)
        self.numbers = NumberText(currency=book.scenario.currency, locale=book.locale)
        self.labels = months.label.span(0, book.scenario.months)
        self._sheet, self._row = book.sheets["sentence"], _ROW
        self._sheet.widths(44, _WIDTH)
        self._sheet.head(words["title"], [words["line"]])
        self.goal_month = self._goal_month()
        clauses = self._lead() & self._goal_clause(self.goal_month) & self._settles()
        nothing = both(
            total(self._span("opening_mrr")).equals(0),
            total(self._span("closing_mrr")).equals(0),
            total(self._span("closing_customers")).equals(0),
            level.mrr.equals(0),
            level.reason.equals(0),
        )
        self.answer = self._put("answer", choose(nothing, self._page["nothing"], clauses))
        left = left_sentence(
            book, months=months, level=level, way=self._way, labels=self.labels, numbers=self.numbers, put=self._put
        )
        cash = self._cash()
        if left is not None:
            cash = left & choose(self._has_costs(), " ", "") & cash
        self.cash = self._put("cash", choose(nothing, "", cash))
        self.line_labels = self._line_labels()
        self._sheet.print_setup()

    def _span(self, name: str, first: int = 1) -> Formula:
        return self._months.columns[name].span(first, self._book.scenario.months)

    def _put(self, key: str, formula: Formula, kind: str = "") -> Formula:
        """One line: what it is, and its cell."""
        self._sheet.put(self._row, 0, self._book.words["sentence"]["facts"][key], "soft")
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
        months, page = self._book.scenario.months, self._page
        new, span = self._months.columns["new_customers"], min(YEAR if self._seasonal else 1, months)
        joins = self._put("new", total(new.span(1, span)) / span, "people")
        joins_end = self._put("new_end", total(new.span(months - span + 1, months)) / span, "people")
        churn, churn_end = self._churn(YEAR if self._yearly else 1)
        places = {"new": self.numbers.number(joins), "new_end": self.numbers.number(joins_end)}
        places |= {"churn": self.numbers.percent(churn), "churn_end": self.numbers.percent(churn_end)}
        places["months"] = as_formula(month_count(months, self._book.locale))
        moves = both(_moves(joins, joins_end), places["new"].equals(places["new_end"]).equals(as_formula(False)))
        varies = _moves(joins, joins_end) if self._seasonal else self._varies(new)
        self._joined = self._put("joined", choose(varies, 1, 0), "count").equals(1)
        if self._seasonal:
            average, moving = (
                self.numbers.of_plural(page[key], joins, places) for key in ("new_average", "new_average_moving")
            )
            joining = choose(moves, moving, average)
        else:
            rising, falling = (filled(page[f"new_{way}"], places) for way in ("rising", "falling"))
            moving = choose(moves, choose(joins_end > joins, rising, falling), "")
            joining = self.numbers.of_plural(page["new"], joins, places) & moving
        joining = self._put("joining", choose(total(self._span("new_customers")).equals(0), page["new_none"], joining))
        rising, falling = (filled(page[f"churn_{way}"], places) for way in ("rising", "falling"))
        seen = both(_moves(churn, churn_end), places["churn"].equals(places["churn_end"]).equals(as_formula(False)))
        leaving = filled(page["churn"], places) & choose(seen, choose(churn_end > churn, rising, falling), "")
        renewals = self._months.columns["deferred_revenue"][months] > 0
        nobody = choose(renewals, filled(page["churn_renewals"], places), page["churn_none"])
        leaving = choose(total(self._span("lost_customers")).equals(0), nobody, leaving) & page["lead_end"]
        silent = choose(moves, page["lead_end_after_comma"], page["lead_end"])
        return self._put("lead", joining & choose(self._months.columns["aboard"][months] > 0, leaving, silent))

    def _varies(self, new: FormulaColumn) -> Formula:
        """Whether some month has other numbers of new customers than the last."""
        months, joined = self._book.scenario.months, self._span("new_customers")
        more = dot((joined * (1 - MOVES) > new[months]) * 1)
        return more + dot((joined < new[months] * (1 - MOVES)) * 1) > 0

    def _churn(self, span: int) -> tuple[Formula, Formula]:
        """The share leaving over the first and the last `span` months that open with customers on board."""
        aboard, lost, opening = (self._span(name) for name in ("aboard", "lost_customers", "opening_customers"))
        count = self._months.columns["aboard"][self._book.scenario.months]
        shares = [
            choose(count > 0, dot(lost, when) / dot(opening, when), 0)  # months with nobody on board add nothing
            for when in ((aboard <= span) * 1, (aboard > count - span) * 1)
        ]
        return self._put("churn", shares[0], "churn"), self._put("churn_end", shares[1], "churn")

    def _goal_clause(self, reached: Formula) -> Formula:
        """When the goal is reached, and whether it is kept to the end; without a goal, what is made at the end."""
        page, months, columns = self._page, self._book.scenario.months, self._months.columns
        span = as_formula(month_count(months, self._book.locale))
        if self._book.scenario.goal_mrr is None:
            closing = self.numbers.money(columns["closing_mrr"][months])
            return self._put("goal", filled(page["no_goal"], {"closing": closing, "months": span}))
        ever, goal = total(self._span("reached", 0)) > 0, self._book.given("goal_mrr")
        month = choose(ever, reached, 0)
        lost = self._put("lost_month", columns["last_reached"][months] + 1, "count")
        back = self._put("back_month", columns["last_missed"][months] + 1, "count")
        places = {
            "goal": self.numbers.money(goal),
            "month": written(month, 0),
            "calendar": pick(self.labels, month + 1),
            "lost_month": written(maximum(lost, 0), 0),
            "back_month": written(maximum(back, 0), 0),
            "months": span,
        }
        now = choose(
            _compared(columns["closing_mrr"][0], goal) > 0,
            *(filled(page[f"goal_{key}"], places) for key in ("past", "at")),
        )
        start = choose(month > 0, filled(page["goal_reached"], places), now)
        then = choose(
            columns["reached"][months].equals(1), *(filled(page[f"goal_{key}"], places) for key in ("back", "lost"))
        )
        kept = columns["last_missed"][months] < month
        told = start & choose(kept, "", then) & page["goal_end"]
        return self._put("goal", choose(ever, told, filled(page["goal_never"], places)))

    def _settles(self) -> Formula:
        """Where MRR goes after the forecast, and why; see `settling` in growth/calculator/words.py."""
        level, page, months = self._level, self._page, self._book.scenario.months
        closing = self._months.columns["closing_mrr"]
        goal = self._book.used(self._book.scenario, "", "goal_mrr")
        self._ceiling = self._put(
            "level_near", self.numbers.roughly(level.mrr, closing[months] if goal is None else goal)
        )
        span = YEAR if self._seasonal or self._yearly else 1
        moves, side = _compared(closing[months], closing[max(months - span, 0)]), _compared(level.mrr, closing[months])
        endless = choose(moves > 0, _GROWING, _OPEN)
        unsettled = choose(level.reason < Reason.NOT_KNOWN.number, endless, 10 + level.reason)
        way = choose(level.reason.equals(0), choose(side.equals(moves), side, _LATER), unsettled)
        self._way = way = self._put("way", way, "count")

        average = page["ceiling_average"] if self._seasonal else ""
        last = average & choose(self._joined, page["ceiling_then"], "") & page["ceiling_end"]
        places, told = {"ceiling": self._ceiling}, self._book.messages["page"]
        to = {key: filled(page[f"ceiling_{key}"], places) for key in ("above", "below", "same", "later")}
        there = choose(
            way.equals(1),
            to["above"],
            choose(way.equals(-1), to["below"], choose(way.equals(0), to["same"], to["later"])),
        )
        reason = as_formula("")
        for one in reversed([one for one in REASONS if one.endless]):
            reason = choose(level.reason.equals(one.number), page["reasons"][one], reason)
        without = as_formula(page["no_ceiling"]["open"])
        for one in (one for one in REASONS if not one.endless):
            without = choose(way.equals(10 + one.number), page["no_ceiling"][one], without)
        reason = self._put("reason", reason)
        without = choose(way.equals(_GROWING), page["ceiling_none"] & reason, without)
        whys = choose(way.equals(_GROWING), filled(told["why_none"], {"reason": reason}), told["why_open"])
        downwards = choose(level.mrr.equals(0), told["why_empty"], told["why_below"])
        known = choose(way.equals(1), told["why_above"], choose(way.equals(-1), downwards, told["why_even"]))
        self.why = self._put("why", choose(level.reason.equals(0), known, whys))
        return self._put("settles", choose(level.reason.equals(0), there & last, without))

    def _line_labels(self) -> dict[str, Formula]:
        """What stands on the lines of the chart for the goal and the ceiling, with their amounts."""
        page, labels = self._page, {}
        if self._book.scenario.goal_mrr is not None:
            goal = _unbroken(page["line_goal"]) & self.numbers.money(self._book.given("goal_mrr"))
            labels["goal"] = self._put("line_goal", goal)
        level = _unbroken(self._book.words["answer"]["line_level"]) & self._ceiling
        labels["ceiling"] = self._put("line_ceiling", level)
        return labels

    def _cash(self) -> Formula:
        """What is left of cash and of recognised revenue a month, and when cash is lowest."""
        page, months, columns = self._page, self._book.scenario.months, self._months.columns
        span = min(YEAR, months)
        means = {
            name: total(columns[name].span(months - span + 1, months)) / span
            for name in ("net_cash", "cash_in", "revenue")
        }
        left = self._put("left", means["net_cash"], "cents")
        earned = self._put("earned", left - means["cash_in"] + means["revenue"], "cents")
        cash, opening = self._span("cash", 0), self._book.given("bill.opening_cash")
        low = self._put("low", minimum(cash), "cents")
        month = self._put("low_month", position_of(1, self._span("lowest", 0)) - 1, "count")
        places = {
            "span": as_formula(month_count(span, self._book.locale)),
            "left": self.numbers.money(absolute(left)),
            "earned": self.numbers.money(absolute(earned)),
            "low": self.numbers.money(choose(month > 0, low, opening)),
            "low_month": written(month, 0),
        }
        text = {key: filled(page[key], places) for key in page if key.startswith("cash")}
        even = absolute(left) <= maximum(SAME * means["cash_in"], 0.5 * 10.0**-self.numbers.minor)
        sides = choose(even, text["cash_even"], choose(left < 0, text["cash_short"], text["cash"]))
        apart = absolute(earned - left)
        told = both(apart > EARNED * maximum(absolute(earned), absolute(left)), apart > SAME * means["cash_in"])
        beside = choose(told, choose(earned >= 0, text["cash_earned"], text["cash_earned_short"]), "")
        never = choose(opening.equals(0), text["cash_never_low_unstated"], text["cash_never_low"])
        lowest = choose(month > 0, text["cash_low"], never)
        return choose(self._has_costs(), self._put("sides", sides & beside) & text["cash_end"] & lowest, "")

    def _has_costs(self) -> Formula:
        """Whether there are costs or cash to speak of; a paid channel has some."""
        scenario = self._book.scenario
        channels = scenario.arrive.channels
        if any(channel.kind == "paid" for channel in channels):
            return as_formula(1) > 0
        places = [f"bill.{name}" for name in scenario.bill.cash_fields()]
        places += [f"arrive.channels.{index}.monthly_cost" for index in range(len(channels))]
        costs = [absolute(self._book.given(place)) for place in places]
        later = [self._book.over_time[place] for place in places if place in self._book.over_time]
        costs += [total(column.span(1, scenario.months)) for column in later]
        return total(*costs) > 0


def _unbroken(text: str) -> str:
    """The beginning of a label that stays on one line."""
    return f"{text} ".replace(" ", "\N{NO-BREAK SPACE}")


def _moves(first: Formula, last: Formula) -> Formula:
    return absolute(last - first) > MOVES * maximum(first, last)


def _compared(a: Formula, b: Formula) -> Formula:
    """1 where a is more than b, -1 where it is less, 0 where they differ by rounding alone."""
    return choose(absolute(a - b) <= SAME * maximum(absolute(a), absolute(b)), 0, choose(a > b, 1, -1))
