"""Arrivals: visitors of each channel, sign-ups, and how many of them become customers in which month."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from growth.scenario.arrive import AnyChannel
from growth.spreadsheet.changes_sheet import changed
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula, added, as_formula, both, choose, minimum, pick, total
from growth.spreadsheet.worksheet import FormulaColumn, FormulaTable


class ArrivalsSheet:
    """The sheet of arrivals: `columns` holds the totals of all channels by name.

    What the channels bring stands there from the start; referrals follow month by month.
    """

    def __init__(self, book: WorkbookContext):
        words = book.words["arrivals"]
        self._book = book
        self._table, self._month, _ = book.month_table("arrivals", title=words["title"], lines=words["lines"])
        table, everyone = self._table, words["all"]
        people = ("visitors", "sign_ups", "referred", "referred_customers", "channel_customers", "new_customers")
        self.columns = {name: table.column(words[name], "people", group=everyone) for name in people}
        self.columns["spend"] = table.column(words["spend"], book.money, group=everyone)
        self._channels = [_Channel(book, table, self._month, index) for index in range(len(_channels(book)))]
        table.finish()

    def month(self, month: int, customers_before: Formula) -> None:
        """The month's totals, given the customers of all plans at the close of the month before."""
        now, columns, sent = self._book.in_month(month), self.columns, self.columns["referred"]
        rate = now.given("sign_up.monthly_referral_rate")
        if month == 1:  # months before the first have its level
            sent.put(0, rate * customers_before, "opening")
        referred = sent.put(month, rate * customers_before)
        paying = now.given("pay.conversion_rate") * delayed(self._book, sent, month)
        by_referral = columns["referred_customers"].put(month, paying)
        visitors, sign_ups = (
            added([column[month] for channel in self._channels if (column := getattr(channel, name)) is not None])
            for name in ("visitors", "sign_ups")
        )
        columns["visitors"].put(month, visitors)
        columns["sign_ups"].put(month, sign_ups + referred)
        brought = added([channel.customers[month] for channel in self._channels])
        columns["new_customers"].put(month, columns["channel_customers"].put(month, brought) + by_referral)
        columns["spend"].put(month, added([channel.spend[month] for channel in self._channels]))

    @property
    def level(self) -> Formula:
        """Customers by channels in the last month, with every season at its mean over the year."""
        return added([channel.level for channel in self._channels])


