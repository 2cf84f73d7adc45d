"""One piece in sentences: what it brought, what a sign-up is worth, what is to come, and what it cost."""

from __future__ import annotations

import numpy as np

from growth.calculator.language import LOCALE
from growth.calculator.words import money, month_labels, near, number
from growth.calculator.words import percent as exact_percent
from growth.earned.earnings import LEAST_DAYS, LEAST_ROWS
from growth.earned.interval import Interval
from growth.earned.piece_counts import ROBOT_SIGN_UPS, ROBOT_TIMES
from growth.earned.piece_report import PieceReport

FEW = 10  # sign-ups; of fewer, when half of them came says nothing
SURELY = 0.9  # from this probability on a steady trickle is called robots


def piece_sentences(one: PieceReport, currency: str, *, locale: str = LOCALE) -> list[str]:
    """One piece: sign-ups, buyers, the value of a sign-up, what was paid, what is to come, and the cost."""
    return [
        *_sign_ups(one, locale),
        *_buyers(one, currency, locale),
        *_value(one, currency, locale),
        *_paid(one, currency, locale),
        *_to_come(one, currency, locale),
        *_cost(one, currency, locale),
    ]


def percent(value: float, locale: str = LOCALE) -> str:
    """A fraction as per cent, no finer than its counts allow: one decimal from 1% up, two below.

    >>> percent(0.14194), percent(0.00614)
    ('14.2%', '0.61%')
    """
    return exact_percent(round(value, 3) if value >= 0.01 else value, locale)


def count_of(value: float, noun: str, locale: str = LOCALE, many: str = "") -> str:
    """A number with its noun.

    >>> count_of(1, "buyer"), count_of(2.5, "hour")
    ('1 buyer', '2.5 hours')
    """
    return f"{number(value, locale)} {noun if value == 1 else many or noun + 's'}"


def _sign_ups(one: PieceReport, locale: str) -> list[str]:
    piece = one.piece
    said = []
    if piece.viewers == 0:
        said.append("Nobody has seen it yet, so nothing can be said of its sign-ups.")
    elif piece.views < piece.sign_ups:
        brought = count_of(piece.sign_ups, "sign-up", locale)
        said.append(f"It brought {brought}, but fewer views were counted, so there is no rate.")
    else:
        seen = f"{count_of(piece.views, 'view', locale)} brought {count_of(piece.sign_ups, 'sign-up', locale)}"
        if piece.sign_ups == 0:
            high = percent(one.sign_up_share.high, locale)
            said.append(f"{seen}: at most {high} of its readers sign up, and it may be none.")
        else:
            rate = percent(one.sign_up_share.value or 0, locale)
            said.append(f"{seen}, {rate}; the true share lies between {_ends(one.sign_up_share, locale)}.")
    if piece.uncounted:
        more = (
            "1 of them is a buyer" if piece.uncounted == 1 else f"{number(piece.uncounted, locale)} of them are buyers"
        )
        said.append(f"{more} beyond the sign-ups that the days count.")
    if piece.robot_days:
        days = ", ".join(piece.robot_days)
        total = number(sum(piece.robot_days.values()), locale)
        said.append(
            f"{total} sign-ups look like robots and are left out ({days}): {ROBOT_SIGN_UPS} or more on the day, and "
            f"{ROBOT_TIMES} times as many as its views would bring on an ordinary day."
        )
    if one.robots >= SURELY and one.trickle > 0:
        a_week = number(one.trickle * 7, locale)
        said.append(
            f"About {a_week} sign-ups a week come steadily and never buy, as robots do: nothing is expected of them."
        )
    return said


def _buyers(one: PieceReport, currency: str, locale: str) -> list[str]:
    piece = one.piece
    if piece.sign_ups == 0:
        return []
    if not piece.buyers:
        if one.no_launch:
            return []
        return [
            f"None of them has bought yet; that fits any share up to {percent(one.bought_share.high, locale)} so far."
        ]
    bought = count_of(len(piece.buyers), "of them has", locale, "of them have")
    return [f"{bought} bought, {percent(one.bought_share.value or 0, locale)}."]


