"""Arrivals: visitors of each channel, sign-ups, and how many of them become customers in which month."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from growth.scenario.arrive import AnyChannel
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula, added, as_formula, both, choose, pick, total
from growth.spreadsheet.formula_table import FormulaColumn, FormulaTable


class ArrivalsSheet:
    """The sheet of arrivals. What the channels bring stands there from the start; referrals follow month by month."""

    def __init__(self, book: WorkbookContext):
        words = book.words["arrivals"]
        self._book = book
        self._table, self._month, _ = book.month_table("arrivals", title=words["title"], lines=words["lines"])
        table, everyone = self._table, words["all"]
        self.visitors = table.column(words["visitors"], "people", group=everyone)
        self.sign_ups = table.column(words["sign_ups"], "people", group=everyone)
        self.referred = table.column(words["referred"], "people", group=everyone)
        self.referred_customers = table.column(words["referred_customers"], "people", group=everyone)
        self.channel_customers = table.column(words["channel_customers"], "people", group=everyone)
        self.new_customers = table.column(words["new_customers"], "people", group=everyone)
        self.spend = table.column(words["spend"], book.money, group=everyone)
        self._channels = [_Channel(book, table, self._month, index) for index in range(len(_channels(book)))]
        book.finish(table)

    def month(self, month: int, customers_before: Formula) -> None:
        """The month's totals, given the customers of all plans at the close of the month before."""
        book, rate = self._book, self._book.given("sign_up.monthly_referral_rate")
        if month == 1:  # months before the first have its level
            self.referred.put(0, rate * customers_before, "opening")
        referred = self.referred.put(month, rate * customers_before)
        paying = book.given("pay.conversion_rate") * delayed(book, self.referred, month)
        by_referral = self.referred_customers.put(month, paying)
        visitors, sign_ups = (
            added([column[month] for channel in self._channels if (column := getattr(channel, name)) is not None])
            for name in ("visitors", "sign_ups")
        )
        self.visitors.put(month, visitors)
        self.sign_ups.put(month, sign_ups + referred)
        brought = self.channel_customers.put(month, added([channel.customers[month] for channel in self._channels]))
        self.new_customers.put(month, brought + by_referral)
        self.spend.put(month, added([channel.spend[month] for channel in self._channels]))

    @property
    def level(self) -> Formula:
        """Customers by channels in the last month, every season at its mean over the year."""
        return added([channel.level for channel in self._channels])


