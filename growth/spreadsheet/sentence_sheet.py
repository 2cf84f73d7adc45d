"""The answer's sentences as formulas, from the calculator's own messages, so that they change with the input cells.

The rules are those of growth/calculator/words.py and outcome.py.
"""

from __future__ import annotations

from growth.calculator.number_words import month_count
from growth.calculator.outcome import EARNED, MOVES
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
from growth.spreadsheet.lifetime_formulas import Level
from growth.spreadsheet.months_sheet import MonthsSheet
from growth.spreadsheet.texts import NumberText, filled
from growth.spreadsheet.worksheet import DASH, text_lines

_ROW = 4  # of the first fact
_WIDTH = 90  # of the column of facts, in characters
_LATER, _GROWING, _OPEN = 2, 3, 4  # ways of the forecast's end, beside 1 above, 0 same and -1 below the level


class SentenceSheet:
    """The sheet that puts the answer together: facts, clauses, and the sentences `answer`, `cash` and `why`.

    labels: the calendar months. line_labels: what stands on the chart's lines for the goal and the ceiling.
    """

    def __init__(self, book: WorkbookContext, *, months: MonthsSheet, level: Level):
        words, locale = book.words["sentence"], book.locale
        self._book, self._months, self._level, self._page = book, months, level, book.messages["calculator"]
        self._last = book.scenario.months
        self._seasonal = any(channel.season is not None for channel in book.scenario.arrive.channels)
        self._yearly = any(plan.billing == "yearly" for plan in book.scenario.pay.plans)
        self.numbers = NumberText(currency=book.scenario.currency, locale=locale)
        self.labels = months.label.span(0, self._last)
        self._places = {"months": as_formula(month_count(self._last, locale))}  # what stands in the messages' {places}
        self._sheet, self._row = book.sheets["sentence"], _ROW
        self._sheet.widths(44, _WIDTH)
        self._sheet.head(words["title"], [words["line"]])
        reached = self._goal_month()
        clauses = self._lead() & self._goal_clause(reached) & self._settles()
        sums = [total(self._span(name)) for name in ("opening_mrr", "closing_mrr", "closing_customers")]
        nothing = both(*(one.equals(0) for one in (*sums, level.mrr, level.reason)))
        self.answer = self._put("answer", choose(nothing, self._page["nothing"], clauses))
        left = None if book.scenario.goal_left is None else self._left() & choose(self._has_costs(), " ", "")
        cash = self._cash()
        self.cash = self._put("cash", choose(nothing, "", cash if left is None else left & cash))
        self.line_labels = self._line_labels()
        self._sheet.print_setup()

    def _span(self, name: str, first: int = 1) -> Formula:
        return self._months.columns[name].span(first, self._last)

    def _end(self, name: str) -> Formula:
        return self._months.columns[name][self._last]

    def _said(self, key: str) -> Formula:
        """A message of the page with what is known so far in its places."""
        return filled(self._page[key], self._places)

    def _put(self, key: str, formula: Formula, kind: str = "") -> Formula:
        """One line: what it is, and its cell."""
        self._sheet.put(self._row, 0, self._book.words["sentence"]["facts"][key], "soft")
        if isinstance(formula.value, str):
            self._sheet.worksheet.set_row(self._row, 14 * text_lines(formula.value, width=_WIDTH) + 2)
        cell = self._sheet.put(self._row, 1, formula, "wrapped" if isinstance(formula.value, str) else "left", kind)
        self._row += 1
        return cell

    def _goal_month(self) -> Formula:
        """The month in which the goal is reached first; a dash where it is not, or there is none."""
        if self._book.scenario.goal_mrr is None:
            return self._put("goal_month", as_formula(DASH))
        reached = self._span("reached", 0)
        return self._put("goal_month", choose(total(reached) > 0, position_of(1, reached) - 1, DASH), "count")

    def _lead(self) -> Formula:
        """Who joins and who leaves: at first, and at the end where that differs by more than a twentieth."""
        months, page, places, numbers = self._last, self._page, self._places, self.numbers
        new, span = self._months.columns["new_customers"], min(YEAR if self._seasonal else 1, months)
        joins = self._put("new", total(new.span(1, span)) / span, "people")
        joins_end = self._put("new_end", total(new.span(months - span + 1, months)) / span, "people")
        churn, churn_end = self._churn(YEAR if self._yearly else 1)
        places |= {"new": numbers.number(joins), "new_end": numbers.number(joins_end)}
        places |= {"churn": numbers.percent(churn), "churn_end": numbers.percent(churn_end)}
        moves, moving = self._moving("new", joins, joins_end)
        varies = _moves(joins, joins_end) if self._seasonal else self._varies()
        self._joined = self._put("joined", choose(varies, 1, 0), "count").equals(1)
        joining = numbers.of_plural(page["new_average" if self._seasonal else "new"], joins, places)
        if self._seasonal:
            joining = choose(moves, numbers.of_plural(page["new_average_moving"], joins, places), joining)
        else:
            joining = joining & moving
        joining = self._put("joining", choose(total(self._span("new_customers")).equals(0), page["new_none"], joining))
        leaving = self._said("churn") & self._moving("churn", churn, churn_end)[1]
        nobody = choose(self._end("deferred_revenue") > 0, self._said("churn_renewals"), page["churn_none"])
        leaving = choose(total(self._span("lost_customers")).equals(0), nobody, leaving) & page["lead_end"]
        silent = choose(moves, page["lead_end_after_comma"], page["lead_end"])
        return self._put("lead", joining & choose(self._end("aboard") > 0, leaving, silent))

    def _moving(self, name: str, first: Formula, last: Formula) -> tuple[Formula, Formula]:
        """Whether a number's change is large enough to be told and shows as written; the clause that tells it."""
        as_written = self._places[name].equals(self._places[f"{name}_end"])
        moves = both(_moves(first, last), as_written.equals(as_formula(False)))
        rising, falling = (self._said(f"{name}_{way}") for way in ("rising", "falling"))
        return moves, choose(moves, choose(last > first, rising, falling), "")

    def _varies(self) -> Formula:
        """Whether some month has other numbers of new customers than the last."""
        joined, last = self._span("new_customers"), self._end("new_customers")
        more = dot((joined * (1 - MOVES) > last) * 1)
        return more + dot((joined < last * (1 - MOVES)) * 1) > 0

    def _churn(self, span: int) -> tuple[Formula, Formula]:
        """The share leaving over the first and the last `span` months that open with customers on board."""
        aboard, lost, opening = (self._span(name) for name in ("aboard", "lost_customers", "opening_customers"))
        count = self._end("aboard")
        shares = [
            choose(count > 0, dot(lost, when) / dot(opening, when), 0)  # months with nobody on board add nothing
            for when in ((aboard <= span) * 1, (aboard > count - span) * 1)
        ]
        return self._put("churn", shares[0], "churn"), self._put("churn_end", shares[1], "churn")

    def _goal_clause(self, reached: Formula) -> Formula:
        """When the goal is reached, and whether it is kept to the end; without a goal, what is made at the end."""
        if self._book.scenario.goal_mrr is None:
            self._places["closing"] = self.numbers.money(self._end("closing_mrr"))
            return self._put("goal", self._said("no_goal"))
        ever, goal = total(self._span("reached", 0)) > 0, self._book.given("goal_mrr")
        month = choose(ever, reached, 0)
        lost = self._put("lost_month", self._end("last_reached") + 1, "count")
        back = self._put("back_month", self._end("last_missed") + 1, "count")
        self._places |= {
            "goal": self.numbers.money(goal),
            "month": written(month, 0),
            "calendar": pick(self.labels, month + 1),
            "lost_month": written(maximum(lost, 0), 0),
            "back_month": written(maximum(back, 0), 0),
        }
        today = _compared(self._months.columns["closing_mrr"][0], goal) > 0
        now = choose(today, self._said("goal_past"), self._said("goal_at"))
        start = choose(month > 0, self._said("goal_reached"), now)
        then = choose(self._end("reached").equals(1), self._said("goal_back"), self._said("goal_lost"))
        told = start & choose(self._end("last_missed") < month, "", then) & self._page["goal_end"]
        return self._put("goal", choose(ever, told, self._said("goal_never")))

    def _settles(self) -> Formula:
        """Where MRR goes after the forecast, and why; see `settling` in growth/calculator/outcome.py."""
        level, page, told = self._level, self._page, self._book.messages["page"]
        closing, before = self._end("closing_mrr"), YEAR if self._seasonal or self._yearly else 1
        goal = self._book.used(self._book.scenario, "", "goal_mrr")
        near = self._put("level_near", self.numbers.roughly(level.mrr, closing if goal is None else goal))
        self._places["ceiling"] = near
        moves = _compared(closing, self._months.columns["closing_mrr"][max(self._last - before, 0)])
        side = _compared(level.mrr, closing)
        endless = choose(moves > 0, _GROWING, _OPEN)
        unsettled = choose(level.reason < Reason.NOT_KNOWN.number, endless, 10 + level.reason)
        way = choose(level.reason.equals(0), choose(side.equals(moves), side, _LATER), unsettled)
        self._way = way = self._put("way", way, "count")

        average = page["ceiling_average"] if self._seasonal else ""
        last = average & choose(self._joined, page["ceiling_then"], "") & page["ceiling_end"]
        there = self._said("ceiling_later")
        for number, key in ((0, "same"), (-1, "below"), (1, "above")):
            there = choose(way.equals(number), self._said(f"ceiling_{key}"), there)
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
        """What each line is, on one line with its amount."""
        begins = {"goal": self._page["line_goal"], "ceiling": self._book.words["answer"]["line_level"]}
        return {
            key: self._put(f"line_{key}", f"{text} ".replace(" ", "\N{NO-BREAK SPACE}") & self._places[key])
            for key, text in begins.items()
            if key in self._places
        }

    def _cash(self) -> Formula:
        """What is left of cash and of recognised revenue a month, and when cash is lowest."""
        numbers, span = self.numbers, min(YEAR, self._last)
        net, cash_in, revenue = (
            total(self._span(name, self._last - span + 1)) / span for name in ("net_cash", "cash_in", "revenue")
        )
        left = self._put("left", net, "cents")
        earned = self._put("earned", left - cash_in + revenue, "cents")
        opening = self._book.given("bill.opening_cash")
        low = self._put("low", minimum(self._span("cash", 0)), "cents")
        month = self._put("low_month", position_of(1, self._span("lowest", 0)) - 1, "count")
        self._places |= {
            "span": as_formula(month_count(span, self._book.locale)),
            "left": numbers.money(absolute(left)),
            "earned": numbers.money(absolute(earned)),
            "low": numbers.money(choose(month > 0, low, opening)),
            "low_month": written(month, 0),
        }
        even = absolute(left) <= maximum(SAME * cash_in, 0.5 * 10.0**-numbers.minor)
        sides = choose(even, self._said("cash_even"), choose(left < 0, self._said("cash_short"), self._said("cash")))
        apart = absolute(earned - left)
        told = both(apart > EARNED * maximum(absolute(earned), absolute(left)), apart > SAME * cash_in)
        beside = choose(told, choose(earned >= 0, self._said("cash_earned"), self._said("cash_earned_short")), "")
        never = choose(opening.equals(0), self._said("cash_never_low_unstated"), self._said("cash_never_low"))
        lowest = choose(month > 0, self._said("cash_low"), never)
        sides = self._put("sides", sides & beside)
        return choose(self._has_costs(), sides & self._said("cash_end") & lowest, "")

    def _left(self) -> Formula:
        """From when on enough is left each month for the goal; where MRR settles, unless enough is left for good."""
        numbers, last_enough, short = self.numbers, self._end("last_enough"), self._end("last_short")
        enough, goal = self._span("enough"), self._book.given("goal_left")
        ever, kept = total(enough) > 0, self._end("enough").equals(1)
        start = self._put("left_month", choose(kept, short + 1, 0), "count")
        first = self._put("left_first", choose(ever, position_of(1, enough), 1), "count")
        most = self._put("left_most", maximum(self._span("net_cash")), "cents")
        month = choose(kept, start, first)
        self._places |= {
            "goal_left": numbers.money(goal),
            "left_most": numbers.money(most),
            "left_month": written(month, 0),
            "left_calendar": pick(self.labels, month + 1),
            "left_first": written(first, 0),
            "left_last": written(last_enough, 0),
        }
        when = choose(start.equals(1), self._said("left_already"), self._said("left_from"))
        once = choose(last_enough.equals(first), self._said("left_once"), self._said("left_lost"))
        never = choose(most > 0, self._said("left_never"), self._said("left_short"))
        said = self._put("left_when", choose(kept, when, choose(ever, once, never)))
        if self._yearly:
            earned = self._put("left_earned", self._end("last_short_earned") + 1, "count")
            self._places["left_earned"] = written(earned, 0)
            since = choose(earned.equals(1), self._said("left_earned_already"), self._said("left_earned_from"))
            never = self._said("left_earned_never")
            said = said & self._put("left_as_earned", choose(earned > self._last, never, since))
        return said & self._left_at_level(goal, kept)

    def _left_at_level(self, goal: Formula, kept: Formula) -> Formula:
        """What is left where it settles, unless enough is left for good."""
        level, now = self._level, self._book.in_month(self._last)
        people, payments = (
            total(self._span(name, max(1, self._last - YEAR + 1))) for name in ("closing_customers", "payments")
        )
        paying = choose(people > 0, payments / people, 0)
        served = now.given("bill.monthly_cost_to_serve") + now.given("bill.fee_per_payment") * paying
        out = level.customers * served + now.given("bill.monthly_fixed_costs") + self._end("acquisition_spend")
        left = self._put("left_at_level", level.mrr * (1 - now.given("bill.payment_fee_rate")) - out, "cents")
        self._places["left_level"] = self._put("left_level_near", self.numbers.roughly(absolute(left), goal))

        def said(where: str) -> Formula:
            short, enough, missing = (self._said(f"left_{where}_{side}") for side in ("short", "enough", "missing"))
            return choose(left < 0, missing, choose(left < goal, short, enough))

        known = both(level.reason.equals(0), level.customers > 0, self._way < _GROWING)
        needed = choose(kept, choose(left < goal, 1, 0), 1).equals(1)
        return choose(both(known, needed), choose(self._way.equals(1), said("levels_off"), said("settles")), "")

    def _has_costs(self) -> Formula:
        """Whether there are costs or cash to speak of; a paid channel has some."""
        channels, later = self._book.scenario.arrive.channels, self._book.over_time
        if any(channel.kind == "paid" for channel in channels):
            return as_formula(1) > 0
        places = [f"bill.{name}" for name in self._book.scenario.bill.cash_fields()]
        places += [f"arrive.channels.{index}.monthly_cost" for index in range(len(channels))]
        costs = [absolute(self._book.given(place)) for place in places]
        costs += [total(later[place].span(1, self._last)) for place in places if place in later]
        return total(*costs) > 0


def _moves(first: Formula, last: Formula) -> Formula:
    return absolute(last - first) > MOVES * maximum(first, last)


def _compared(a: Formula, b: Formula) -> Formula:
    """1 where a is more than b, -1 where it is less, 0 where they differ by rounding alone."""
    return choose(absolute(a - b) <= SAME * maximum(absolute(a), absolute(b)), 0, choose(a > b, 1, -1))
