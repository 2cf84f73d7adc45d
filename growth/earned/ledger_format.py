"""What a ledger holds: three kinds of rows with a rule for each value, and the tables of its SQLite file.

    pieces   what was published, and what it cost to make
    days     what each piece brought on each day
    buyers   who paid, when, how much, and which pieces they say brought them

A file's columns tell its kind. A buyer's code may be an e-mail address, so the ledger never stores it: it stores a
keyed hash (BLAKE2b), which tells buyers apart and matches the same buyer in a later file. The key is drawn for each
ledger and stored in it. Whoever has the whole file can therefore test whether a known address is in it: keep the ledger
as private as the files behind it. An address in a buyer's words is blacked out, and the name of a launch may hold none.
"""

from __future__ import annotations

import datetime
import os
import re
import secrets
import sqlite3
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from hashlib import blake2b
from pathlib import Path

from growth.errors import GrowthError, Problem
from growth.files import current_umask, scratch

FORMAT = 2
MARK = 0x47524C31  # in the header of the file: this is a ledger of ours
LONGEST_TEXT = 2_000
THOUSANDTHS = 1_000  # money is stored as whole thousandths, so that sums are exact in every currency
_PSEUDONYM = re.compile(r"buyer-[0-9a-f]{16}")
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

    read: from the text of a cell to its value; ValueError where the text breaks the rule. rule: as an error message
    says it. empty: the value of an empty cell; None where a cell may not be empty. also: other headings, in small
    letters, that are taken for this column after a yes.
    """

    name: str
    read: Callable[[str], Value]
    rule: str
    empty: Value | None = None
    also: str = ""

    @property
    def is_money(self) -> bool:
        """Whether the values are amounts in thousandths."""
        return self.read is _money

    @property
    def sql(self) -> str:
        """The type of the table's column."""
        return {_hours: "REAL", _money: "INTEGER", _count: "INTEGER", _instalments: "INTEGER"}.get(self.read, "TEXT")


