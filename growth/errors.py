"""The errors of the project: one base class, each saying what to do next."""

from __future__ import annotations

from dataclasses import dataclass

MOST_PROBLEMS = 40  # shown of one error; the rest is counted


def printable(text: str) -> str:
    """A text as a terminal may show it: what is not printable stands as its escape.

    >>> print(printable("red\\x1b[31m"))
    red\\x1b[31m
    """
    return "".join(one if one.isprintable() or one in "\u00a0\u202f" else repr(one)[1:-1] for one in text)


def count_of(number: int, noun: str, many: str = "") -> str:
    """A count with its noun, in the plural where it is one. many: the plural that is not made by an s.

    >>> count_of(1, "month"), count_of(2_400, "plan"), count_of(2, "customer has", "customers have")
    ('1 month', '2,400 plans', '2 customers have')
    """
    return f"{number:,} {noun if number == 1 else many or noun + 's'}"


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, and what would be right.

    field: dotted place of the value, as written in the file ("stay.churn.monthly_churn_rate"); "" for the whole file.
    rule:  what the value has to be, with its unit and range.
    value: the value found, shortened for display; "" where there is none.
    fix:   the likely mend, one sentence; "" where there is nothing to guess.
    line:  line of the file, counted from 1; None when the value came from elsewhere.

    >>> print(Problem("months", "a whole number from 1 to 120", "0", "Did you mean 12?", line=3))
    line 3: months: a whole number from 1 to 120 (found 0). Did you mean 12?
    """

    field: str
    rule: str
    value: str = ""
    fix: str = ""
    line: int | None = None

    def __str__(self) -> str:
        place = f"line {self.line}: " if self.line else ""
        field = f"{self.field}: " if self.field else ""
        value = f" (found {self.value})" if self.value else ""
        fix = f". {self.fix}" if self.fix else ""
        return printable(f"{place}{field}{self.rule}{value}{fix}")


class GrowthError(Exception):
    """Base of every error this package raises on purpose. Carries its problems; survives pickling.

    problems: what is wrong, in the order of the file; or one sentence. file: its name, where there is one.

    >>> error = ScenarioError([Problem("months", "a whole number from 1 to 120", "0")], file="shop.yaml")
    >>> print(error)
    shop.yaml: months: a whole number from 1 to 120 (found 0)
    """

    def __init__(self, problems: list[Problem] | tuple[Problem, ...] | str, file: str | None = None):
        if isinstance(problems, str):
            problems = (Problem("", problems),)
        self.problems = tuple(problems)
        self.file = file
        super().__init__(self.problems, file)

    def __str__(self) -> str:
        prefix = f"{printable(self.file)}: " if self.file else ""
        lines = [f"{prefix}{problem}" for problem in self.problems[:MOST_PROBLEMS]]
        more = len(self.problems) - len(lines)
        return "\n".join([*lines, f"{prefix}and {more:,} more like these"] if more else lines)

    def _render_traceback_(self) -> list[str]:
        """What a notebook shows of it: the user's input is wrong, not the code that the traceback would show."""
        return [f"{type(self).__name__}: {line}" for line in str(self).splitlines()]


class FileError(GrowthError):
    """A file that cannot be read, or that must not be written."""


class ScenarioError(GrowthError):
    """A scenario that cannot be used: an unknown key, a wrong type, a value out of its range."""


class MeasureError(GrowthError):
    """A question that a forecast cannot answer, such as a month beyond its end."""


class PublishError(GrowthError):
    """A page that cannot be made, or cannot be written where it was asked for."""
