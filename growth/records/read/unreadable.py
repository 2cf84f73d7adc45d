"""Rows that cannot be read: counted by kind, with their first lines. No value of a row is ever shown."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from growth.errors import GrowthError, Problem

FIRST_LINES = 5  # named of each kind


class RecordsError(GrowthError):
    """Records that cannot be used: a missing column, unreadable rows, a currency without a rate."""


@dataclass(slots=True)
class Unreadable:
    """Counts of unreadable rows by kind, with the first lines of each. Lines count from 1, the header is line 1.

    >>> rows = Unreadable()
    >>> rows.add("no customer", 7)
    >>> rows.add("no customer", 9)
    >>> str(rows)
    'no customer: 2 rows, first in lines 7, 9'
    """

    counts: Counter[str] = field(default_factory=Counter)
    lines: dict[str, list[int]] = field(default_factory=dict)

    def add(self, kind: str, line: int) -> None:
        """Count a row of this kind, found in this line."""
        self.counts[kind] += 1
        first = self.lines.setdefault(kind, [])
        if len(first) < FIRST_LINES:
            first.append(line)

    @property
    def total(self) -> int:
        """How many rows cannot be read."""
        return sum(self.counts.values())

    def stop_above(self, leave_out: int, *, file: str) -> None:
        """Raise RecordsError, with a problem for each kind, if more rows than `leave_out` cannot be read."""
        if self.total <= leave_out:
            return
        advice = f"Mend them, or leave them out knowingly: --leave-out {self.total}."
        summary = Problem("", f"at most {leave_out} unreadable rows may be left out", f"{self.total}", advice)
        kinds = [Problem("", line, line=self.lines[kind][0]) for kind, line in self._described()]
        raise RecordsError([summary, *kinds], file=file)

    def _described(self) -> list[tuple[str, str]]:
        return [
            (
                kind,
                f"{kind}: {count} row{'s' if count > 1 else ''}, first in line{'s' if count > 1 else ''} "
                + ", ".join(map(str, self.lines[kind])),
            )
            for kind, count in self.counts.most_common()
        ]

    def __str__(self) -> str:
        return "\n".join(text for _, text in self._described())
