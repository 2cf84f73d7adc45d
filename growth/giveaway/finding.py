"""A remark that a review makes."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Finding:
    """One remark on a brief, a notebook or a page.

    Attributes
    ----------
    rule
        The short name of the rule, such as "long sentence".
    field
        The field of the giveaway, such as "case.details[0]", or the cell, or "the page".
    line
        Line of the file, from 1; None where there is none.
    words
        The passage; "" where something is missing.
    reason
        Why it matters.
    suggestion
        What to try.
    """

    rule: str
    field: str
    line: int | None
    words: str
    reason: str
    suggestion: str