class _Channel:
    """The columns of one channel; it has none for visitors or sign-ups where it is counted in what comes after."""

    visitors: FormulaColumn | None
    sign_ups: FormulaColumn | None
    customers: FormulaColumn

    def __init__(self, book: WorkbookContext, table: FormulaTable, month: FormulaColumn, index: int):
        self._book, self._channel, self._place = book, _channels(book)[index], f"arrive.channels.{index}"
        self._month, kind = month, self._channel.kind
        table.skip()
        group = self._channel.name
        steady = _FLOW[kind](self, table, group)
        flow = self._in_season(table, group, steady) if self._channel.season else steady
        self.visitors = self.sign_ups = None
        self._launched: list[FormulaColumn] = []
        if kind == "customers":
            self.customers = flow
        elif kind == "sign_ups":
            self._convert(table, group, sign_ups=flow, before=flow[1])
        else:
            self._sign_up(table, group, flow)
        self.spend = table.column(book.words["arrivals"]["spend"], book.money, group=group)
        for when in self._months():
            cost = choose(self._active(when), self._given("monthly_cost"), 0)
            self.spend.put(when, cost + self._budget[when] if kind == "paid" else cost)
        self.level = (
            self._at_mean(table, group, steady) if self._channel.season else self.customers[book.scenario.months]
        )

    def _sign_up(self, table: FormulaTable, group: str, usual: FormulaColumn) -> None:
        """Visitors of the steady flow and of launches, and the share of them that signs up."""
        words = self._book.words["arrivals"]
        count = len(getattr(self._channel, "launches", ()))
        launched = self._launched = [self._launch(table, group, number) for number in range(count)]
        self.visitors = table.column(words["visitors"], "people", group=group) if launched else usual
        sign_ups = table.column(words["sign_ups"], "people", group=group)
        rate = self._rate("signup_rate", "sign_up.signup_rate")
        for when in self._months():
            if launched:
                self.visitors.put(when, total(*[column[when] for column in (usual, *launched)]))
            sign_ups.put(when, self.visitors[when] * rate)
        self._convert(table, group, sign_ups=sign_ups, before=usual[1] * rate)

    def _convert(self, table: FormulaTable, group: str, *, sign_ups: FormulaColumn, before: Formula) -> None:
        """Who of the sign-ups becomes a customer. before: sign-ups of each month before the first, if it ran then."""
        self.sign_ups = sign_ups
        running = getattr(self._channel, "running_before", False)
        first = choose(self._given("first_month").equals(1), before, 0) if running else as_formula(0)
        sign_ups.put(0, first, "opening")
        self.customers = table.column(self._book.words["arrivals"]["new_customers"], "people", group=group)
        rate = self._rate("conversion_rate", "pay.conversion_rate")
        for when in self._months():
            self.customers.put(when, rate * delayed(self._book, sign_ups, when))

    def _at_mean(self, table: FormulaTable, group: str, steady: FormulaColumn) -> Formula:
        """Customers of the last month, with the season at the mean of its factors in every month."""
        months, mean = self._book.scenario.months, total(self._book.season(self._place)) / 12
        if self.sign_ups is None:
            return steady[months] * mean
        column = table.column(self._book.words["arrivals"]["at_mean"], "people", group=group)
        rate = as_formula(1) if self.visitors is None else self._rate("signup_rate", "sign_up.signup_rate")
        before = choose(self._given("first_month").equals(1), steady[1] * mean * rate, 0)
        column.put(0, before if getattr(self._channel, "running_before", False) else as_formula(0), "opening")
        for when in self._months():
            column.put(when, added([steady[when] * mean, *(one[when] for one in self._launched)]) * rate)
        return self._rate("conversion_rate", "pay.conversion_rate") * delayed(self._book, column, months)

    def _given(self, name: str) -> Formula:
        return self._book.given(f"{self._place}.{name}")

    def _rate(self, name: str, usual: str) -> Formula:
        return self._book.used(self._channel, self._place, name) or self._book.given(usual)

    def _active(self, when: int) -> Formula:
        month = self._month.same_row(when)
        last = self._book.used(self._channel, self._place, "last_month")
        begun = month >= self._given("first_month")
        return begun if last is None else both(begun, month <= last)

    def _compound(self, when: int) -> Formula:
        since = self._month.same_row(when) - self._given("first_month")
        return (1 + self._given("monthly_growth_rate")) ** since

    def _months(self) -> range:
        return range(1, self._book.scenario.months + 1)

    def steady(self, table: FormulaTable, group: str) -> FormulaColumn:
        """Compound growth, bent towards a ceiling where there is one: the logistic."""
        counted, of, most = _LEVEL[self._channel.kind]
        column = table.column(self._book.words["arrivals"][counted], "people", group=group)
        level, ceiling = self._given(of), self._book.used(self._channel, self._place, most)
        for when in self._months():
            visitors = level * self._compound(when)
            if ceiling is not None:
                bends = both(self._given("monthly_growth_rate") > 0, level > 0)
                visitors = choose(bends, ceiling / (1 + (ceiling / level - 1) / self._compound(when)), visitors)
            column.put(when, choose(self._active(when), visitors, 0))
        return column

    def content(self, table: FormulaTable, group: str) -> FormulaColumn:
        """Pieces out, and the part of their visits that fades: each month it keeps 1 - fade, and new pieces add one."""
        words = self._book.words["arrivals"]
        pieces = table.column(words["pieces"], "number", group=group)
        fading = table.column(words["fading"], "number", group=group)
        column = table.column(words["visitors"], "people", group=group)
        peak, tail = self._given("peak_monthly_visits"), self._given("tail_monthly_visits")
        for when in self._months():
            out = choose(self._active(when), 1, 0)
            pieces.put(when, pieces[when - 1] + out if when > 1 else out)
            fading.put(when, fading[when - 1] * (1 - self._given("monthly_fade_rate")) + out if when > 1 else out)
            drawn = tail * pieces[when] + (peak - tail) * fading[when]
            begun = self._month.same_row(when) >= self._given("first_month")
            older = choose(begun, self._given("earlier_pieces") * tail, 0)
            column.put(when, self._given("monthly_pieces") * drawn + older)
        return column

    def paid(self, table: FormulaTable, group: str) -> FormulaColumn:
        """A budget, and what it buys at a cost per visit that rises with it."""
        words = self._book.words["arrivals"]
        self._budget = table.column(words["budget"], self._book.money, group=group)
        column = table.column(words["visitors"], "people", group=group)
        doubles = self._book.used(self._channel, self._place, "budget_that_doubles_cost")
        for when in self._months():
            spent = choose(self._active(when), self._given("monthly_budget") * self._compound(when), 0)
            budget = self._budget.put(when, spent)
            cost = self._given("cost_per_visit")
            column.put(when, budget / (cost if doubles is None else cost * (1 + budget / doubles)))
        return column

    def _in_season(self, table: FormulaTable, group: str, steady: FormulaColumn) -> FormulaColumn:
        """Times the factor of the calendar month."""
        words, names = self._book.words["arrivals"], self._book.season(self._place)
        calendar = table.column(words["calendar_month"], "count", group=group)
        column = table.column(words["in_season"], "people", group=group)
        start = int(self._book.scenario.first_month[5:]) - 1
        for when in self._months():
            place = calendar.put(when, (start + when - 1) % 12 + 1)
            column.put(when, steady[when] * pick(names, place))
        return column

    def _launch(self, table: FormulaTable, group: str, number: int) -> FormulaColumn:
        """A one-off: its visitors, then 1 - fade of them each month after."""
        column = table.column(
            self._book.words["arrivals"]["launch"].replace("{n}", str(number + 1)), "people", group=group
        )
        visitors, month, fade = (
            self._given(f"launches.{number}.{name}") for name in ("visitors", "month", "monthly_fade_rate")
        )
        for when in self._months():
            now = self._month.same_row(when)
            after = choose(now > month, column[when - 1] * (1 - fade), 0) if when > 1 else 0
            column.put(when, choose(now.equals(month), visitors, after))
        return column


_LEVEL = {  # what the column is called, and the fields of level and ceiling
    "steady": ("visitors", "monthly_visitors", "visitor_ceiling"),
    "sign_ups": ("sign_ups", "monthly_sign_ups", "sign_up_ceiling"),
    "customers": ("new_customers", "monthly_customers", "customer_ceiling"),
}
_FLOW: dict[str, Callable[[_Channel, FormulaTable, str], FormulaColumn]] = {
    **dict.fromkeys(_LEVEL, _Channel.steady),
    "content": _Channel.content,
    "paid": _Channel.paid,
}


def delayed(book: WorkbookContext, sign_ups: FormulaColumn, month: int) -> Formula:
    """Sign-ups of this month and of those before who first pay in `month`; row 0 stands for all before the first."""
    shares = book.scenario.pay.delay_shares
    if len(shares) == 1:
        return sign_ups[month]
    parts = book.cells("pay.delay_shares", len(shares))
    return added([part * sign_ups[max(month - lag, 0)] for lag, part in enumerate(parts)])


def _channels(book: WorkbookContext) -> Sequence[AnyChannel]:
    return book.scenario.arrive.channels
