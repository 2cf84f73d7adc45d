"""What the ledger says of several pieces, their buyers and a launch, in sentences and tables of text."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from html import escape

from growth.calculator.number_words import money, near, number
from growth.earned.buyers import Mention, TwoEstimates, two_estimates
from growth.earned.interval import Interval
from growth.earned.piece_report import AgeBand, EarningsReport, PieceComparison, PieceReport
from growth.earned.piece_text import count_of, percent, piece_sentences

Written = Callable[[float], str]
CAUTION = (
    "These are counts of the past and what they allow for, not a promise. Nothing here says what would have happened "
    "without the piece: some who bought would have come anyway."
)
LEVEL_WORDS = (
    "Where a range is given, ranges made this way held the true value about 19 times in 20 over invented pieces of ten "
    "kinds; a world of another kind can surprise them."
)


def report_text(report: EarningsReport) -> list[str]:
    """The whole report as paragraphs.

    Parameters
    ----------
    report : of `growth.earned.report`.

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
        said = piece_sentences(one, report.currency)
        counted = two_estimates(one.piece.name, report.buyers)
        if counted.naming_buyers:
            said += two_estimates_sentences(counted, report.currency)
        paragraphs += [f"{one.piece.title} ({one.piece.name})", " ".join(said)]
    return [*paragraphs, next_sentence(report), f"{LEVEL_WORDS} {CAUTION}"]


def as_markdown(text: str) -> str:
    """Escape a text from a ledger for Markdown.

    >>> as_markdown("<b>Nine *studios*</b>")
    '&lt;b&gt;Nine \\\\*studios\\\\*&lt;/b&gt;'
    """
    return re.sub(r"([\\\\`*_\[\]{}#!|~$])", r"\\\1", escape(text, quote=False))


def as_table(rows: list[list[str]]) -> str:
    """Rows of text as a table in Markdown; the first holds the headings.

    >>> as_table([["age", "paid"], ["30 days", "5"]])
    '| age | paid |\\n| --- | --- |\\n| 30 days | 5 |'
    """
    return "\n".join(f"| {' | '.join(row)} |" for row in [rows[0], ["---"] * len(rows[0]), *rows[1:]])


def next_sentence(report: EarningsReport) -> str:
    """Which kind of piece to make next, and how certain that is."""
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


def comparison_sentences(a: PieceReport, b: PieceReport, found: PieceComparison, currency: str) -> list[str]:
    """How certain it is that one piece beats the other, on four measures, and by how much."""

    def amount(value: float) -> str:
        return money(near(value), currency)

    lines = [
        _surer(a, b, found.sign_ups, "turns more of its readers into sign-ups", _points),
        _surer(a, b, found.buyers, "has turned more of its sign-ups into buyers so far", _points),
    ]
    if found.sign_up_value and found.first_year:
        lines += [
            _surer(a, b, found.sign_up_value, "has the more valuable sign-ups in the end", amount),
            _surer(a, b, found.first_year, "earns more in a first year after its cost", amount),
        ]
    else:
        lines.append("What their sign-ups are worth in the end cannot be compared yet.")
    lines.append("A chance near 50 in 100 means that the counts cannot tell the two apart.")
    return lines


def mention_sentences(launch: str, buyers: int, found: list[Mention], currency: str) -> list[str]:
    """What a launch's buyers named, and why first, last and any are different questions."""
    lines = [f"{launch}: {count_of(buyers, 'buyer')}."]
    for one in found:
        lines.append(
            f"{one.piece}: {_share(one.any)} name it at all, and paid {money(one.any_amount, currency)}; "
            f"{_share(one.first)} name it first ({money(one.first_amount, currency)}); "
            f"{_share(one.last)} name it last ({money(one.last_amount, currency)})."
        )
    lines.append(
        "First, last and any are different questions: what began it, what settled it, what had a part in it. Do not "
        "add them up: a buyer who names two pieces counts for both under any."
    )
    return lines


def two_estimates_sentences(found: TwoEstimates, currency: str) -> list[str]:
    """Income by sign-up and income by what buyers name, and what the difference means."""
    signed, naming, together = (money(value, currency) for value in (found.signed_up, found.naming, found.together))
    both = count_of(found.both_buyers, "buyer")
    lines = [
        f"Two counts of one income: those who signed up with it paid {signed} "
        f"({count_of(found.signed_up_buyers, 'buyer')}), those who name it {naming} "
        f"({count_of(found.naming_buyers, 'buyer')}). {both} did both, so "
        f"together it is {together}, each buyer counted once."
    ]
    if found.naming > found.signed_up:
        lines.append("More is named than signed up: it also moves people who found you elsewhere.")
    elif found.naming < found.signed_up:
        lines.append(
            "Less is named than signed up: it collects people whom something else moved, or who were not asked."
        )
    return lines


def age_table(bands: Sequence[AgeBand], currency: str) -> list[tuple[str, ...]]:
    """The value of a sign-up by age, as rows of text under a row of headings."""
    rows: list[tuple[str, ...]] = [("age", "sign-ups", "buyers", "paid each", "contracted each", "in the end, each")]
    for band in bands:
        age = f"{band.youngest} days and more" if band.oldest is None else f"{band.youngest} to {band.oldest} days"
        end = "cannot be said"
        if band.in_the_end is not None:
            low, value, high = (
                money(found or 0, currency)
                for found in (band.in_the_end.low, band.in_the_end.value, band.in_the_end.high)
            )
            end = f"{value} ({low} to {high})"
        counts = (number(band.sign_ups), number(band.buyers))
        rows.append((age, *counts, money(band.paid, currency), money(band.contracted, currency), end))
    return rows


def named_table(table: dict[tuple[str, str], tuple[int, float]], currency: str) -> list[tuple[str, ...]]:
    """The piece named first by the piece signed up with, as rows of text under a row of headings.

    >>> named_table({("one", ""): (2, 90.0)}, "EUR")
    [('signed up with', 'names first', 'buyers', 'paid'), ('one', 'nothing', '2', '€90.00')]
    """
    rows: list[tuple[str, ...]] = [("signed up with", "names first", "buyers", "paid")]
    for (signed, named), (count, paid) in table.items():
        rows.append((signed or "elsewhere", named or "nothing", number(count), money(paid, currency)))
    return rows


def _surer(a: PieceReport, b: PieceReport, found: tuple[float, Interval], does: str, write: Written) -> str:
    chance, gap = found
    low, value, high = gap.low, gap.value, gap.high
    if chance < 0.5:
        a, chance, low, value, high = b, 1 - chance, -gap.high, None if value is None else -value, -gap.low
    said = f"“{a.piece.title}” {does}: {_in_hundred(chance)}"
    if value is None:
        return f"{said}."
    unit = " points" if write is _points else ""
    return f"{said}. The difference is about {write(value)}{unit} (between {write(low)} and {write(high)})."


def _points(share: float) -> str:
    return number(100 * share)


def _in_hundred(chance: float) -> str:
    return "more than 99 in 100 sure" if chance > 0.99 else f"{round(chance * 100)} in 100 sure"


def _share(interval: Interval) -> str:
    return f"{percent(interval.value or 0)} of them ({percent(interval.low)} to {percent(interval.high)})"