@dataclass(frozen=True)
class FileKind:
    """One kind of file and its table. key: the columns that tell rows apart; day: the column that dates a row."""

    name: str
    key: tuple[str, ...]
    day: str
    columns: tuple[FileColumn, ...]

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The names of the columns, in their order."""
        return tuple(column.name for column in self.columns)

    @property
    def needed(self) -> set[str]:
        """The columns that a file must have."""
        return {column.name for column in self.columns if column.empty is None}

    def of(self, row: Row, *names: str) -> Row:
        """The values of a row in these columns."""
        return tuple(row[self.names.index(name)] for name in names)

    def month(self, row: Row) -> str:
        """The month that a row is dated in, year-month."""
        return str(*self.of(row, self.day))[:7]


@dataclass(frozen=True, slots=True, eq=False)
class FileRows:
    """The validated rows of one file, with the line that each stands on. given: the columns it has; empty: all."""

    kind: FileKind
    rows: Sequence[Row]
    lines: Sequence[int]
    file: str
    given: frozenset[str] = frozenset()


_SLUG = "lower-case letters, digits and hyphens, at most 60, as in the giveaway's name"
_DAY = "a day as year-month-day, such as 2026-03-09"
_MONEY = "an amount such as 1200 or 99.50, with a decimal point and no currency sign"
_WHOLE = "a whole number"
_LONGEST = f"at most {LONGEST_TEXT:,} characters"
_ALSO_PIECE = "post, page, article, giveaway, slug, source, landing page"
_ALSO_BUYER = "customer, client, customer id, client id, buyer id, email, e mail"
_ALSO_SIGN_UPS = "signups, subscribers, new subscribers, subscribed, opt ins, leads"
_ALSO_BOUGHT = "date, paid, paid on, order date, payment date, purchased"
_ALSO_PUBLISHED = "publication date, published on, date published"
_LAUNCH = "the name of the launch the sale belongs to, if any; no e-mail address"
_NAMED = "pieces that the buyer names, in the buyer's order, separated by ;"
_INSTALMENTS = "how many payments like this one were agreed, 1 to 120; empty for a single payment"

_PIECES = (
    FileColumn("piece", _piece, _SLUG, also=_ALSO_PIECE),
    FileColumn("title", _text, f"a text of {_LONGEST}", "", "headline"),
    FileColumn("published", _day, _DAY, also=_ALSO_PUBLISHED),
    FileColumn("hours", _hours, "hours of work such as 14 or 7.5", 0.0, "hours of work"),
    FileColumn("hourly_rate", _money, _MONEY, 0, "rate, rate an hour"),
    FileColumn("other_cost", _money, _MONEY, 0, "cost, costs, spent, money spent"),
)
_DAYS = (
    FileColumn("piece", _piece, _SLUG, also=_ALSO_PIECE),
    FileColumn("day", _day, _DAY, also="date"),
    FileColumn("views", _count, _WHOLE, 0, "page views, visits, visitors"),
    FileColumn("shares", _count, _WHOLE, 0, "shared"),
    FileColumn("sign_ups", _count, _WHOLE, 0, _ALSO_SIGN_UPS),
)
_BUYERS = (
    FileColumn("buyer", _text, f"a code of your own for the buyer, {_LONGEST}", also=_ALSO_BUYER),
    FileColumn("piece", _piece, f"{_SLUG}; empty where the buyer signed up elsewhere", "", _ALSO_PIECE),
    FileColumn("signed_up", _day, f"{_DAY}; empty without a piece", "", "sign up date, subscribed on"),
    FileColumn("bought", _day, _DAY, also=_ALSO_BOUGHT),
    FileColumn("amount", _money, _MONEY, also="price, total, paid amount, revenue"),
    FileColumn("launch", _launch, _LAUNCH, "", "campaign"),
    FileColumn("named", _named, _NAMED, ""),
    FileColumn(
        "words", lambda text: without_addresses(_text(text)), f"the buyer's own words, {_LONGEST}", "", "comment"
    ),
    FileColumn("instalments", _instalments, _INSTALMENTS, 1, "installments, number of payments"),
)
KINDS = {
    "pieces": FileKind("pieces", ("piece",), "published", _PIECES),
    "days": FileKind("days", ("piece", "day"), "day", _DAYS),
    "buyers": FileKind("buyers", ("buyer", "bought"), "bought", _BUYERS),
}


def pseudonym(code: str, key: bytes) -> str:
    """The ledger's pseudonym for a buyer's code. A pseudonym, as exports contain, is returned unchanged.

    E-mail addresses that differ only in capitals are one buyer. Any two of n buyers collide with a probability of
    n^2 / 2^65.

    >>> pseudonym("ann@example.org", b"key") == pseudonym("Ann@example.org", b"key") != pseudonym("b7", b"key")
    True
    >>> pseudonym("buyer-0123456789abcdef", b"key")
    'buyer-0123456789abcdef'
    """
    if _PSEUDONYM.fullmatch(code):
        return code
    plain = code.casefold() if "@" in code else code
    return f"buyer-{blake2b(plain.encode(), key=key, digest_size=8).hexdigest()}"


def checked_currency(code: str) -> str:
    """A currency code in capitals. Raises LedgerError for anything but three letters.

    >>> checked_currency("gbp")
    'GBP'
    """
    if not re.fullmatch(r"[A-Za-z]{3}", code):
        raise LedgerError([Problem("currency", "three letters, such as EUR", code or "nothing")])
    return code.upper()


def make_ledger(path: Path, currency: str) -> None:
    """Make an empty ledger, whole or not at all; do nothing if another process was quicker.

    SQLite removes files called like the ledger with -wal, -shm or -journal behind it when it makes a new database. Such
    a file may be the user's, so LedgerError is raised where one is there.
    """
    beside = [Path(f"{path}{end}") for end in ("-wal", "-shm", "-journal")]
    taken = next((one for one in beside if os.path.lexists(one)), None)
    if os.path.lexists(path):  # looked at second: a ledger's own such files come after it
        return
    if taken:
        rule, fix = f"a ledger of this name uses {taken.name}, which is there already", "Choose another name."
        raise LedgerError([Problem("", rule, fix=fix)], file=str(path))
    with scratch(path.parent) as folder:
        draft = folder / "ledger"
        with closing(sqlite3.connect(draft, isolation_level=None)) as base:
            base.execute("PRAGMA journal_mode = WAL")
            create_tables(base, currency)
        os.chmod(draft, 0o666 & ~current_umask())
        try:
            os.link(draft, path)  # unlike a rename it replaces nothing
        except FileExistsError:
            return
        except OSError:  # a disk without links
            os.rename(draft, path)


def create_tables(base: sqlite3.Connection, currency: str) -> None:
    """Make the tables of an empty ledger, within a transaction that is open."""
    base.execute(f"PRAGMA application_id = {MARK}")
    base.execute(f"PRAGMA user_version = {FORMAT}")
    base.execute("CREATE TABLE about (currency TEXT NOT NULL, key BLOB NOT NULL)")
    base.execute("INSERT INTO about VALUES (?, ?)", (checked_currency(currency), secrets.token_bytes(32)))
    base.execute(
        "CREATE TABLE imports (number INTEGER PRIMARY KEY, day TEXT NOT NULL, files TEXT NOT NULL, correct TEXT)"
    )
    for kind in KINDS.values():
        columns = ", ".join(f"{column.name} {column.sql} NOT NULL" for column in kind.columns)
        base.execute(
            f"CREATE TABLE {kind.name} (id INTEGER PRIMARY KEY, {columns}, import INTEGER NOT NULL, replaced INTEGER)"
        )
        keys = ", ".join(kind.key)
        base.execute(f"CREATE UNIQUE INDEX {kind.name}_now ON {kind.name} ({keys}) WHERE replaced IS NULL")


def upgrade(base: sqlite3.Connection) -> None:
    """Upgrade a ledger of format 1, which stored buyers' codes as they came, to format 2.

    One transaction; the old codes are overwritten on the disk too.
    """
    base.execute("PRAGMA secure_delete = ON")
    with base:
        base.execute("BEGIN IMMEDIATE")
        if base.execute("PRAGMA user_version").fetchone()[0] == 1:  # another process may have been quicker
            key = secrets.token_bytes(32)
            base.execute("ALTER TABLE about ADD COLUMN key BLOB")
            base.execute("UPDATE about SET key = ?", (key,))
            base.execute("ALTER TABLE buyers ADD COLUMN instalments INTEGER NOT NULL DEFAULT 1")
            for row, code in base.execute("SELECT id, buyer FROM buyers").fetchall():
                try:
                    base.execute("UPDATE buyers SET buyer = ? WHERE id = ?", (pseudonym(code, key), row))
                except sqlite3.IntegrityError:  # two spellings of one address that bought on one day stay two rows
                    base.execute("UPDATE buyers SET buyer = ? WHERE id = ?", (pseudonym(f"{row} {code}", key), row))
            base.execute(f"PRAGMA user_version = {FORMAT}")
    base.execute("VACUUM")
    base.execute("PRAGMA wal_checkpoint(TRUNCATE)")
