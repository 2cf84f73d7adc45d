"""The ledger: one SQLite file in which nothing is ever overwritten.

Every import is one transaction and has a number. A row is never changed: a correction marks it as replaced by a later
import and adds the new one, so that the ledger of any earlier import can be read again.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from growth.earned.columns import KINDS, Batch, Kind, LedgerError
from growth.errors import Problem

FORMAT = 1
PATIENCE = 30  # seconds that a writer waits for another
_MARK = 0x47524C31  # in the header of the file: this is a ledger of ours


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import did, in rows. number is None where there was nothing to do."""

    number: int | None
    added: int = 0
    corrected: int = 0
    withdrawn: int = 0
    unchanged: int = 0


class Ledger:
    """A ledger file, opened; a context manager. `create` makes a new one where there is none.

    currency: of every amount; None takes the ledger's own (EUR for a new one). Raises LedgerError.

    >>> from growth.earned.columns import parse_csv
    >>> pieces = parse_csv("piece,published,hours,hourly_rate\\nwhen-to-quit,2026-03-02,12,60\\n", file="pieces.csv")
    >>> with Ledger(":memory:", create=True) as ledger:
    ...     first, again = ledger.record([pieces], on="2026-04-01"), ledger.record([pieces], on="2026-04-02")
    >>> first.added, again.added, again.unchanged
    (1, 0, 1)
    """

    def __init__(self, path: str | Path, *, create: bool = False, currency: str | None = None):
        self.file = str(path)
        if self.file != ":memory:" and not create and not Path(path).is_file():
            raise LedgerError(
                [Problem("", "there is no such ledger", fix="growth earned import makes one.")], file=self.file
            )
        try:
            self._base = sqlite3.connect(self.file, timeout=PATIENCE, isolation_level=None)
            with self._explained():
                self._prepare(create, currency)
        except (sqlite3.Error, LedgerError) as error:
            if hasattr(self, "_base"):
                self._base.close()
            if isinstance(error, sqlite3.Error):
                raise LedgerError([Problem("", "it cannot be opened", str(error))], file=self.file) from None
            raise

    def __enter__(self) -> Ledger:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file. Reading and writing end here."""
        self._base.close()

    def record(self, batches: Sequence[Batch], *, on: str, correct: str | None = None) -> Imported:
        """Take the rows of files in, all or none of them.

        on: the day of the import (year-month-day). correct: a month (year-month) of which the files are the whole and
        right account: its rows replace what was there, and rows of that month that the files of their kind no longer
        hold (for days: of the pieces they name) are withdrawn. A row that is there already changes nothing, so
        importing a file twice is the same as once. A row that differs from what is there is refused outside that month.
        Raises LedgerError; the ledger is then as it was.
        """
        with self._writing():
            number = self._one("SELECT coalesce(max(number), 0) + 1 FROM imports")
            counts = dict.fromkeys(("added", "corrected", "withdrawn", "unchanged"), 0)
            for batch in sorted(batches, key=lambda batch: list(KINDS).index(batch.kind.name)):
                self._take(batch, number, correct, counts)
            if not (counts["added"] or counts["corrected"] or counts["withdrawn"]):
                return Imported(None, **counts)
            files = ", ".join(Path(batch.file).name for batch in batches)
            self._base.execute("INSERT INTO imports VALUES (?, ?, ?, ?)", (number, on, files, correct))
            return Imported(number, **counts)

    def rows(self, kind: str, *, as_of: int | None = None) -> list[tuple]:
        """The rows of a kind in the order of their keys; as_of: as they stood after that import."""
        names = ", ".join(KINDS[kind].names)
        when, values = _standing(as_of)
        order = ", ".join(KINDS[kind].key)
        with self._explained():
            return self._base.execute(f"SELECT {names} FROM {kind} WHERE {when} ORDER BY {order}", values).fetchall()

    def history(self) -> list[tuple[int, str, str, str | None]]:
        """The imports: number, day, files, month that was corrected."""
        with self._explained():
            return self._base.execute("SELECT number, day, files, correct FROM imports ORDER BY number").fetchall()

    def select(self, question: str, values: Sequence = ()) -> list[tuple]:
        """Rows of one SELECT over the tables pieces, days and buyers; what stands now has `replaced IS NULL`."""
        with self._explained():
            return self._base.execute(question, tuple(values)).fetchall()

    @property
    def currency(self) -> str:
        """The currency of every amount, as its three letters."""
        return self._one("SELECT currency FROM about")

    def _take(self, batch: Batch, number: int, correct: str | None, counts: dict[str, int]) -> None:
        kind, table = batch.kind, batch.kind.name
        names, key = ", ".join(kind.names), " AND ".join(f"{name} = ?" for name in kind.key)
        find = f"SELECT id, {names} FROM {table} WHERE replaced IS NULL AND {key}"
        insert = f"INSERT INTO {table} ({names}, import) VALUES ({', '.join('?' * (len(kind.names) + 1))})"
        places = [kind.place(name) for name in kind.key]
        day, known = (
            kind.place(kind.day),
            {row[0] for row in self.select("SELECT piece FROM pieces WHERE replaced IS NULL")},
        )
        problems, kept, pieces = [], set(), set()
        for row, line in zip(batch.rows, batch.lines, strict=True):
            if table != "pieces":
                problems += _unknown(kind, row, known, line)
            if "piece" in kind.names:
                pieces.add(row[kind.place("piece")])
            kept.add(tuple(row[place] for place in places))
            there = self._base.execute(find, [row[place] for place in places]).fetchone()
            if there and there[1:] == row:
                counts["unchanged"] += 1
                continue
            if there:
                if row[day][:7] != correct:
                    problems.append(_differs(kind, there[1:], row, line))
                    continue
                self._replace(table, there[0], number)
            self._base.execute(insert, (*row, number))
            counts["corrected" if there else "added"] += 1
        if problems:
            raise LedgerError(problems[:20], file=batch.file)
        if correct and table != "pieces":
            counts["withdrawn"] += self._withdraw(kind, correct, kept, pieces, number)

    def _withdraw(self, kind: Kind, month: str, kept: set, pieces: set, number: int) -> int:
        keys = ", ".join(kind.key)
        question = (
            f"SELECT id, piece, {keys} FROM {kind.name} WHERE replaced IS NULL AND {kind.day} >= ? AND {kind.day} < ?"
        )
        gone = [
            row[0]
            for row in self.select(question, (month, month + "-99"))
            if row[2:] not in kept and (kind.name != "days" or row[1] in pieces)
        ]
        for one in gone:
            self._replace(kind.name, one, number)
        return len(gone)

    def _replace(self, table: str, row: int, number: int) -> None:
        self._base.execute(f"UPDATE {table} SET replaced = ? WHERE id = ?", (number, row))

    def _prepare(self, create: bool, currency: str | None) -> None:
        self._base.execute("PRAGMA busy_timeout = 30000")
        mark = self._one("PRAGMA application_id")
        empty = not self._one("SELECT count(*) FROM sqlite_master")
        if not empty and mark != _MARK:
            raise LedgerError([Problem("", "a ledger", "another kind of database", "Name a new file.")], file=self.file)
        if empty and create:
            if self.file != ":memory:":
                self._base.execute("PRAGMA journal_mode = WAL")
            with self._writing():
                if not self._one("SELECT count(*) FROM sqlite_master"):  # another process may have been quicker
                    for statement in _schema(currency or "EUR"):
                        self._base.execute(statement)
        elif empty:
            raise LedgerError(
                [Problem("", "a ledger", "an empty file", "growth earned import makes one.")], file=self.file
            )
        self._base.execute("PRAGMA synchronous = FULL")
        if currency and currency != self.currency:
            raise LedgerError(
                [Problem("currency", f"the ledger's own, {self.currency}", currency, "Keep one ledger a currency.")],
                file=self.file,
            )

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One transaction: the lock is taken first, so that two writers come one after the other and lose nothing."""
        with self._explained():
            self._base.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self._base.execute("ROLLBACK")
                raise
            self._base.execute("COMMIT")

    @contextmanager
    def _explained(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise LedgerError(
                [Problem("", "the ledger cannot be used", str(error), "Nothing was changed.")], file=self.file
            ) from None

    def _one(self, question: str) -> object:
        return self._base.execute(question).fetchone()[0]


def _schema(currency: str) -> list[str]:
    statements = [
        f"PRAGMA application_id = {_MARK}",
        f"PRAGMA user_version = {FORMAT}",
        "CREATE TABLE about (currency TEXT NOT NULL)",
        f"INSERT INTO about VALUES ('{currency}')" if currency.isalpha() and len(currency) == 3 else "",
        "CREATE TABLE imports (number INTEGER PRIMARY KEY, day TEXT NOT NULL, files TEXT NOT NULL, correct TEXT)",
    ]
    if not statements[3]:
        raise LedgerError([Problem("currency", "three letters, such as EUR", currency)])
    for kind in KINDS.values():
        columns = ", ".join(f"{column.name} {column.kind} NOT NULL" for column in kind.columns)
        statements += [
            f"CREATE TABLE {kind.name} (id INTEGER PRIMARY KEY, {columns}, import INTEGER NOT NULL, replaced INTEGER)",
            f"CREATE UNIQUE INDEX {kind.name}_now ON {kind.name} ({', '.join(kind.key)}) WHERE replaced IS NULL",
        ]
    return statements


def _standing(as_of: int | None) -> tuple[str, tuple]:
    if as_of is None:
        return "replaced IS NULL", ()
    return "import <= ? AND (replaced IS NULL OR replaced > ?)", (as_of, as_of)


def _unknown(kind: Kind, row: tuple, known: set[str], line: int) -> list[Problem]:
    named = row[kind.place("named")].split(";") if "named" in kind.names else []
    wanted = [("piece", row[kind.place("piece")]), *(("named", name) for name in named)]
    return [
        Problem(field, "a piece of the ledger", name, "Import it with the pieces first.", line)
        for field, name in wanted
        if name and name not in known
    ]


def _differs(kind: Kind, there: tuple, row: tuple, line: int) -> Problem:
    name, before, after = next((name, a, b) for name, a, b in zip(kind.names, there, row, strict=True) if a != b)
    month = row[kind.place(kind.day)][:7]
    return Problem(
        name,
        f"what the ledger holds already, {before}",
        str(after),
        f"To correct that month, add --correct {month}.",
        line,
    )