class _Channel:
    """The columns of one channel; none for visitors or sign-ups if it counts a later stage directly."""

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
            cost = choose(self._active(when), self._given("monthly_cost", when), 0)
            self.spend.put(when, cost + self._budget[when] if kind == "paid" else cost)
        self.level = (
            self._at_mean(table, group, steady) if self._channel.season else self.customers[book.scenario.months]
        )

    def _sign_up(self, table: FormulaTable, group: str, usual: FormulaColumn) -> None:
        """Visitors of the steady flow and of launches, and the sign-ups from them."""
        words = self._book.words["arrivals"]
        count = len(getattr(self._channel, "launches", ()))
        launched = self._launched = [self._launch(table, group, number) for number in range(count)]
        self.visitors = table.column(words["visitors"], "people", group=group) if launched else usual
        sign_ups = table.column(words["sign_ups"], "people", group=group)
        for when in self._months():
            if launched:
                self.visitors.put(when, total(*[column[when] for column in (usual, *launched)]))
            sign_ups.put(when, self.visitors[when] * self._signing_up(when))
        self._convert(table, group, sign_ups=sign_ups, before=usual[1] * self._signing_up(1))

    def _convert(self, table: FormulaTable, group: str, *, sign_ups: FormulaColumn, before: Formula) -> None:
        """New customers from sign-ups. before: sign-ups of each month before the first, if the channel ran then."""
        self.sign_ups = sign_ups
        running = getattr(self._channel, "running_before", False)
        first = choose(self._given("first_month").equals(1), before, 0) if running else as_formula(0)
        sign_ups.put(0, first, "opening")
        self.customers = table.column(self._book.words["arrivals"]["new_customers"], "people", group=group)
        for when in self._months():
            self.customers.put(when, self._paying(when) * delayed(self._book, sign_ups, when))

    def _at_mean(self, table: FormulaTable, group: str, steady: FormulaColumn) -> Formula:
        """Customers of the last month, with the season at the mean of its factors in every month."""
        months, mean = self._book.scenario.months, total(self._book.season(self._place)) / 12
        if self.sign_ups is None:
            return steady[months] * mean
        column = table.column(self._book.words["arrivals"]["at_mean"], "people", group=group)
        rates = {when: as_formula(1) if self.visitors is None else self._signing_up(when) for when in self._months()}
        before = choose(self._given("first_month").equals(1), steady[1] * mean * rates[1], 0)
        column.put(0, before if getattr(self._channel, "running_before", False) else as_formula(0), "opening")
        for when in self._months():
            column.put(when, added([steady[when] * mean, *(one[when] for one in self._launched)]) * rates[when])
        return self._paying(months) * delayed(self._book, column, months)

    def _given(self, name: str, when: int = 1) -> Formula:
        """A number of the channel in a month."""
        return self._book.in_month(when).given(f"{self._place}.{name}")

    def _changes(self, *names: str) -> bool:
        """Whether any of the channel's numbers changes from a month on."""
        return any(f"{self._place}.{name}" in self._book.over_time for name in names)

    def _signing_up(self, when: int) -> Formula:
        return self._rate("signup_rate", "sign_up.signup_rate", when)

    def _paying(self, when: int) -> Formula:
        return self._rate("conversion_rate", "pay.conversion_rate", when)

    def _rate(self, name: str, usual: str, when: int) -> Formula:
        now = self._book.in_month(when)
        return now.used(self._channel, self._place, name) or now.given(usual)

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
        if self._changes(of, most, "monthly_growth_rate"):
            for when in self._months():
                column.put(when, self._step(column, of, most, when))
            return column
        level, ceiling = self._given(of), self._book.used(self._channel, self._place, most)
        for when in self._months():
            visitors = level * self._compound(when)
            if ceiling is not None:
                bends = both(self._given("monthly_growth_rate") > 0, level > 0)
                visitors = choose(bends, ceiling / (1 + (ceiling / level - 1) / self._compound(when)), visitors)
            column.put(when, choose(self._active(when), visitors, 0))
        return column

    def _step(self, column: FormulaColumn, of: str, most: str, when: int) -> Formula:
        """A level carried on from the month before, at the rate in force and with the changes made to it."""
        start = self._given(of, when)
        if when == 1:
            return choose(self._active(1), start, 0)
        before, rate = column[when - 1], self._given("monthly_growth_rate", when)
        grown = before * (1 + rate)
        if most and getattr(self._channel, most) is not None:
            bent = self._given(most, when) / (1 + (self._given(most, when) / before - 1) / (1 + rate))
            grown = choose(both(rate > 0, before > 0), bent, grown)
        grown = changed(self._book, f"{self._place}.{of}", self._month.same_row(when), when, grown)
        begins = self._month.same_row(when).equals(self._given("first_month"))
        return choose(self._active(when), choose(begins, start, grown), 0)

    def content(self, table: FormulaTable, group: str) -> FormulaColumn:
        """The visits of pieces that last, and those that fade: each month keeps 1 - fade of the latter, and new pieces
        add to both. A piece keeps the fade of the month in which it came out."""
        words, last = self._book.words["arrivals"], self._book.scenario.months
        lasting = table.column(words["lasting"], "people", group=group)
        fades = self._book.inputs.changed.get(f"{self._place}.monthly_fade_rate")
        starts = [1, *sorted(fades[1] if fades else ()), last + 1]
        fading = [table.column(words["fading"], "people", group=group) for _ in starts[1:]]
        column = table.column(words["visitors"], "people", group=group)
        earlier = self._given("tail_monthly_visits")
        if self._changes("tail_monthly_visits"):
            tails = self._book.over_time[f"{self._place}.tail_monthly_visits"]
            earlier = pick(tails.span(1, last), minimum(self._given("first_month"), last))
        for when in self._months():
            out = choose(self._active(when), self._given("monthly_pieces", when), 0)
            tail, peak = (self._given(f"{name}_monthly_visits", when) for name in ("tail", "peak"))
            lasting.put(when, lasting[when - 1] + out * tail if when > 1 else out * tail)
            for part, start, end in zip(fading, starts, starts[1:], strict=False):
                new = out * (peak - tail) if start <= when < end else as_formula(0)
                kept = 1 - self._given("monthly_fade_rate", start)
                part.put(when, part[when - 1] * kept + new if when > 1 else new)
            begun = self._month.same_row(when) >= self._given("first_month")
            older = choose(begun, self._given("earlier_pieces") * earlier, 0)
            column.put(when, added([lasting[when], *(part[when] for part in fading)]) + older)
        return column

    def paid(self, table: FormulaTable, group: str) -> FormulaColumn:
        """A budget, and what it buys at a cost per visit that rises with it."""
        words = self._book.words["arrivals"]
        self._budget = table.column(words["budget"], self._book.money, group=group)
        column = table.column(words["visitors"], "people", group=group)
        doubles = getattr(self._channel, "budget_that_doubles_cost", None) is not None
        changing = self._changes("monthly_budget", "monthly_growth_rate")
        for when in self._months():
            spent = choose(self._active(when), self._given("monthly_budget") * self._compound(when), 0)
            spent = self._step(self._budget, "monthly_budget", "", when) if changing else spent
            budget = self._budget.put(when, spent)
            cost = self._given("cost_per_visit", when)
            if doubles:
                cost = cost * (1 + budget / self._given("budget_that_doubles_cost", when))
            column.put(when, budget / cost)
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
        head = self._book.words["arrivals"]["launch"].replace("{n}", str(number + 1))
        column = table.column(head, "people", group=group)
        names = ("visitors", "month", "monthly_fade_rate")
        visitors, month, fade = (self._given(f"launches.{number}.{name}") for name in names)
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
