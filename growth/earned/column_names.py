"""Files whose columns have the user's own names: guessed, shown for a yes, and remembered in a columns file.

A columns file is YAML. For each kind of file it says what our columns are called in the user's:

    days: {piece: Post, day: Date, sign_ups: New subscribers}
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from growth.earned.ledger_csv import header_of, read_text
from growth.earned.ledger_format import KINDS, FileColumn, FileKind, LedgerError
from growth.errors import Problem

LARGEST = 100_000  # bytes of a columns file

Names = dict[str, dict[str, str]]  # kind -> our column -> theirs


@dataclass(frozen=True, slots=True)
class Guess:
    """How a file would be read: its kind, our column -> its heading, and the headings that are ignored."""

    kind: str
    columns: dict[str, str]
    unread: tuple[str, ...]

    def __str__(self) -> str:
        pairs = ", ".join(f"{ours} from “{theirs}”" for ours, theirs in self.columns.items())
        rest = f"; not read: {', '.join(self.unread)}" if self.unread else ""
        return f"{self.kind}: {pairs}{rest}"


def is_ours(header: Sequence[str]) -> bool:
    """Whether a header has only our names, those of one kind of file.

    >>> is_ours(["piece", "day", "views"]), is_ours(["Post", "Date"])
    (True, False)
    """
    return any(kind.needed <= set(header) <= set(kind.names) for kind in KINDS.values())


def known(header: Sequence[str], names: Names) -> dict[str, str] | None:
    """Our column -> its heading, if a columns file names all that a kind needs; else None.

    >>> known(["Post", "Date", "Hits"], {"days": {"piece": "Post", "day": "Date", "views": "Hits"}})
    {'piece': 'Post', 'day': 'Date', 'views': 'Hits'}
    """
    for kind, columns in names.items():
        there = {ours: theirs for ours, theirs in columns.items() if theirs in header}
        if KINDS[kind].needed <= set(there):
            return there
    return None


def guess(header: Sequence[str]) -> Guess | None:
    """The kind of file that most headings match, by our names or usual ones; None if no kind is complete.

    >>> print(guess(["Post", "Date", "New Subscribers", "Bounce rate"]))
    days: piece from “Post”, day from “Date”, sign_ups from “New Subscribers”; not read: Bounce rate
    """
    found = []
    for kind in KINDS.values():
        columns = _fitting(kind, header)
        if kind.needed <= set(columns):
            rest = tuple(heading for heading in header if heading not in columns.values())
            found.append(Guess(kind.name, columns, rest))
    return max(found, key=lambda one: len(one.columns), default=None)


def headings(path: str | Path) -> list[str]:
    """The headings of a CSV file. Raises LedgerError if it cannot be read."""
    return header_of(read_text(path))


def load_names(path: str | Path) -> Names:
    """Read a columns file. Raises LedgerError for anything but a YAML mapping of kinds to their columns."""
    text = read_text(path, most_bytes=LARGEST)
    try:
        data = YAML(typ="safe", pure=True).load(text) or {}
    except YAMLError as error:
        said = str(error).partition("\n")[0][:80] or "something else"
        raise _refused(path, "", "a YAML file such as days: {piece: Post, day: Date}", said) from None
    if not isinstance(data, Mapping):
        raise _refused(path, "", "kinds of files, such as days: {piece: Post, day: Date}", str(data)[:60])
    names: Names = {}
    for kind, columns in data.items():
        if kind not in KINDS:
            raise _refused(path, str(kind)[:60], f"one of {', '.join(KINDS)}", "another kind")
        if not isinstance(columns, Mapping):
            raise _refused(
                path, kind, "columns and their headings, such as {piece: Post, day: Date}", str(columns)[:60]
            )
        for ours, theirs in columns.items():
            if ours not in KINDS[kind].names:
                raise _refused(path, f"{kind}.{str(ours)[:60]}", f"one of {', '.join(KINDS[kind].names)}", "another")
            if not isinstance(theirs, str) or not theirs.strip():
                raise _refused(path, f"{kind}.{ours}", "the heading in your file", str(theirs)[:60] or "nothing")
        if len(set(columns.values())) < len(columns):
            raise _refused(path, kind, "a heading for one column only", "one heading twice")
        names[kind] = {str(ours): str(theirs).strip() for ours, theirs in columns.items()}
    return names


def names_text(names: Names) -> str:
    """The text of a columns file.

    >>> print(names_text({"days": {"piece": "Post"}}).splitlines()[-1])
      piece: Post
    """
    out = io.StringIO()
    yaml = YAML()
    yaml.width = 120
    yaml.dump(names, out)
    return "# What the columns of your files are called; growth earned import --columns reads it.\n" + out.getvalue()


def _fitting(kind: FileKind, header: Sequence[str]) -> dict[str, str]:
    """Our column -> their heading: first by our own name, then by the first other name that is there."""
    plain = {_plain(heading): heading for heading in reversed(header) if heading}
    fitting: dict[str, str] = {}
    for column in kind.columns:
        for name in (column.name, *column.also.split(", ")):
            heading = plain.get(_plain(name))
            if heading is not None and heading not in fitting.values() and not _belongs(heading, column, kind):
                fitting[column.name] = heading
                break
    return fitting


def _belongs(heading: str, column: FileColumn, kind: FileKind) -> bool:
    """Whether a heading is the own name of another column of the kind."""
    return _plain(heading) in {_plain(other.name) for other in kind.columns if other is not column}


def _plain(name: str) -> str:
    return " ".join(name.casefold().replace("_", " ").replace("-", " ").split())


def _refused(path: str | Path, field: str, rule: str, found: str) -> LedgerError:
    return LedgerError([Problem(field, rule, found)], file=str(path))
