"""Buyers and what they pay: payments so far, instalments still to come, the launch in which they first bought."""

from __future__ import annotations

import datetime
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from growth.earned.ledger import Ledger
from growth.earned.ledger_files import THOUSANDTHS

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
        "SELECT buyer, piece, signed_up, bought, amount, launch, named, instalments FROM buyers "
        "WHERE replaced IS NULL AND bought <= ? ORDER BY bought, buyer"
    )
    payments: dict[str, list[Payment]] = defaultdict(list)
    origin: dict[str, tuple[str, str]] = {}
    named: dict[str, list[str]] = defaultdict(list)
    for code, piece, signed_up, bought, amount, launch, names, instalments in ledger.select(question, (day,)):
        payments[code].append(Payment(bought, amount, instalments, launch))
        if piece and not origin.get(code, ("", ""))[0]:
            origin[code] = (piece, signed_up)
        named[code] += [name for name in names.split(";") if name]
    lengths = plan_lengths(list(payments.values()), day=day)
    return [
        _buyer(code, origin.get(code, ("", "")), paid, tuple(dict.fromkeys(named[code])), lengths, day)
        for code, paid in payments.items()
    ]


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


def _buyer(
    code: str,
    origin: tuple[str, str],
    paid: list[Payment],
    named: tuple[str, ...],
    lengths: dict[int, int],
    day: str,
) -> Buyer:
    stated = paid[0].instalments
    run = _first_run(paid)
    agreed = stated if stated > 1 else lengths.get(paid[0].amount, 1)
    agreed = max(agreed, 1)
    if stated == 1 and agreed == 1 and len(run) >= 3:
        agreed, open_plan = len(run), days_between(run[-1].day, day) <= LATE
    else:
        open_plan = False
    run = run[:agreed]
    left = agreed - len(run)
    amount = paid[0].amount / THOUSANDTHS
    is_late = days_between(run[-1].day, day) > LATE
    rest = [payment for payment in paid if not any(payment is one for one in run)]
    return Buyer(
        code=code,
        piece=origin[0],
        signed_up=origin[1],
        payments=tuple(paid),
        named=named,
        instalments=agreed,
        first=amount * (len(run) if is_late else agreed),
        due=() if is_late else (amount,) * left,
        overdue=amount * left if is_late else 0.0,
        later=tuple(payment.amount / THOUSANDTHS for payment in rest),
        open_plan=open_plan,
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
