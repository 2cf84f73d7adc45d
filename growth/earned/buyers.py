"""Buyers: what they pay, in instalments or at once, and what they name as what brought them.

What buyers name stands beside the piece that they signed up with: two views of one income.
"""

from __future__ import annotations

import datetime
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from growth.earned.interval import Interval, share
from growth.earned.ledger import Ledger
from growth.earned.ledger_format import THOUSANDTHS, without_addresses

MONTHLY = (25, 35)  # days between two payments that are taken for monthly instalments
LATE = 45  # days after the last instalment from which the next is overdue
ALIKE = 3  # so many finished plans of one length tell the length of those that still run


@dataclass(frozen=True, slots=True)
class Payment:
    """One payment: year-month-day, amount in thousandths, payments agreed (1: a single one), launch or ""."""

    day: str
    amount: int
    instalments: int
    launch: str


@dataclass(frozen=True, slots=True)
class Buyer:
    """One buyer as of a day.

    Parameters
    ----------
    code : the ledger's pseudonym.
    piece, signed_up : the piece and the day (year-month-day) of the sign-up; "" where the buyer signed up elsewhere.
    payments : in the order of their days.
    named : pieces that the buyer names, in the buyer's order, without repetition.
    instalments : payments agreed for the first purchase; 1 for a single payment.
    first : agreed amount of the first purchase.
    due : instalments still to come, as amounts, a month apart from the last payment on.
    overdue : instalments that should have come more than two weeks ago, and all that follow them. They are not
        expected.
    later : amounts agreed in later purchases.
    open_plan : pays equal amounts monthly, but the ledger does not tell how many were agreed.
    """

    code: str
    piece: str
    signed_up: str
    payments: tuple[Payment, ...]
    named: tuple[str, ...]
    instalments: int
    first: float
    due: tuple[float, ...]
    overdue: float
    later: tuple[float, ...]
    open_plan: bool

    @property
    def bought(self) -> str:
        """The day of the first payment."""
        return self.payments[0].day

    @property
    def launch(self) -> str:
        """The launch of the first payment, or ""."""
        return self.payments[0].launch

    @property
    def paid(self) -> float:
        """What was paid so far."""
        return sum(payment.amount for payment in self.payments) / THOUSANDTHS

    @property
    def contracted(self) -> float:
        """What was paid, and what is still due by agreement and not overdue."""
        return self.paid + sum(self.due)


def read_buyers(ledger: Ledger, *, day: str) -> list[Buyer]:
    """All who had paid by the close of a day, in the order of their first payment.

    The number of instalments is the file's. Where it says none, it is that of finished plans of the same amount: at
    least three buyers who paid that amount monthly, equally often, and then no more.

    Examples
    --------
    >>> from growth.earned.ledger_csv import parse_csv
    >>> rows = "buyer,bought,amount,instalments\\n1,2026-01-05,100,3\\n1,2026-02-05,100,3\\n"
    >>> with Ledger(":memory:", create=True) as ledger:
    ...     done = ledger.record([parse_csv(rows, file="buyers.csv")], on="2026-02-06")
    ...     (buyer,) = read_buyers(ledger, day="2026-02-06")
    >>> buyer.paid, buyer.contracted, buyer.due
    (200.0, 300.0, (100.0,))
    """
    question = (
        "SELECT buyer, piece, signed_up, named, bought, amount, instalments, launch FROM buyers "
        "WHERE replaced IS NULL AND bought <= ? ORDER BY bought, buyer"
    )
    rows: dict[str, list[tuple[str, str, str, Payment]]] = defaultdict(list)
    for code, piece, signed_up, named, *payment in ledger.select(question, (day,)):
        rows[code].append((piece, signed_up, named, Payment(*payment)))
    lengths = plan_lengths([[payment for *_, payment in own] for own in rows.values()], day=day)
    return [_buyer(code, own, lengths, day) for code, own in rows.items()]


def plan_lengths(histories: Sequence[Sequence[Payment]], *, day: str) -> dict[int, int]:
    """How many monthly instalments an amount is paid in, told from finished plans: amount -> number.

    histories: each buyer's payments in the order of their days. Only plans whose rows do not say a number count.
    """
    finished: dict[int, Counter[int]] = defaultdict(Counter)
    for paid in histories:
        run = _first_run(paid)
        if paid[0].instalments == 1 and len(run) >= 2 and days_between(run[-1].day, day) > LATE:
            finished[run[0].amount][len(run)] += 1
    return {
        amount: lengths.most_common(1)[0][0]
        for amount, lengths in finished.items()
        if lengths.most_common(1)[0][1] >= ALIKE
    }


def _buyer(code: str, rows: list[tuple[str, str, str, Payment]], lengths: dict[int, int], day: str) -> Buyer:
    """A buyer from rows of piece, day of the sign-up, names and payment, in the order of the payments."""
    piece, signed_up = next(((piece, when) for piece, when, *_ in rows if piece), ("", ""))
    payments = [payment for *_, payment in rows]
    run, stated = _first_run(payments), payments[0].instalments
    agreed = stated if stated > 1 else lengths.get(payments[0].amount, 1)
    unsaid = agreed == 1 and len(run) >= 3  # monthly, but nothing says how often
    if unsaid:
        agreed = len(run)
    run = run[:agreed]
    left, amount = agreed - len(run), payments[0].amount / THOUSANDTHS
    late = days_between(run[-1].day, day) > LATE
    return Buyer(
        code=code,
        piece=piece,
        signed_up=signed_up,
        payments=tuple(payments),
        named=tuple(dict.fromkeys(name for *_, names, _ in rows for name in names.split(";") if name)),
        instalments=agreed,
        first=amount * (len(run) if late else agreed),
        due=() if late else (amount,) * left,
        overdue=amount * left if late else 0.0,
        later=tuple(payment.amount / THOUSANDTHS for payment in payments if payment not in run),
        open_plan=unsaid and not late,
    )


