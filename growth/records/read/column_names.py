"""The shapes of records, told apart by their columns, and the file that says what an export calls them.

Columns of no shape are not read. Where an export has other names, a small YAML file says so:

    columns: {customer: client, date: paid on, amount: total}
    amounts: minor            # cents; major without this line
    currency: EUR             # of all the rows, where there is no such column; else the one to convert to
    rates: {USD: 0.92}        # one USD is 0.92 of that currency
    decimal: ","              # 1.240,00 with the next line; a point, and nothing between thousands, without them
    thousands: "."
    paid: [erledigt]          # what a column `status` calls a charge that was paid; `any` reads all rows
    letter_case: ignored      # of customers' identifiers, which differ by upper and lower case without this line
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field

from growth.errors import Problem, ScenarioError
from growth.files import read_input
from growth.records.read.rows import RecordsError
from growth.scenario.section import Currency, Name, Section

MOST_BYTES = 1 << 20  # of the YAML file


@dataclass(frozen=True, slots=True)
class Shape:
    """A kind of table. needed: the columns that tell it; optional: what else is read of it."""

    name: str
    needed: tuple[str, ...]
    optional: tuple[str, ...]

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns of the shape."""
        return (*self.needed, *self.optional)


CHARGES = Shape(
    "charges",
    ("customer", "date", "amount"),
    ("months", "period_start", "period_end", "plan", "currency", "joined", "status", "refunded"),
)
MONTHS = Shape("months", ("customer", "month", "mrr"), ("plan", "billing", "currency", "joined"))
SHAPES = (CHARGES, MONTHS)  # the first one whose columns are there is taken
KNOWN = (*dict.fromkeys(name for shape in SHAPES for name in shape.columns),)
OurName = Literal[KNOWN]  # type: ignore[valid-type]


class ColumnNames(Section):
    """How a table of records is to be read; every part has a default."""

    columns: dict[OurName, Name] = Field(default_factory=dict)
    amounts: Literal["major", "minor"] = "major"
    currency: Currency | None = None
    decimal: Literal[".", ","] = "."
    thousands: Literal["", ".", ",", " ", "'"] = ""
    paid: Annotated[tuple[Name, ...], Field(max_length=40)] | Literal["any"] = ()
    letter_case: Literal["matters", "ignored"] = "matters"
    rates: dict[Currency, Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False)]] = Field(default_factory=dict)

    def theirs(self, ours: str) -> str:
        """The name of a column in the export.

        >>> ColumnNames(columns={"customer": "client"}).theirs("customer")
        'client'
        """
        return self.columns.get(ours, ours)

    def factor(self, code: str) -> float:
        """What amounts in a currency are multiplied by to be major units of ours; without a rate, as if it were ours.

        >>> ColumnNames(amounts="minor", currency="EUR", rates={"USD": 0.5}).factor("USD")
        0.005
        """
        rate = self.rates.get(code, 1.0) if self.currency and code != self.currency else 1.0
        return rate / 100 if self.amounts == "minor" else rate

    def find(self, header: list[str], *, file: str) -> tuple[Shape, dict[str, int]]:
        """Return the shape of the records, and where in the header each of its columns stands.

        Parameters
        ----------
        header : list of str
            The names of the export's columns.
        file : str
            Named in errors.

        Raises
        ------
        RecordsError
            A column of ours is there twice, or one named in `columns` is not there, or no shape is complete.

        Examples
        --------
        >>> shape, places = ColumnNames().find(["amount", "customer", "note", "date"], file="x.csv")
        >>> shape.name, places
        ('charges', {'customer': 1, 'date': 3, 'amount': 0})
        """
        if repeated := sorted({name for name in header if header.count(name) > 1} & set(map(self.theirs, KNOWN))):
            raise RecordsError([Problem(repeated[0], "this column name once", "more than once", line=1)], file=file)
        places = {ours: header.index(self.theirs(ours)) for ours in KNOWN if self.theirs(ours) in header}
        if absent := [ours for ours in self.columns if ours not in places]:
            rule, fix = "the name of a column that is there", "Compare with the first line of the records."
            raise RecordsError([Problem(f"columns.{absent[0]}", rule, self.theirs(absent[0]), fix)], file=file)
        for shape in SHAPES:
            if all(name in places for name in shape.needed):
                return shape, {name: place for name, place in places.items() if name in shape.columns}
        shapes = " or ".join(f"{', '.join(shape.needed)} ({shape.name})" for shape in SHAPES)
        fix = "If they have other names, give those in a file for --columns."
        raise RecordsError([Problem("", f"columns {shapes} in the first line", _found(header), fix, 1)], file=file)


