"""The ledger's tables, the pseudonyms of its buyers, and rows put together from several files.

A buyer's code may be an e-mail address, so the ledger never stores it: it stores a keyed hash (BLAKE2b), which tells
buyers apart and matches the same buyer in a later file. The key is drawn for each ledger and stored in it. Whoever has
the whole file can therefore test whether a known address is in it: keep the ledger as private as the files behind it.
"""

from __future__ import annotations

import os
import re
import secrets
import sqlite3
from contextlib import closing, suppress
from hashlib import blake2b
from pathlib import Path

from growth.earned.ledger_files import KINDS, THOUSANDTHS, FileKind, LedgerError, Row
from growth.errors import Problem
from growth.files import current_umask, held_file

FORMAT = 2
MARK = 0x47524C31  # in the header of the file: this is a ledger of ours
_PSEUDONYM = re.compile(r"buyer-[0-9a-f]{16}")


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
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as base:
        create_tables(base, currency)
        content = bytearray(base.serialize())
    content[18:20] = b"\x02\x02"  # the header's word for a write-ahead log: https://www.sqlite.org/fileformat2.html
    name, stream = held_file(path.parent, f".{path.name[:80]}.growth-")
    try:
        with stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
            os.chmod(name, 0o666 & ~current_umask())
            try:
                os.link(name, path)  # unlike a rename it replaces nothing
            except FileExistsError:
                return
            except OSError:  # a disk without links
                os.rename(name, path)
    finally:
        with suppress(OSError):
            os.unlink(name)


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
    base.execute("BEGIN IMMEDIATE")
    try:
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
    except BaseException:
        base.execute("ROLLBACK")
        raise
    base.execute("COMMIT")
    base.execute("VACUUM")
    base.execute("PRAGMA wal_checkpoint(TRUNCATE)")


_IN_PARTS = ("pieces", "days")  # a buyer's row comes whole: who bought what is not put together from two files


def merged(kind: FileKind, there: Row, row: Row, given: frozenset[str]) -> Row:
    """Complete a file's row with the ledger's values for columns that the file does not have.

    >>> from growth.earned.ledger_files import KINDS
    >>> sign_ups = ("a-piece", "2026-03-02", 0, 0, 9)
    >>> merged(KINDS["days"], ("a-piece", "2026-03-02", 310, 0, 0), sign_ups, frozenset({"piece", "day", "sign_ups"}))
    ('a-piece', '2026-03-02', 310, 0, 9)
    """
    if kind.name not in _IN_PARTS:
        return row
    return tuple(
        new if column.name in given else old for column, old, new in zip(kind.columns, there, row, strict=True)
    )


def completes(kind: FileKind, there: Row, row: Row) -> bool:
    """Whether a row only fills in values that are empty or 0 in the ledger.

    >>> from growth.earned.ledger_files import KINDS
    >>> there = ("a-piece", "2026-03-02", 310, 0, 0)
    >>> completes(KINDS["days"], there, ("a-piece", "2026-03-02", 310, 0, 9))
    True
    >>> completes(KINDS["days"], there, ("a-piece", "2026-03-02", 311, 0, 9))
    False
    """
    return kind.name in _IN_PARTS and all(
        old == new or (column.empty is not None and old == column.empty)
        for column, old, new in zip(kind.columns, there, row, strict=True)
    )


def contradiction(kind: FileKind, there: Row, row: Row, line: int) -> Problem:
    """The problem with a row that contradicts the ledger."""
    column, before, after = next(
        (column, a, b) for column, a, b in zip(kind.columns, there, row, strict=True) if a != b
    )
    if column.is_money:
        before, after = (f"{float(value) / THOUSANDTHS:g}" for value in (before, after))
    rule = f"what the ledger holds already, {before}"
    month = str(row[kind.place(kind.day)])[:7]
    return Problem(column.name, rule, str(after), f"To correct that month, add --correct {month}.", line)
