"""What the columns of the records are called, and in which unit and currency the amounts stand.

Two shapes, told apart by their columns. Charges, one row per charge or refund:

    customer, date, amount [, months | period_start, period_end] [, plan] [, currency] [, joined]

and months, one row per customer and month:

    customer, month, mrr [, plan] [, billing] [, currency] [, joined]

Other columns are not read. Where an export calls them otherwise, a small YAML file says so:

    columns: {customer: client, date: paid on, amount: total}
    amounts: minor            # cents; major without this line
    currency: EUR             # of all the rows, where there is no such column; else the one to convert to
    rates: {USD: 0.92}        # one USD is 0.92 of that currency
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from growth.errors import Problem, ScenarioError
from growth.records.unreadable import RecordsError
from growth.scenario.section import Currency, Name, Section

CHARGES = ("customer", "date", "amount")
MONTHS = ("customer", "month", "mrr")
OPTIONAL = {
    CHARGES: ("months", "period_start", "period_end", "plan", "currency", "joined"),
    MONTHS: ("plan", "billing", "currency", "joined"),
}
KNOWN = (*dict.fromkeys((*CHARGES, *MONTHS, *OPTIONAL[CHARGES], *OPTIONAL[MONTHS])),)
Ours = Literal[KNOWN]  # type: ignore[valid-type]


class Columns(Section):
    """How the records are to be read; every part has a default. See the module's text for the two shapes."""

    columns: dict[Ours, Name] = Field(default_factory=dict)
    amounts: Literal["major", "minor"] = "major"
    currency: Currency | None = None
    rates: dict[Currency, Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False)]] = Field(default_factory=dict)

    def theirs(self, ours: str) -> str:
        """The name of a column in the export.

        >>> Columns(columns={"customer": "client"}).theirs("customer")
        'client'
        """
        return self.columns.get(ours, ours)

    def factor(self, code: str) -> float:
        """What amounts in a currency are multiplied by to be major units of ours; without a rate, as if it were ours.

        >>> Columns(amounts="minor", currency="EUR", rates={"USD": 0.5}).factor("USD")
        0.005
        """
        rate = self.rates.get(code, 1.0) if self.currency and code != self.currency else 1.0
        return rate / 100 if self.amounts == "minor" else rate

    def found(self, header: list[str], *, file: str) -> tuple[tuple[str, ...], dict[str, int]]:
        """The shape of the records, and where in the header each of our columns stands. Raises RecordsError."""
        if repeated := {name for name in header if header.count(name) > 1} & set(map(self.theirs, KNOWN)):
            raise RecordsError([Problem(repeated.pop(), "this column name once", "more than once", line=1)], file=file)
        places = {ours: header.index(self.theirs(ours)) for ours in KNOWN if self.theirs(ours) in header}
        if absent := [ours for ours in self.columns if ours not in places]:
            raise RecordsError(
                [
                    Problem(
                        f"columns.{absent[0]}",
                        "the name of a column that is there",
                        fix="Compare with the first line of the records.",
                    )
                ],
                file=file,
            )
        shape = CHARGES if all(name in places for name in CHARGES) else MONTHS
        if not all(name in places for name in shape):
            rule = "columns customer, date, amount (charges) or customer, month, mrr (months) in the first line"
            fix = "Where they are called otherwise, name them in a file given with --columns."
            raise RecordsError([Problem("", rule, f"{len(header)} columns", fix, 1)], file=file)
        return shape, {name: place for name, place in places.items() if name in (*shape, *OPTIONAL[shape])}


def load_columns(path: str | Path) -> Columns:
    """The Columns of a YAML file. Raises RecordsError with the line of what is wrong."""
    from growth.scenario.file import parse, validate

    text = Path(path).read_text(encoding="utf-8-sig", errors="replace")
    if not text.strip():
        raise RecordsError([Problem("", "the file is empty")], file=str(path))
    inside = "scenario:\n" + "\n".join("  " + line for line in text.splitlines())  # read by the rules of scenario files
    try:
        document = parse(inside, file=str(path))
        lines = {place: line - 1 for place, line in document.lines.items()}
        return validate(Columns, document.scenario, file=str(path), lines=lines, root="scenario")
    except ScenarioError as error:
        raise RecordsError(error.problems, file=str(path)) from None