def _found(header: list[str]) -> str:
    """Say what was found in place of the names; a file without names may begin with a customer, so none is shown."""
    return "1 column" if len(header) == 1 else f"{len(header)} columns"


def load_columns(path: str | Path) -> ColumnNames:
    """Read the YAML file for `--columns`.

    Raises
    ------
    RecordsError
        There is no such file, it is larger than 1 MB, or something in it is wrong: then with the line.
    """
    from growth.scenario.document import parse
    from growth.scenario.report import validate

    file = str(path)
    text = read_input(path, most_bytes=MOST_BYTES, error=RecordsError).decode("utf-8-sig", "replace")
    if not text.strip():
        raise RecordsError([Problem("", "the file is empty")], file=file)
    inside = "scenario:\n" + "\n".join("  " + line for line in text.splitlines())  # read by the rules of scenario files
    try:
        document = parse(inside, file=file)
        lines = {place: line - 1 for place, line in document.lines.items()}
        return validate(ColumnNames, document.scenario, file=file, lines=lines, root="scenario")
    except ScenarioError as error:
        raise RecordsError(error.problems, file=file) from None


def snapshot_table(*, tenure: np.ndarray, left: np.ndarray, mrr: np.ndarray, plan: np.ndarray, last_month: str) -> Any:
    """Turn a snapshot into a row per customer and month.

    A snapshot says how long customers stayed, not when. The calendar is therefore an assumption: those who stay are on
    board in the last month, those who left are taken to have left in it, and each paid the same in every month.
    Survival by age does not depend on that. Whatever follows the calendar (new customers a month, their growth, the
    bridge) does, and is no measurement.

    Parameters
    ----------
    tenure : np.ndarray
        Full months since joining, integers from 0, shape (customers,).
    left : np.ndarray
        Boolean, shape (customers,): whether the customer has left.
    mrr : np.ndarray
        What it pays, or paid, a month, in major units.
    plan : np.ndarray
        The name of its plan.
    last_month : str
        The month of the snapshot, such as "2024-12".

    Returns
    -------
    pyarrow.Table
        In the shape of months: customer, month, mrr, plan, joined.

    Examples
    --------
    >>> rows = snapshot_table(tenure=np.array([2, 1]), left=np.array([True, False]), mrr=np.array([20.0, 30.0]),
    ...     plan=np.array(["Studio", "Studio"]), last_month="2024-12")
    >>> rows.column("month").to_pylist()
    ['2024-10', '2024-11', '2024-11', '2024-12']
    >>> rows.column("customer").to_pylist(), rows.column("joined").to_pylist()[-1]
    ([0, 0, 1, 1], '2024-11')
    """
    import pyarrow as pa

    times = tenure + ~left
    who = np.repeat(np.arange(tenure.size), times)
    age = np.arange(who.size) - np.repeat(np.cumsum(times) - times, times)
    joined = np.datetime64(last_month, "M") - tenure
    return pa.table(
        {
            "customer": who,
            "month": _month_texts(joined[who] + age),
            "mrr": np.asarray(mrr, float)[who],
            "plan": np.asarray(plan).astype(str)[who],
            "joined": _month_texts(joined[who]),
        }
    )


def _month_texts(months: np.ndarray) -> Any:
    """Encode months as a dictionary of texts, so that each month is written once."""
    import pyarrow as pa

    seen, places = np.unique(months, return_inverse=True)
    return pa.DictionaryArray.from_arrays(places.astype(np.int32), seen.astype(str).tolist())
