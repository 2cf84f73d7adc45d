"""The three kinds of file that fill a ledger, column by column, and the rule for each value.

    pieces   what was published, and what it cost to make
    days     what each piece brought on each day
    buyers   who paid, when, how much, and which pieces they say brought them

A file's columns tell its kind. A buyer is a code of your own; the ledger stores a keyed hash of it. An e-mail address
in a buyer's words is blacked out before it is stored, and the name of a launch may not hold one.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from growth.errors import GrowthError

LONGEST_TEXT = 2_000
THOUSANDTHS = 1_000  # money is stored as whole thousandths, so that sums are exact in every currency
_ADDRESS = re.compile(r"[^\s@<>()\[\],;:]+@[^\s@<>()\[\],;:]+\.\w+")

Value = str | int | float
Row = tuple[Value, ...]


class LedgerError(GrowthError):
    """A ledger, or a file for one, that cannot be used. Nothing was changed."""


def _matching(pattern: str, value: Callable[[str], Value]) -> Callable[[str], Value]:
    """A reader of texts that match a pattern whole; any other raises ValueError."""

    def read(text: str) -> Value:
        if not re.fullmatch(pattern, text):
            raise ValueError
        return value(text)

    return read


_piece = _matching(r"(?=.{1,60}$)[a-z0-9]+(-[a-z0-9]+)*", str)
_count = _matching(r"[0-9]{1,12}", int)
_instalments = _matching(r"0{0,9}([1-9][0-9]?|1[01][0-9]|120)", int)
_hours = _matching(r"[0-9]{1,6}(\.[0-9]{1,6})?", float)
_money = _matching(r"[0-9]{1,10}(\.[0-9]{1,3})?", lambda text: int(Decimal(text) * THOUSANDTHS))
_day = _matching(r".{10}", lambda text: datetime.date.fromisoformat(text).isoformat())


def _text(text: str) -> str:
    if len(text) > LONGEST_TEXT or any(ord(c) < 32 and c not in "\n\t\r" for c in text):
        raise ValueError
    return text


def without_addresses(text: str) -> str:
    """Black out e-mail addresses in a text: they would name a person in the ledger and in what is printed.

    >>> without_addresses("Ann <ann@studio.example>, thanks!")
    'Ann <[e-mail address]>, thanks!'
    """
    return _ADDRESS.sub("[e-mail address]", text)


def _launch(text: str) -> str:
    if _ADDRESS.search(text):
        raise ValueError
    return _text(text)


def _named(text: str) -> str:
    return ";".join(str(_piece(part.strip())) for part in text.split(";")) if text.strip() else ""


@dataclass(frozen=True, slots=True)
class FileColumn:
    """One column of a file and of its table.

    Parameters
    ----------
    name : as written in the file's first line.
    read : from the text of a cell to its value; ValueError where the text breaks the rule.
    rule : the rule, as an error message says it.
    empty : the value of an empty cell; None where a cell may not be empty.
    sql : the type of the table's column.
    also : other headings that are taken for this column, in small letters. They are shown for a yes before they are
        used.
    """

    name: str
    read: Callable[[str], Value]
    rule: str
    empty: Value | None = None
    sql: str = "TEXT"
    also: tuple[str, ...] = ()

    @property
    def is_money(self) -> bool:
        """Whether the values are amounts in thousandths."""
        return self.read is _money


@dataclass(frozen=True, slots=True)
class FileKind:
    """One kind of file and its table. key: the columns that tell rows apart; day: the column that dates a row."""

    name: str
    key: tuple[str, ...]
    day: str
    columns: tuple[FileColumn, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the columns, in their order."""
        return tuple(column.name for column in self.columns)

    @property
    def needed(self) -> tuple[str, ...]:
        """The columns that a file must have."""
        return tuple(column.name for column in self.columns if column.empty is None)

    def place(self, name: str) -> int:
        """The index of a column in a row.

        >>> KINDS["days"].place("sign_ups")
        4
        """
        return self.names.index(name)


