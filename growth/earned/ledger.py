"""The ledger: one SQLite file in which no row is ever overwritten.

Each import is one numbered transaction. A correction marks a row as replaced by that import and adds a new one, so the
ledger can be read as it stood after any earlier import.
"""

from __future__ import annotations

import os
import sqlite3
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from growth.earned import ledger_format
from growth.earned.ledger_format import KINDS, THOUSANDTHS, FileKind, FileRows, LedgerError, Row, Value
from growth.errors import Problem

_IN_PARTS = ("pieces", "days")  # a buyer's row comes whole: who bought what is not put together from two files
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
        with self._explained(), self._base:
            self._base.execute("BEGIN IMMEDIATE")  # so that two writers come one after the other and lose nothing
            number = self._one("SELECT coalesce(max(number), 0) + 1 FROM imports")
            counts: Counter[str] = Counter()
            for batch in sorted(batches, key=lambda batch: list(KINDS).index(batch.kind.name)):
                self._take(batch, number, correct, counts)
            if correct:
                self._withdraw(batches, correct, number, counts)
            if not counts.keys() - {"unchanged"}:
                return Imported(None, **counts)
            files = ", ".join(Path(batch.file).name for batch in batches)
            self._base.execute("INSERT INTO imports VALUES (?, ?, ?, ?)", (number, on, files, correct))
            return Imported(number, **counts)

    def rows(self, kind: str, *, as_of: int | None = None) -> list[Row]:
        """The rows of "pieces", "days" or "buyers", ordered by key; as_of: as they stood after that import."""
        names, order = ", ".join(KINDS[kind].names), ", ".join(KINDS[kind].key)
        when = "replaced IS NULL" if as_of is None else "import <= ? AND (replaced IS NULL OR replaced > ?)"
        values = () if as_of is None else (as_of, as_of)
        return self.select(f"SELECT {names} FROM {kind} WHERE {when} ORDER BY {order}", values)

    def history(self) -> list[tuple[int, str, str, str | None]]:
        """The imports: number, day, files, and the month that was corrected or None."""
        return self.select("SELECT number, day, files, correct FROM imports ORDER BY number")

    def select(self, question: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """The rows of one SELECT; in pieces, days and buyers, rows that stand now have `replaced IS NULL`."""
        with self._explained():
            return self._base.execute(question, tuple(values)).fetchall()

    @property
    def currency(self) -> str:
        """The currency of every amount, as three letters."""
        return str(self._one("SELECT currency FROM about"))

    def _take(self, batch: FileRows, number: int, correct: str | None, counts: Counter[str]) -> None:
        """Record one file and count what was done."""
        kind, table = batch.kind, batch.kind.name
        names, key = ", ".join(kind.names), " AND ".join(f"{name} = ?" for name in kind.key)
        find = f"SELECT {names}, id FROM {table} WHERE replaced IS NULL AND {key}"
        insert = f"INSERT INTO {table} ({names}, import) VALUES ({', '.join('?' * (len(kind.names) + 1))})"
        known = {piece for (piece,) in self.select("SELECT piece FROM pieces WHERE replaced IS NULL")}
        problems: list[Problem] = []
        for row, line in zip(self._rows(batch), batch.lines, strict=True):
            if table != "pieces":
                problems += _unknown(kind, row, known, line)
            there = self._base.execute(find, kind.of(row, *kind.key)).fetchone()
            done = "added"
            if there:
                *before, replaced = there
                row = _merged(batch, before, row)
                if row == tuple(before):
                    counts["unchanged"] += 1
                    continue
                done = "completed" if _completes(kind, before, row) else "corrected"
                if done == "corrected" and kind.month(row) != correct:
                    problems.append(_contradiction(kind, before, row, line))
                    continue
                self._replace(table, replaced, number)
            self._base.execute(insert, (*row, number))
            counts[done] += 1
        if problems:
            raise LedgerError(problems[:20], file=batch.file)

    def _withdraw(self, batches: Sequence[FileRows], month: str, number: int, counts: Counter[str]) -> None:
        """Mark the rows of a month that the files no longer hold as replaced; of days, those of the files' pieces."""
        for name in {batch.kind.name for batch in batches} - {"pieces"}:
            kind = KINDS[name]
            rows = [row for batch in batches if batch.kind is kind for row in self._rows(batch)]
            kept, pieces = {kind.of(row, *kind.key) for row in rows}, {kind.of(row, "piece") for row in rows}
            question = (
                f"SELECT id, piece, {', '.join(kind.key)} FROM {name} "
                f"WHERE replaced IS NULL AND {kind.day} >= ? AND {kind.day} < ?"
            )
            for one, piece, *key in self.select(question, (month, month + "-99")):
                if tuple(key) not in kept and (name != "days" or (piece,) in pieces):
                    self._replace(name, one, number)
                    counts["withdrawn"] += 1

    def _rows(self, batch: FileRows) -> Iterable[Row]:
        """The rows of a file, with buyers by their pseudonyms."""
        if batch.kind.name != "buyers":
            return batch.rows
        return [(ledger_format.pseudonym(str(code), self._key), *rest) for code, *rest in batch.rows]

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
    def _explained(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise self._refused("the ledger cannot be used", str(error), "Nothing was changed.") from None

    def _one(self, question: str) -> Any:
        return self._base.execute(question).fetchone()[0]

    def _refused(self, rule: str, found: str, fix: str) -> LedgerError:
        return LedgerError([Problem("", rule, found, fix)], file=self.file)


def _unknown(kind: FileKind, row: Row, known: set[Any], line: int) -> list[Problem]:
    """A problem for each piece of a row that the ledger does not have."""
    wanted = [("piece", *kind.of(row, "piece"))]
    if "named" in kind.names:
        wanted += [("named", name) for name in str(*kind.of(row, "named")).split(";")]
    return [
        Problem(str(field), "a piece of the ledger", str(name), "Import it with the pieces first.", line)
        for field, name in wanted
        if name and name not in known
    ]


def _merged(batch: FileRows, there: Sequence[Value], row: Row) -> Row:
    """A file's row, with the ledger's values for columns that the file does not have."""
    if batch.kind.name not in _IN_PARTS or not batch.given:
        return row
    columns = zip(batch.kind.names, there, row, strict=True)
    return tuple(new if name in batch.given else old for name, old, new in columns)


def _completes(kind: FileKind, there: Sequence[Value], row: Row) -> bool:
    """Whether a row only fills in values that are empty or 0 in the ledger."""
    columns = zip(kind.columns, there, row, strict=True)
    return kind.name in _IN_PARTS and all(old in (new, column.empty) for column, old, new in columns)


def _contradiction(kind: FileKind, there: Sequence[Value], row: Row, line: int) -> Problem:
    columns = zip(kind.columns, there, row, strict=True)
    column, before, after = next((column, old, new) for column, old, new in columns if old != new)
    if column.is_money:
        before, after = (f"{float(value) / THOUSANDTHS:g}" for value in (before, after))
    fix = f"To correct that month, add --correct {kind.month(row)}."
    return Problem(column.name, f"what the ledger holds already, {before}", str(after), fix, line)
