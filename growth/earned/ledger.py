"""The ledger: one SQLite file in which no row is ever overwritten.

Each import is one numbered transaction. A correction marks a row as replaced by that import and adds a new one, so the
ledger can be read as it stood after any earlier import.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from growth.earned import ledger_format
from growth.earned.ledger_files import KINDS, FileKind, FileRows, LedgerError, Row
from growth.errors import Problem

PATIENCE = 30  # seconds that a writer waits for another


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import did, in rows. number: None if there was nothing to do."""

    number: int | None
    added: int = 0
    corrected: int = 0
    withdrawn: int = 0
    unchanged: int = 0
    completed: int = 0


class Ledger:
    """A ledger file, opened; a context manager.

    Parameters
    ----------
    path : the file; ":memory:" for a ledger that lasts as long as the object.
    create : make a new ledger where there is none.
    currency : the currency of every amount, as three letters. None: the ledger's own, EUR for a new one.

    Raises
    ------
    LedgerError
        The file is missing, is no ledger, was written by a later version, or holds another currency.

    Examples
    --------
    >>> from growth.earned.ledger_csv import parse_csv
    >>> pieces = parse_csv("piece,published,hours,hourly_rate\\nwhen-to-quit,2026-03-02,12,60\\n", file="pieces.csv")
    >>> with Ledger(":memory:", create=True) as ledger:
    ...     first, again = ledger.record([pieces], on="2026-04-01"), ledger.record([pieces], on="2026-04-02")
    >>> first.added, again.added, again.unchanged
    (1, 0, 1)
    """

    def __init__(self, path: str | Path, *, create: bool = False, currency: str | None = None):
        self.file = str(path)
        currency = ledger_format.checked_currency(currency) if currency is not None else None
        if not self.file.strip():
            raise self._refused("the name of a file", "an empty name", "")
        place = self.file if self.file == ":memory:" else self._place(create, currency)
        try:
            self._base = sqlite3.connect(place, timeout=PATIENCE, isolation_level=None, uri=place != ":memory:")
            with self._explained():
                self._prepare(currency)
                self._key: bytes = self._one("SELECT key FROM about")
        except (sqlite3.Error, LedgerError) as error:
            if hasattr(self, "_base"):
                self._base.close()
            if isinstance(error, sqlite3.Error):
                raise self._refused("it cannot be opened", str(error), "") from None
            raise

    def __enter__(self) -> Ledger:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file. Reading and writing end here."""
        self._base.close()

    def record(self, batches: Sequence[FileRows], *, on: str, correct: str | None = None) -> Imported:
        """Record the rows of files, all of them or none.

        A row that is there already changes nothing, so importing a file twice is the same as once. A file of pieces or
        days may have some of the columns only: the ledger keeps what it has for the others, and a row that fills in
        what is empty or 0 completes it. A row that contradicts the ledger is refused, unless it belongs to the month
        being corrected.

        Parameters
        ----------
        batches : the files' rows.
        on : the day of the import, year-month-day.
        correct : a month, year-month, of which the files are the whole and right account. Their rows replace what was
            there; rows of that month that they no longer hold (for days: of the pieces in the file) are withdrawn.

        Returns
        -------
        Imported
            The number of the import, and rows added, corrected, withdrawn, completed and unchanged.

        Raises
        ------
        LedgerError
            A piece is unknown, or a row contradicts the ledger; nothing was taken in.
        """
        with self._writing():
            number = self._one("SELECT coalesce(max(number), 0) + 1 FROM imports")
            counts = dict.fromkeys(("added", "corrected", "withdrawn", "unchanged", "completed"), 0)
            held: dict[str, set[Row]] = {}
            pieces: set[Any] = set()
            for batch in sorted(batches, key=lambda batch: list(KINDS).index(batch.kind.name)):
                kept = held.setdefault(batch.kind.name, set())
                self._take(batch, number, correct, counts, kept, pieces)
            for name in set(held) - {"pieces"} if correct else ():
                counts["withdrawn"] += self._withdraw(KINDS[name], str(correct), held[name], pieces, number)
            if not any(count for name, count in counts.items() if name != "unchanged"):
                return Imported(None, **counts)
            files = ", ".join(Path(batch.file).name for batch in batches)
            self._base.execute("INSERT INTO imports VALUES (?, ?, ?, ?)", (number, on, files, correct))
            return Imported(number, **counts)

    def rows(self, kind: str, *, as_of: int | None = None) -> list[Row]:
        """The rows of "pieces", "days" or "buyers", ordered by key; as_of: as they stood after that import."""
        names = ", ".join(KINDS[kind].names)
        when, values = _standing(as_of)
        order = ", ".join(KINDS[kind].key)
        with self._explained():
            return self._base.execute(f"SELECT {names} FROM {kind} WHERE {when} ORDER BY {order}", values).fetchall()

    def history(self) -> list[tuple[int, str, str, str | None]]:
        """The imports: number, day, files, and the month that was corrected or None."""
        with self._explained():
            return self._base.execute("SELECT number, day, files, correct FROM imports ORDER BY number").fetchall()

    def select(self, question: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """The rows of one SELECT over pieces, days and buyers; rows that stand now have `replaced IS NULL`."""
        with self._explained():
            return self._base.execute(question, tuple(values)).fetchall()

    @property
    def currency(self) -> str:
        """The currency of every amount, as three letters."""
        return str(self._one("SELECT currency FROM about"))

    def _take(
        self,
        batch: FileRows,
        number: int,
        correct: str | None,
        counts: dict[str, int],
        kept: set[Row],
        pieces: set[Any],
    ) -> None:
        """Record one file. Its keys are added to `kept` and, for days, its pieces to `pieces`."""
        kind, table = batch.kind, batch.kind.name
        names, key = ", ".join(kind.names), " AND ".join(f"{name} = ?" for name in kind.key)
        find = f"SELECT id, {names} FROM {table} WHERE replaced IS NULL AND {key}"
        insert = f"INSERT INTO {table} ({names}, import) VALUES ({', '.join('?' * (len(kind.names) + 1))})"
        places = [kind.place(name) for name in kind.key]
        day, known = (
            kind.place(kind.day),
            {row[0] for row in self.select("SELECT piece FROM pieces WHERE replaced IS NULL")},
        )
        problems: list[Problem] = []
        for row, line in zip(batch.rows, batch.lines, strict=True):
            if table == "buyers":
                row = (ledger_format.pseudonym(str(row[0]), self._key), *row[1:])
            if table != "pieces":
                problems += _unknown(kind, row, known, line)
            if table == "days":
                pieces.add(row[kind.place("piece")])
            kept.add(tuple(row[place] for place in places))
            there = self._base.execute(find, [row[place] for place in places]).fetchone()
            if there:
                row = ledger_format.merged(kind, there[1:], row, batch.given or frozenset(kind.names))
                if there[1:] == row:
                    counts["unchanged"] += 1
                    continue
                completing = ledger_format.completes(kind, there[1:], row)
                if not completing and str(row[day])[:7] != correct:
                    problems.append(ledger_format.contradiction(kind, there[1:], row, line))
                    continue
                self._replace(table, there[0], number)
            self._base.execute(insert, (*row, number))
            counts["added" if not there else "completed" if completing else "corrected"] += 1
        if problems:
            raise LedgerError(problems[:20], file=batch.file)

    def _withdraw(self, kind: FileKind, month: str, kept: set[Row], pieces: set[Any], number: int) -> int:
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

    def _place(self, create: bool, currency: str | None) -> str:
        """The ledger's file, made if need be, as an address that SQLite neither takes for options nor makes a file of.

        Given a bare name, it would take `file:x?mode=memory` for a database in memory.
        """
        place = Path(os.path.realpath(self.file))
        try:
            if place.exists():
                if not place.is_file():
                    raise self._refused("a ledger", "a folder, a pipe or a device", "Name a file.")
                if not place.stat().st_size:
                    raise self._refused("a ledger", "an empty file", "Choose another name, or remove it.")
            elif not create:
                raise self._refused("there is no such ledger", "", "growth earned import makes one.")
            else:
                ledger_format.make_ledger(place, currency or "EUR")
        except (OSError, ValueError, sqlite3.Error) as error:
            said = getattr(error, "strerror", None) or str(error)
            raise self._refused("it cannot be opened", said, "") from None
        return f"{place.as_uri()}?mode=rw"

    def _prepare(self, currency: str | None) -> None:
        self._base.execute("PRAGMA busy_timeout = 30000")
        mark, version = self._one("PRAGMA application_id"), self._one("PRAGMA user_version")
        if self.file == ":memory:":
            ledger_format.create_tables(self._base, currency or "EUR")
        elif mark != ledger_format.MARK:
            raise self._refused("a ledger", "another kind of database", "Name a new file.")
        elif version > ledger_format.FORMAT:
            raise self._refused(
                f"a ledger of format {ledger_format.FORMAT} or lower", str(version), "A later version wrote it."
            )
        elif version == 1:
            ledger_format.upgrade(self._base)
        self._base.execute("PRAGMA synchronous = FULL")
        if currency and currency != self.currency:
            problem = Problem("currency", f"the ledger's own, {self.currency}", currency, "Keep one ledger a currency.")
            raise LedgerError([problem], file=self.file)

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
            raise self._refused("the ledger cannot be used", str(error), "Nothing was changed.") from None

    def _one(self, question: str) -> Any:
        return self._base.execute(question).fetchone()[0]

    def _refused(self, rule: str, found: str, fix: str) -> LedgerError:
        return LedgerError([Problem("", rule, found, fix)], file=self.file)


def _standing(as_of: int | None) -> tuple[str, tuple[int, ...]]:
    if as_of is None:
        return "replaced IS NULL", ()
    return "import <= ? AND (replaced IS NULL OR replaced > ?)", (as_of, as_of)


def _unknown(kind: FileKind, row: Row, known: set[Any], line: int) -> list[Problem]:
    named = str(row[kind.place("named")]).split(";") if "named" in kind.names else []
    wanted = [("piece", str(row[kind.place("piece")])), *(("named", name) for name in named)]
    return [
        Problem(field, "a piece of the ledger", name, "Import it with the pieces first.", line)
        for field, name in wanted
        if name and name not in known
    ]
