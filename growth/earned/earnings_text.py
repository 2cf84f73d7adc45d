"""What the ledger says of several pieces, their buyers and a launch, in sentences and tables of text."""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import escape

from growth.calculator.language import LOCALE
from growth.calculator.words import money, near, number
from growth.earned.interval import Interval
from growth.earned.mentions import Mention, TwoEstimates, two_estimates
from growth.earned.piece_report import EarningsReport, PieceComparison, PieceReport
from growth.earned.piece_text import count_of, percent, piece_sentences
from growth.earned.sign_up_ages import AgeBand

CAUTION = (
    "These are counts of the past and what they allow for, not a promise. Nothing here says what would have happened "
    "without the piece: some who bought would have come anyway."
)
LEVEL_WORDS = (
    "Where a range is given, ranges made this way held the true value about 19 times in 20 over invented pieces of ten "
    "kinds; a world of another kind can surprise them."
)


def report_text(report: EarningsReport, *, locale: str = LOCALE) -> list[str]:
    """The whole report as paragraphs.

    Parameters
    ----------
    report
        Of `growth.earned.report`.
    locale
        Of numbers, dates and money.

    Returns
    -------
    list of str
        A title and a text for each piece, then which kind to make next, then the cautions.

    Examples
    --------
    >>> from growth.earned import Ledger, report
    >>> from growth.earned.ledger_csv import parse_csv
    >>> with Ledger(":memory:", create=True) as ledger:
    ...     done = ledger.record([parse_csv("piece,published\\na,2026-03-01\\n", file="x.csv")], on="2026-04-01")
    ...     report_text(report(ledger))[0]
    'a (a)'
    """
    paragraphs = []
    for one in report.pieces:
        said = piece_sentences(one, report.currency, locale=locale)
        counted = two_estimates(one.piece.name, report.buyers)
        if counted.naming_buyers:
            said += two_estimates_sentences(counted, report.currency, locale=locale)
        paragraphs += [f"{one.piece.title} ({one.piece.name})", " ".join(said)]
    return [*paragraphs, next_sentence(report, locale=locale), f"{LEVEL_WORDS} {CAUTION}"]


def as_markdown(text: str) -> str:
    """A text from a ledger as Markdown that shows it as it is.

    >>> as_markdown("<b>Nine *studios*</b>")
    '&lt;b&gt;Nine \\\\*studios\\\\*&lt;/b&gt;'
    """
    return re.sub(r"([\\\\`*_\[\]{}#!|~$])", r"\\\1", escape(text, quote=False))


def next_sentence(report: EarningsReport, *, locale: str = LOCALE) -> str:
    """Which kind of piece to make next, and how sure that is."""
    if len(report.pieces) < 2:
        return "One piece is shown, so there is nothing to compare it with."
    if not report.buyers:
        return (
            "Nobody has bought yet, so nothing tells the pieces apart in money. Wait for the first buyers before you "
            "choose."
        )
    chances = report.chances_of_best()
    if not chances:
        return "Fewer than two pieces can be compared yet. Wait before you choose."
    compared = [one for one in report.pieces if one.piece.name in chances]
    best = max(compared, key=lambda one: chances[one.piece.name])
    chance, title = chances[best.piece.name], best.piece.title
    left_out = "" if len(compared) == len(report.pieces) else " Pieces of which nothing can be said yet are left out."
    per = "per hour of making, " if all(one.piece.hours for one in compared) else ""
    how = f"{_in_hundred(chance)} that a next one like it earns the most {per}its cost taken off"
    if chance >= 0.9:
        return f"Make the next one like “{title}”: it is {how}.{left_out}"
    if chance >= 0.6:
        return (
            f"“{title}” leads, but it is not settled: it is {how}. If the next one costs you no more, make it like "
            f"that one.{left_out}"
        )
    return (
        f"The counts do not tell the pieces apart yet. “{title}” is in front, but it is only {how}. Choose by what you "
        f"like to write.{left_out}"
    )


def comparison_sentences(
    a: PieceReport, b: PieceReport, found: PieceComparison, currency: str, *, locale: str = LOCALE
) -> list[str]:
    """How sure it is that one piece beats the other, in four ways, and by how much."""
    lines = [
        _surer(a, b, found.sign_ups, "turns more of its readers into sign-ups", "per cent", currency, locale),
        _surer(a, b, found.buyers, "has turned more of its sign-ups into buyers so far", "per cent", currency, locale),
    ]
    if found.sign_up_value and found.first_year:
        lines += [
            _surer(a, b, found.sign_up_value, "has the more valuable sign-ups in the end", "money", currency, locale),
            _surer(a, b, found.first_year, "earns more in a first year after its cost", "money", currency, locale),
        ]
    else:
        lines.append("What their sign-ups are worth in the end cannot be compared yet.")
    lines.append("A chance near 50 in 100 means that the counts cannot tell the two apart.")
    return lines