def _first_run(paid: Sequence[Payment]) -> list[Payment]:
    """The first payment and those that continue it: the same amount, about a month apart, at most as many as stated."""
    run = [paid[0]]
    most = paid[0].instalments
    for payment in paid[1:]:
        gap = days_between(run[-1].day, payment.day)
        if payment.amount == run[0].amount and MONTHLY[0] <= gap <= MONTHLY[1] and (most == 1 or len(run) < most):
            run.append(payment)
    return run


@dataclass(frozen=True, slots=True)
class Mention:
    """What the buyers of a launch say of one piece.

    first: the first that they name (what began it). last: the last (what settled it). any: they name it at all (it had
    a part). Each is the share of all buyers of the launch, of those who named nothing too; shares of `any` may add to
    more than one. first_amount, last_amount, any_amount: what these buyers paid.
    """

    piece: str
    first: Interval
    last: Interval
    any: Interval
    first_amount: float
    last_amount: float
    any_amount: float


@dataclass(frozen=True, slots=True)
class TwoEstimates:
    """The income of a piece, counted in two ways; amounts paid so far, and how many buyers.

    signed_up: buyers who signed up with it. naming: buyers who name it, wherever they signed up. both: those who did
    both. Together, each buyer once, it is signed_up + naming - both.
    """

    signed_up: float
    signed_up_buyers: int
    naming: float
    naming_buyers: int
    both: float
    both_buyers: int

    @property
    def together(self) -> float:
        """What all of them paid, each buyer counted once."""
        return self.signed_up + self.naming - self.both


def launches(ledger: Ledger) -> list[str]:
    """The names of the launches, by their first sale."""
    question = (
        "SELECT launch FROM buyers WHERE replaced IS NULL AND launch <> '' GROUP BY launch ORDER BY min(bought), launch"
    )
    return [row[0] for row in ledger.select(question)]


def mentions(ledger: Ledger, *, launch: str) -> tuple[int, list[Mention]]:
    """The number of buyers of a launch, and the pieces they named, the most named first."""
    question = "SELECT buyer, amount, named FROM buyers WHERE replaced IS NULL AND launch = ? ORDER BY bought"
    paid: dict[str, int] = defaultdict(int)
    named: dict[str, list[str]] = defaultdict(list)
    for buyer, amount, names in ledger.select(question, (launch,)):
        paid[buyer] += amount
        named[buyer].extend(name for name in names.split(";") if name)
    pieces = {name for names in named.values() for name in names}
    found = [_mention(piece, paid, named) for piece in pieces]
    return len(paid), sorted(found, key=lambda one: (-(one.any.value or 0), -(one.first.value or 0), one.piece))


def two_estimates(piece: str, buyers: Sequence[Buyer]) -> TwoEstimates:
    """What buyers who signed up with a piece paid, and what buyers who name it paid."""
    signed = [buyer for buyer in buyers if buyer.piece == piece]
    naming = [buyer for buyer in buyers if piece in buyer.named]
    both = [buyer for buyer in naming if buyer.piece == piece]
    a, b, c = (float(sum(buyer.paid for buyer in group)) for group in (signed, naming, both))
    return TwoEstimates(a, len(signed), b, len(naming), c, len(both))


def named_by_signed_up(buyers: Sequence[Buyer]) -> dict[tuple[str, str], tuple[int, float]]:
    """(piece signed up with, piece named first) -> (buyers, what they paid); "" stands for none.

    Each buyer is in one cell.
    """
    table: dict[tuple[str, str], tuple[int, float]] = {}
    for buyer in buyers:
        cell = (buyer.piece, buyer.named[0] if buyer.named else "")
        count, paid = table.get(cell, (0, 0.0))
        table[cell] = (count + 1, paid + buyer.paid)
    return dict(sorted(table.items()))


def own_words(ledger: Ledger, *, piece: str, most: int = 5) -> list[str]:
    """The newest words of buyers who name a piece or signed up with it, at most `most`."""
    question = (
        "SELECT words FROM buyers WHERE replaced IS NULL AND words <> '' AND (piece = ? OR ';' || named || ';' LIKE ?) "
        "ORDER BY bought DESC, id DESC LIMIT ?"
    )
    return [without_addresses(row[0]) for row in ledger.select(question, (piece, f"%;{piece};%", most))]


def _mention(piece: str, paid: dict[str, int], named: dict[str, list[str]]) -> Mention:
    groups = (
        [buyer for buyer, names in named.items() if names[:1] == [piece]],
        [buyer for buyer, names in named.items() if names[-1:] == [piece]],
        [buyer for buyer, names in named.items() if piece in names],
    )
    first, last, at_all = (share(count=len(group), of=len(paid)) for group in groups)
    amounts = [sum(paid[buyer] for buyer in group) / THOUSANDTHS for group in groups]
    return Mention(piece, first, last, at_all, *amounts)


def days_between(start: str, end: str) -> int:
    """Days from one day to another, both year-month-day.

    >>> days_between("2026-02-27", "2026-03-01")
    2
    """
    return day_number(end) - day_number(start)


@lru_cache(maxsize=10_000)
def day_number(day: str) -> int:
    """The number of a day, year-month-day, in the calendar: the next day has the next number."""
    return datetime.date.fromisoformat(day).toordinal()