@dataclass(frozen=True, slots=True, eq=False)
class FileRows:
    """The validated rows of one file, in the order of its kind's columns, with the line that each stands on.

    given: the columns that the file has; empty stands for all of them.
    """

    kind: FileKind
    rows: Sequence[Row]
    lines: Sequence[int]
    file: str
    given: frozenset[str] = frozenset()


SLUG_RULE = "lower-case letters, digits and hyphens, at most 60, as in the giveaway's name"
DAY_RULE = "a day as year-month-day, such as 2026-03-09"
MONEY_RULE = "an amount such as 1200 or 99.50, with a decimal point and no currency sign"
_PIECE = ("post", "page", "article", "giveaway", "slug", "source", "landing page")

WHOLE_RULE = "a whole number"
TEXT_RULE = f"a text of at most {LONGEST_TEXT:,} characters"
BUYER_RULE = f"a code of your own for the buyer, at most {LONGEST_TEXT:,} characters"
LAUNCH_RULE = "the name of the launch the sale belongs to, if any; no e-mail address"
WORDS_RULE = f"the buyer's own words, at most {LONGEST_TEXT:,} characters"
NAMED_RULE = "pieces that the buyer names, in the buyer's order, separated by ;"
INSTALMENTS_RULE = "how many payments like this one were agreed, 1 to 120; empty for a single payment"


def _kind(name: str, key: str, day: str, *columns: FileColumn) -> FileKind:
    return FileKind(name, tuple(key.split()), day, columns)


def _also(names: str) -> tuple[str, ...]:
    return tuple(names.split(", "))


_BUYER = _also("customer, client, customer id, client id, buyer id, email, e mail")
_BOUGHT = _also("date, paid, paid on, order date, payment date, purchased")
_SIGN_UPS = _also("signups, subscribers, new subscribers, subscribed, opt ins, leads")
_PUBLISHED = _also("publication date, published on, date published")

KINDS = {
    kind.name: kind
    for kind in (
        _kind(
            "pieces",
            "piece",
            "published",
            FileColumn("piece", _piece, SLUG_RULE, also=_PIECE),
            FileColumn("title", _text, TEXT_RULE, "", also=("headline",)),
            FileColumn("published", _day, DAY_RULE, also=_PUBLISHED),
            FileColumn("hours", _hours, "hours of work such as 14 or 7.5", 0.0, "REAL", ("hours of work",)),
            FileColumn("hourly_rate", _money, MONEY_RULE, 0, "INTEGER", ("rate", "rate an hour")),
            FileColumn("other_cost", _money, MONEY_RULE, 0, "INTEGER", ("cost", "costs", "spent", "money spent")),
        ),
        _kind(
            "days",
            "piece day",
            "day",
            FileColumn("piece", _piece, SLUG_RULE, also=_PIECE),
            FileColumn("day", _day, DAY_RULE, also=("date",)),
            FileColumn("views", _count, WHOLE_RULE, 0, "INTEGER", ("page views", "visits", "visitors")),
            FileColumn("shares", _count, WHOLE_RULE, 0, "INTEGER", ("shared",)),
            FileColumn("sign_ups", _count, WHOLE_RULE, 0, "INTEGER", _SIGN_UPS),
        ),
        _kind(
            "buyers",
            "buyer bought",
            "bought",
            FileColumn("buyer", _text, BUYER_RULE, also=_BUYER),
            FileColumn("piece", _piece, SLUG_RULE + "; empty where the buyer signed up elsewhere", "", "TEXT", _PIECE),
            FileColumn(
                "signed_up", _day, DAY_RULE + "; empty without a piece", "", also=_also("sign up date, subscribed on")
            ),
            FileColumn("bought", _day, DAY_RULE, also=_BOUGHT),
            FileColumn("amount", _money, MONEY_RULE, None, "INTEGER", ("price", "total", "paid amount", "revenue")),
            FileColumn("launch", _launch, LAUNCH_RULE, "", also=("campaign",)),
            FileColumn("named", _named, NAMED_RULE, ""),
            FileColumn("words", lambda text: without_addresses(_text(text)), WORDS_RULE, "", also=("comment",)),
            FileColumn(
                "instalments", _instalments, INSTALMENTS_RULE, 1, "INTEGER", ("installments", "number of payments")
            ),
        ),
    )
}
