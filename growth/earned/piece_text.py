"""One piece in sentences: what it brought, what a sign-up is worth, what is to come, and what it cost."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from growth.calculator.number_words import money, month_labels, near, number
from growth.calculator.number_words import percent as exact_percent
from growth.earned.earnings import LEAST_DAYS, LEAST_ROWS
from growth.earned.interval import Interval
from growth.earned.piece_counts import ROBOT_SIGN_UPS, ROBOT_TIMES
from growth.earned.piece_report import PieceReport

FEW = 10  # sign-ups; of fewer, when half of them came says nothing
SURELY = 0.9  # from this probability on a steady trickle is called robots


def piece_sentences(one: PieceReport, currency: str) -> list[str]:
    """One piece: sign-ups, buyers, the value of a sign-up, what was paid, what is to come, and the cost."""
    of_money = (part(one, currency) for part in (_value, _paid, _to_come, _cost))
    return [*_sign_ups(one), *_buyers(one), *(sentence for part in of_money for sentence in part)]


def percent(value: float) -> str:
    """A fraction as a percentage, no finer than its counts allow: one decimal from 1% up, two below.

    >>> percent(0.14194), percent(0.00614)
    ('14.2%', '0.61%')
    """
    return exact_percent(round(value, 3) if value >= 0.01 else value)


def count_of(value: float, noun: str, many: str = "") -> str:
    """A number with its noun.

    >>> count_of(1, "buyer"), count_of(2.5, "hour")
    ('1 buyer', '2.5 hours')
    """
    return f"{number(value)} {noun if value == 1 else many or noun + 's'}"


def _sign_ups(one: PieceReport) -> Iterator[str]:
    piece, brought = one.piece, count_of(one.piece.sign_ups, "sign-up")
    seen = f"{count_of(piece.views, 'view')} brought {brought}"
    if piece.viewers == 0:
        yield "Nobody has seen it yet, so nothing can be said of its sign-ups."
    elif piece.views < piece.sign_ups:
        yield f"It brought {brought}, but fewer views were counted, so there is no rate."
    elif piece.sign_ups == 0:
        yield f"{seen}: at most {percent(one.sign_up_share.high)} of its readers sign up, and it may be none."
    else:
        rate = percent(one.sign_up_share.value or 0)
        yield f"{seen}, {rate}; the true share lies between {_ends(one.sign_up_share)}."
    if piece.uncounted:
        more = "1 of them is a buyer" if piece.uncounted == 1 else f"{number(piece.uncounted)} of them are buyers"
        yield f"{more} beyond the sign-ups that the days count."
    if piece.robot_days:
        yield (
            f"{number(sum(piece.robot_days.values()))} sign-ups look like robots and are left out "
            f"({', '.join(piece.robot_days)}): {ROBOT_SIGN_UPS} or more on the day, and {ROBOT_TIMES} times as many as "
            "its views would bring on an ordinary day."
        )
    if one.robots >= SURELY and one.trickle > 0:
        alone, several = "sign-up a week comes steadily and never buys", "sign-ups a week come steadily and never buy"
        steady = count_of(round(one.trickle * 7, 1), alone, several)
        yield f"About {steady}, as robots do: nothing is expected of them."


def _buyers(one: PieceReport) -> Iterator[str]:
    if one.piece.buyers:
        bought = count_of(len(one.piece.buyers), "of them has", "of them have")
        yield f"{bought} bought, {percent(one.bought_share.value or 0)}."
    elif one.piece.sign_ups and not one.no_launch:
        yield f"None of them has bought yet; that fits any share up to {percent(one.bought_share.high)} so far."


def _value(one: PieceReport, currency: str) -> Iterator[str]:
    worth, so_far = one.sign_up_value, f"A sign-up has paid {money(one.value_so_far or 0, currency)} so far"
    if one.piece.sign_ups == 0:
        return
    if one.no_launch:
        yield (
            "Your sales come in launches, and no launch has happened since this piece came out: nothing can be said of "
            "what its sign-ups are worth."
        )
    elif worth is None or one.final_share is None:
        yield f"{so_far}."
    else:
        value, low, high = (money(end, currency) for end in (worth.value or 0, worth.low, worth.high))
        about = f"worth about {value} (between {low} and {high})."
        if one.in_launches:
            yield f"{so_far}; at its first launch it is {about}"
            return
        if one.mean_delay is not None and one.mean_delay.value is not None:
            so_far += (
                f". Buyers take about {count_of(round(one.mean_delay.value), 'day')}, so more will come: in the end "
                f"about {percent(one.final_share.value or 0)} of the sign-ups buy (between {_ends(one.final_share)})"
            )
        yield f"{so_far}, which makes a sign-up {about}"


def _paid(one: PieceReport, currency: str) -> Iterator[str]:
    piece = one.piece
    if not piece.buyers:
        yield "So far it has earned nothing."
        return
    yield f"So far its buyers have paid {money(piece.paid, currency)}."
    if piece.contracted > piece.paid:
        due, whole = (money(amount, currency) for amount in (piece.contracted - piece.paid, piece.contracted))
        yield f"Another {due} is agreed in instalments: {whole} in all."
    if overdue := sum(buyer.overdue for buyer in piece.buyers):
        yield f"Instalments of {money(overdue, currency)} are overdue and not counted."
    if still_open := sum(buyer.open_plan for buyer in piece.buyers):
        yield (
            f"{count_of(still_open, 'buyer pays', 'buyers pay')} the same amount monthly, and the ledger does not say "
            "how often: only what was paid is counted. The column instalments would say it."
        )


def _to_come(one: PieceReport, currency: str) -> Iterator[str]:
    if one.too_early:
        yield (
            f"It is too early to say how its sign-ups fade and what it will earn: that takes {LEAST_DAYS} days since "
            f"publishing and {LEAST_ROWS} days with a count."
        )
        return
    if one.piece.sign_ups >= FEW:
        yield f"Half of its sign-ups came within {count_of(one.piece.half_came, 'day')}."
    if one.halving is not None and one.halving.value is not None:
        low = round(one.halving.low)
        if np.isinf(one.halving.high):
            few = count_of(low, "day")
            yield f"From here its sign-ups a day hardly halve in fewer than {few}; they may also level off."
        else:
            value, high = count_of(round(one.halving.value), "day"), number(one.halving.high, decimals=0)
            yield f"From here its sign-ups a day halve in about {value} (between {number(low)} and {high})."
    year = one.next_year
    if one.no_launch:
        return
    if year is None or year.value is None:
        yield "What it will earn cannot be told before the first buyer."
        return
    least, middle, most = (money(near(end), currency) for end in (year.low, year.value, year.high))
    if year.high < 1:
        yield "Over the next twelve months hardly anything more is expected."
    elif year.value < 1:
        yield f"Over the next twelve months perhaps nothing more comes; up to {most} would be no surprise."
    else:
        yield (
            f"Over the next twelve months expect about {middle} more, as likely more as less; anything from {least} to "
            f"{most} would be no surprise."
        )


def _cost(one: PieceReport, currency: str) -> Iterator[str]:
    piece = one.piece
    if piece.cost <= 0 and not piece.hours:
        yield "No cost is written down for it."
        return
    spent = [count_of(piece.hours, "hour")] if piece.hours else []
    spent += [money(piece.other_cost, currency)] if piece.other_cost else []
    hourly = "" if one.hourly is None else f"; so far an hour has earned {money(one.hourly, currency)}"
    yield f"Making it took {' and '.join(spent) or 'no hours that are written down'}{hourly}."
    if piece.cost > 0:
        total = f"Its cost of {money(piece.cost, currency)}"
        if one.paid_back:
            yield f"{total} was earned back in {_month(one.paid_back)}."
        elif one.outlook is None:
            yield f"{total} is not earned back yet."
        elif one.pays_back:
            yield f"{total} is not earned back yet; {_month(one.pays_back)} is to be expected."
        else:
            yield f"{total} is not earned back yet, nor is that to be expected within twelve months."


def _ends(interval: Interval) -> str:
    return f"{percent(interval.low)} and {percent(interval.high)}"


def _month(month: str) -> str:
    return month_labels(month, 1)[1]