def mention_sentences(
    launch: str, buyers: int, found: list[Mention], currency: str, *, locale: str = LOCALE
) -> list[str]:
    """Who named what among a launch's buyers, and that the three shares answer three questions."""
    lines = [f"{launch}: {count_of(buyers, 'buyer', locale)}."]
    for one in found:
        lines.append(
            f"{one.piece}: {_share(one.any, locale)} name it at all, and paid "
            f"{money(one.any_amount, currency, locale)}; "
            f"{_share(one.first, locale)} name it first ({money(one.first_amount, currency, locale)}); "
            f"{_share(one.last, locale)} name it last ({money(one.last_amount, currency, locale)})."
        )
    lines.append(
        "First, last and any are different questions: what began it, what settled it, what had a part in it. Do not "
        "add them up: a buyer who names two pieces counts for both under any."
    )
    return lines


def two_estimates_sentences(found: TwoEstimates, currency: str, *, locale: str = LOCALE) -> list[str]:
    """The income by sign-up beside the income by what buyers name, and what their difference means."""
    signed, naming, together = (
        money(value, currency, locale) for value in (found.signed_up, found.naming, found.together)
    )
    both = count_of(found.both_buyers, "buyer", locale)
    lines = [
        f"Two counts of one income: those who signed up with it paid {signed} "
        f"({count_of(found.signed_up_buyers, 'buyer', locale)}), those who name it {naming} "
        f"({count_of(found.naming_buyers, 'buyer', locale)}). {both} did both, so "
        f"together it is {together}, each buyer counted once."
    ]
    if found.naming > found.signed_up:
        lines.append("More is named than signed up: it also moves people who found you elsewhere.")
    elif found.naming < found.signed_up:
        lines.append(
            "Less is named than signed up: it collects people whom something else moved, or who were not asked."
        )
    return lines


def age_table(bands: Sequence[AgeBand], currency: str, *, locale: str = LOCALE) -> list[tuple[str, ...]]:
    """The value of a sign-up by age, as rows of texts with their headings on top."""
    rows: list[tuple[str, ...]] = [("age", "sign-ups", "buyers", "paid each", "contracted each", "in the end, each")]
    for band in bands:
        age = f"{band.youngest} days and more" if band.oldest is None else f"{band.youngest} to {band.oldest} days"
        end = "cannot be said"
        if band.in_the_end is not None:
            low, value, high = (
                money(found or 0, currency, locale)
                for found in (band.in_the_end.low, band.in_the_end.value, band.in_the_end.high)
            )
            end = f"{value} ({low} to {high})"
        counts = (number(band.sign_ups, locale), number(band.buyers, locale))
        rows.append((age, *counts, money(band.paid, currency, locale), money(band.contracted, currency, locale), end))
    return rows


def named_table(
    table: dict[tuple[str, str], tuple[int, float]], currency: str, *, locale: str = LOCALE
) -> list[tuple[str, ...]]:
    """Named first by signed up with, as rows of texts with their headings on top.

    >>> named_table({("one", ""): (2, 90.0)}, "EUR")
    [('signed up with', 'names first', 'buyers', 'paid'), ('one', 'nothing', '2', '€90.00')]
    """
    rows: list[tuple[str, ...]] = [("signed up with", "names first", "buyers", "paid")]
    for (signed, named), (count, paid) in table.items():
        rows.append((signed or "elsewhere", named or "nothing", number(count, locale), money(paid, currency, locale)))
    return rows


def _surer(
    a: PieceReport,
    b: PieceReport,
    found: tuple[float, Interval],
    does: str,
    unit: str,
    currency: str,
    locale: str,
) -> str:
    chance, gap = found
    if chance < 0.5:
        a, chance = b, 1 - chance
        gap = Interval(None if gap.value is None else -gap.value, -gap.high, -gap.low)
    said = f"“{a.piece.title}” {does}: {_in_hundred(chance)}"
    if gap.value is None:
        return f"{said}."
    if unit == "money":
        value, low, high = (money(near(end), currency, locale) for end in (gap.value, gap.low, gap.high))
    else:
        value, low, high = (f"{number(100 * end, locale)}" for end in (gap.value, gap.low, gap.high))
        value += " points"
    return f"{said}. The difference is about {value} (between {low} and {high})."


def _in_hundred(chance: float) -> str:
    return "more than 99 in 100 sure" if chance > 0.99 else f"{round(chance * 100)} in 100 sure"


def _share(interval: Interval, locale: str) -> str:
    return (
        f"{percent(interval.value or 0, locale)} of them ({percent(interval.low, locale)} to "
        f"{percent(interval.high, locale)})"
    )