def _value(one: PieceReport, currency: str, locale: str) -> list[str]:
    if one.piece.sign_ups == 0:
        return []
    if one.no_launch:
        return [
            "Your sales come in launches, and no launch has happened since this piece came out: nothing can be said of "
            "what its sign-ups are worth."
        ]
    so_far = money(one.value_so_far or 0, currency, locale)
    if one.sign_up_value is None or one.final_share is None:
        return [f"A sign-up has paid {so_far} so far."]
    worth = one.sign_up_value
    value, low, high = (money(end, currency, locale) for end in (worth.value or 0, worth.low, worth.high))
    if one.in_launches:
        return [
            f"A sign-up has paid {so_far} so far; at its first launch it is worth about {value} (between {low} and "
            f"{high})."
        ]
    said = f"A sign-up has paid {so_far} so far"
    if one.mean_delay is not None and one.mean_delay.value is not None:
        days, share = number(one.mean_delay.value, locale, 0), percent(one.final_share.value or 0, locale)
        said += (
            f". Buyers take about {days} days, so more will come: in the end about {share} of the sign-ups buy "
            f"(between {_ends(one.final_share, locale)})"
        )
    said += f", which makes a sign-up worth about {value} (between {low} and {high})."
    return [said]


def _paid(one: PieceReport, currency: str, locale: str) -> list[str]:
    piece = one.piece
    if not piece.buyers:
        return ["So far it has earned nothing."]
    said = [f"So far its buyers have paid {money(piece.paid, currency, locale)}."]
    if piece.contracted > piece.paid:
        due = money(piece.contracted - piece.paid, currency, locale)
        said.append(f"Another {due} is agreed in instalments: {money(piece.contracted, currency, locale)} in all.")
    overdue = sum(buyer.overdue for buyer in piece.buyers)
    if overdue:
        said.append(f"Instalments of {money(overdue, currency, locale)} are overdue and not counted.")
    still_open = sum(buyer.open_plan for buyer in piece.buyers)
    if still_open:
        who = "1 buyer pays" if still_open == 1 else f"{number(still_open, locale)} buyers pay"
        said.append(
            f"{who} the same amount monthly, and the ledger does not say how often: only what was paid is counted. The "
            f"column instalments would say it."
        )
    return said


def _to_come(one: PieceReport, currency: str, locale: str) -> list[str]:
    if one.too_early:
        return [
            f"It is too early to say how its sign-ups fade and what it will earn: that takes {LEAST_DAYS} days since "
            f"publishing and {LEAST_ROWS} days with a count."
        ]
    said = []
    if one.piece.sign_ups >= FEW:
        said.append(f"Half of its sign-ups came within {count_of(one.piece.half_came, 'day', locale)}.")
    if one.halving is not None and one.halving.value is not None:
        low, value, high = one.halving.low, one.halving.value, one.halving.high
        if np.isinf(high):
            earliest = number(low, locale, 0)
            said.append(
                f"From here its sign-ups a day hardly halve in fewer than {earliest} days; they may also level off."
            )
        else:
            said.append(
                f"From here its sign-ups a day halve in about {number(value, locale, 0)} days (between "
                f"{number(low, locale, 0)} and {number(high, locale, 0)})."
            )
    if one.no_launch:
        return said
    if one.next_year is None or one.next_year.value is None:
        return [*said, "What it will earn cannot be told before the first buyer."]
    year = one.next_year
    least, middle, most = (money(near(end), currency, locale) for end in (year.low, year.value or 0, year.high))
    if year.high < 1:
        return [*said, "Over the next twelve months hardly anything more is expected."]
    if one.next_year.value < 1:
        return [*said, f"Over the next twelve months perhaps nothing more comes; up to {most} would be no surprise."]
    return [
        *said,
        f"Over the next twelve months expect about {middle} more, as likely more as less; anything from {least} to "
        f"{most} would be no surprise.",
    ]


def _cost(one: PieceReport, currency: str, locale: str) -> list[str]:
    piece = one.piece
    if piece.cost <= 0 and not piece.hours:
        return ["No cost is written down for it."]
    spent = []
    if piece.hours:
        spent.append(count_of(piece.hours, "hour", locale))
    if piece.other_cost:
        spent.append(money(piece.other_cost, currency, locale))
    cost = f"Making it took {' and '.join(spent)}" if spent else "Making it took no hours that are written down"
    if one.hourly is not None:
        earned = money(one.hourly, currency, locale)
        cost += f"; so far an hour has earned {earned}"
    cost += "."
    if piece.cost <= 0:
        return [cost]
    total = f"Its cost of {money(piece.cost, currency, locale)}"
    if one.paid_back:
        return [cost, f"{total} was earned back in {_month(one.paid_back, locale)}."]
    if one.outlook is None:
        return [cost, f"{total} is not earned back yet."]
    if one.pays_back:
        return [cost, f"{total} is not earned back yet; {_month(one.pays_back, locale)} is to be expected."]
    return [cost, f"{total} is not earned back yet, nor is that to be expected within twelve months."]


def _ends(interval: Interval, locale: str) -> str:
    return f"{percent(interval.low, locale)} and {percent(interval.high, locale)}"


def _month(month: str, locale: str) -> str:
    return month_labels(month, 1, locale)[1]
