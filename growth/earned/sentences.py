"""What the ledger says, in sentences that can be read right without statistics."""

from __future__ import annotations

import re
from html import escape

from growth.calculator.words import LOCALE, money, month_labels, near, number
from growth.calculator.words import percent as exact_percent
from growth.earned.interval import Interval
from growth.earned.mentions import Mention
from growth.earned.worth import Comparison, PieceReport, Report

CAUTION = (
    "These are counts of the past and what they allow for, not a promise. Nothing here says what would have happened "
    "without the piece: some who bought would have come anyway."
)
LEVEL_WORDS = "Where a range is given, ranges made this way hold the true value 19 times in 20."


def report_text(report: Report, *, locale: str = LOCALE) -> list[str]:
    """The whole report as paragraphs: each piece, then which kind to make next, then the cautions."""
    paragraphs = []
    for one in report.pieces:
        paragraphs += [
            f"{one.piece.title} ({one.piece.name})",
            " ".join(piece_sentences(one, report.currency, locale=locale)),
        ]
    return [*paragraphs, next_sentence(report, locale=locale), f"{LEVEL_WORDS} {CAUTION}"]


def as_markdown(text: str) -> str:
    """A text from a ledger as Markdown that shows it as it is: nothing in it marks anything up.

    >>> as_markdown("<b>Nine *studios*</b>")
    '&lt;b&gt;Nine \\\\*studios\\\\*&lt;/b&gt;'
    """
    return re.sub(r"([\\\\`*_\[\]{}#!|~$])", r"\\\1", escape(text, quote=False))


def piece_sentences(one: PieceReport, currency: str, *, locale: str = LOCALE) -> list[str]:
    """One piece: its sign-ups, its buyers, a sign-up's value, its worth, its fading, and its cost."""
    piece = one.piece
    return [
        _sign_ups(one, locale),
        *_buyers(one, currency, locale),
        f"So far its buyers have paid {money(one.worth_so_far, currency, locale)}."
        if piece.buyers
        else "So far it has earned nothing.",
        *_next_year(one, currency, locale),
        _cost(one, currency, locale),
    ]


def next_sentence(report: Report, *, locale: str = LOCALE) -> str:
    """Which kind of piece to make next, and how sure that is."""
    if len(report.pieces) < 2:
        return "With one piece there is nothing to compare it with."
    if not any(one.piece.buyers for one in report.pieces):
        return (
            "Nobody has bought yet, so nothing tells the pieces apart in money. Wait for the first buyers "
            "before you choose."
        )
    chances = report.chances_of_best()
    best = max(range(len(chances)), key=chances.__getitem__)
    per = "per hour of making, " if all(one.piece.hours for one in report.pieces) else ""
    title = report.pieces[best].piece.title
    how = f"{_in_hundred(chances[best])} that a next one like it earns the most {per}its cost taken off"
    if chances[best] >= 0.9:
        return f"Make the next one like “{title}”: it is {how}."
    if chances[best] >= 0.6:
        return (
            f"“{title}” leads, but it is not settled: it is {how}. If the next one costs you no more, make "
            f"it like that one."
        )
    return (
        f"The counts do not tell the pieces apart yet. “{title}” is in front, but it is only {how}. Choose "
        f"by what you like to write."
    )


def comparison_sentences(a: PieceReport, b: PieceReport, found: Comparison) -> list[str]:
    """How sure it is that one piece beats the other, in three ways."""
    return [
        _surer(a, b, found.sign_ups, "turns more of its readers into sign-ups"),
        _surer(a, b, found.buyers, "turns more of its sign-ups into buyers by now"),
        _surer(a, b, found.first_year, "earns more in a first year after its cost"),
        "A chance near 50 in 100 means that the counts cannot tell the two apart.",
    ]


def mention_sentences(
    launch: str, buyers: int, found: list[Mention], currency: str, *, locale: str = LOCALE
) -> list[str]:
    """Who named what among a launch's buyers, and that the three shares answer three questions."""
    lines = [f"{launch}: {_count(buyers, 'buyer')}."]
    for one in found:
        lines.append(
            f"{one.piece}: {_share(one.any, locale)} name it at all, and paid "
            f"{money(one.any_amount, currency, locale)}; "
            f"{_share(one.first, locale)} name it first ({money(one.first_amount, currency, locale)}); "
            f"{_share(one.last, locale)} name it last ({money(one.last_amount, currency, locale)})."
        )
    lines.append(
        "First, last and any are different questions: what began it, what settled it, what had a part in it. "
        "Do not add them up: a buyer who names two pieces counts for both under any."
    )
    return lines


def percent(value: float, locale: str = LOCALE) -> str:
    """A fraction as per cent, no finer than its counts allow: a decimal from 1% up, two below.

    >>> percent(0.14194), percent(0.00614)
    ('14.2%', '0.61%')
    """
    return exact_percent(round(value, 3) if value >= 0.01 else value, locale)


