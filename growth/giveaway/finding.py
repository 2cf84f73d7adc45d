"""What an editor would remark."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Finding:
    """One remark. rule: its short name; line: of the file, from 1, None for the page as a whole; words: the passage."""

    rule: str
    field: str
    line: int | None
    words: str
    reason: str
    suggestion: str