def _sign_ups(one: PieceReport, locale: str) -> str:
    piece = one.piece
    if piece.viewers == 0:
        return "Nobody has seen it yet, so nothing can be said of its sign-ups."
    seen = (
        f"{number(piece.viewers, locale)} {'view' if piece.viewers == 1 else 'views'} brought "
        f"{_count(piece.sign_ups, 'sign-up', locale)}"
    )
    if piece.views < piece.sign_ups:
        return (
            f"It brought {_count(piece.sign_ups, 'sign-up', locale)}, but fewer views were counted, so "
            f"there is no rate."
        )
    if piece.sign_ups == 0:
        return f"{seen}: at most {percent(one.sign_up_share.high, locale)} of its readers sign up, and it may be none."
    return (
        f"{seen}, {percent(one.sign_up_share.value, locale)}; the true share lies between "
        f"{_ends(one.sign_up_share, locale)}."
    )


def _buyers(one: PieceReport, currency: str, locale: str) -> list[str]:
    piece, value = one.piece, one.sign_up_value
    if piece.sign_ups == 0:
        return []
    high = percent(one.buyer_share.high, locale)
    if piece.buyers == 0:
        worth = (
            f", so a sign-up has been worth at most {money(value.high, currency, locale)}"
            if value.value is not None
            else ""
        )
        said = [f"None of them has bought yet; that fits any share up to {high}{worth}."]
    else:
        said = [
            (
                f"{_count(piece.buyers, 'of them has', locale, 'of them have')} bought, "
                f"{percent(one.buyer_share.value, locale)} (between {_ends(one.buyer_share, locale)})."
            )
        ]
        amounts = ""
        if not one.own_amounts:
            amounts = " What a buyer pays is taken from all the pieces, since this one has few buyers."
        said.append(
            f"That makes a sign-up worth {money(value.value, currency, locale)} so far, between "
            f"{money(value.low, currency, locale)} and "
            f"{money(value.high, currency, locale)}.{amounts}"
        )
    if one.mean_delay.value is not None and piece.waiting:
        said.append(
            f"Buyers take about {number(one.mean_delay.value, locale, 0)} days, so more will come: in the end perhaps "
            f"{percent(one.final_buyer_share.value, locale)} of the sign-ups buy (between "
            f"{_ends(one.final_buyer_share, locale)})."
        )
    return said


def _next_year(one: PieceReport, currency: str, locale: str) -> list[str]:
    whose = "" if one.own_half_life else ", as with your pieces together, since this one has few sign-ups"
    said = []
    if one.half_life.value is not None:
        if one.fades:
            said.append(
                f"Its sign-ups halve about every {number(one.half_life.value, locale, 0)} days (between "
                f"{number(one.half_life.low, locale, 0)} and {number(one.half_life.high, locale, 0)}){whose}."
            )
        else:
            said.append(
                f"No fading can be told yet; a half-life below {number(one.half_life.low, locale, 0)} days is "
                f"unlikely{whose}."
            )
    if one.next_year.value is None:
        return [*said, "What it will earn cannot be told before the first buyer."]
    low, expected, high = (
        money(near(value), currency, locale) for value in (one.next_year.low, one.next_year.value, one.next_year.high)
    )
    if one.next_year.value < 1:
        return [*said, "Over the next twelve months hardly anything more is expected."]
    return [
        *said,
        f"Over the next twelve months expect about {expected} more; anything from {low} to {high} would be no "
        f"surprise.",
    ]


def _cost(one: PieceReport, currency: str, locale: str) -> str:
    if one.cost <= 0:
        return "No cost is written down for it."
    cost = f"Making it cost {money(one.cost, currency, locale)}"
    if one.paid_back:
        return f"{cost}, which was earned back in {_month(one.paid_back, locale)}."
    if one.pays_back:
        return f"{cost}, not earned back yet; about {_month(one.pays_back, locale)} is to be expected."
    return f"{cost}, not earned back yet, nor to be expected within twelve months."


def _surer(a: PieceReport, b: PieceReport, chance: float, does: str) -> str:
    if chance < 0.5:
        a, chance = b, 1 - chance
    return f"“{a.piece.title}” {does}: {_in_hundred(chance)}."


def _in_hundred(chance: float) -> str:
    return "more than 99 in 100 sure" if chance > 0.99 else f"{round(chance * 100)} in 100 sure"


def _ends(interval: Interval, locale: str) -> str:
    return f"{percent(interval.low, locale)} and {percent(interval.high, locale)}"


def _share(interval: Interval, locale: str) -> str:
    return (
        f"{percent(interval.value or 0, locale)} of them ({percent(interval.low, locale)} to "
        f"{percent(interval.high, locale)})"
    )


def _count(value: int, noun: str, locale: str = LOCALE, many: str = "") -> str:
    return f"{number(value, locale)} {noun if value == 1 else many or noun + 's'}"


def _month(month: str, locale: str) -> str:
    return month_labels(month, 1, locale)[1]
