"""The shapes of records, told apart by their columns, and the file that says what an export calls them.

Columns of no shape are not read. Where an export has other names, a small YAML file says so:

    columns: {customer: client, date: paid on, amount: total}
    amounts: minor            # cents; major without this line
    currency: EUR             # of all the rows, where there is no such column; else the one to convert to
    rates: {USD: 0.92}        # one USD is 0.92 of that currency; by month as {USD: {2025-01: 0.92, 2025-02: 0.93}},
                              # or the name of a CSV file beside this one, with the columns month, currency and rate
    dates: day-month-year     # 03/02/2025 is 3 February; or month-day-year, year-month-day; without it 2025-02-03 alone
    zone: Europe/Berlin       # dates that say a time and its zone count in this one's days; without it as written
    signs: ["€"]              # currency signs or codes that stand beside the amounts
    decimal: ","              # 1.240,00 with the next line; a point, and nothing between thousands, without them
    thousands: "."
    paid: [erledigt]          # what a column `status` calls a charge that was paid; `any` reads all rows
    discount: percent         # what a column `discount` holds: percent, share (0.2) or amount; % signs are read anyway
    tax: included             # whether amounts include tax: what is in a column `tax`, or at a `tax_rate`; else `added`
    tax_rate: 0.19
    kinds: {once: [workshop], proration: [unused], tax: [levy], recurring: [hosting]}  # words of a column `kind`
    failed: [geplatzt]        # what a `status`, or the `reason` of an end, calls a payment that failed
    letter_case: ignored      # of customers' identifiers, which differ by upper and lower case without this line
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import available_timezones

import numpy as np
from pydantic import AfterValidator, Field

from growth.errors import Problem, ScenarioError
from growth.files import read_input
from growth.records.read.notations import DateOrder
from growth.records.read.rows import RecordsError
from growth.scenario.section import Currency, Name, Section, broken

MOST_BYTES = 1 << 20  # of the YAML file, or of rates
RATES = ("month", "currency", "rate")  # columns of the file of rates
# other usual names of our columns, whatever their case and what stands between their words
_NAMES = {
    "customer": "customer id, client, client id, client number, client no, customer number, customer no, customer "
    "name, account, account id, subscriber, user id, email, e-mail, customer email, kunde, kundennummer, kundennr, "
    "kunden nr, kunden id, konto",
    "date": "paid on, paid at, charged on, charged at, payment date, invoice date, issued, issued on, issue date, "
    "transaction date, billed on, created, created at, datum, rechnungsdatum, "
    "buchungsdatum, zahlungsdatum, bezahlt am",
    "amount": "total, net amount, net, amount paid, amount in cents, line amount, value, betrag, netto, "
    "nettobetrag, summe",
    "month": "period, monat",
    "mrr": "monthly recurring revenue, recurring revenue",
    "start": "start date, started, started on, started at, from, begin, beginn",
    "end": "end date, ended, ended on, ended at, cancelled on, cancelled at, canceled on, canceled at, to, until, ende",
    "price": "fee, unit price, amount, preis",
    "plan": "plan name, product, tier, tarif, produkt",
    "billing": "interval, billing interval, billing cycle, cycle, frequency, abrechnung",
    "quantity": "seats, qty, units, anzahl",
    "discount": "discount percent, rabatt",
    "currency": "currency code, ccy, währung",
    "joined": "customer since, signed up, sign-up date, signup date",
    "status": "payment status, zahlungsstatus, zustand",
    "reason": "end reason, cancellation reason",
    "refunded": "amount refunded, refund, refund amount, erstattet, erstattung, rückerstattung",
    "kind": "line type, line kind, item type",
    "tax": "tax amount, vat, vat amount, mwst, ust",
    "months": "months paid",
    "period_start": "period from, service from, paid from",
    "period_end": "period to, service to, paid until",
}
ALSO = {ours: tuple(names.split(", ")) for ours, names in _NAMES.items()}


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
    ("months", "period_start", "period_end", "plan", "currency", "joined", "status", "refunded", "kind", "tax"),
)
MONTHS = Shape("months", ("customer", "month", "mrr"), ("plan", "billing", "currency", "joined"))
SUBSCRIPTIONS = Shape(
    "subscriptions",
    ("customer", "start", "price"),
    ("end", "plan", "billing", "quantity", "discount", "reason", "currency", "joined"),
)
SHAPES = (CHARGES, MONTHS, SUBSCRIPTIONS)  # the first one whose columns are there is taken
KNOWN = (*dict.fromkeys(name for shape in SHAPES for name in shape.columns),)
OurName = Literal[KNOWN]  # type: ignore[valid-type]


def _known_zone(name: str) -> str:
    if name not in available_timezones():
        raise broken("a time zone such as Europe/Berlin", name)
    return name


Zone = Annotated[str, AfterValidator(_known_zone)]
Rate = Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False)]
LineKind = Literal["recurring", "once", "tax", "proration"]
Month = Annotated[str, Field(pattern=r"^[0-9]{4}-(0[1-9]|1[0-2])$")]


class ColumnNames(Section):
    """How a table of records is to be read; every part has a default."""

    columns: dict[OurName, Name] = Field(default_factory=dict)
    amounts: Literal["major", "minor"] = "major"
    currency: Currency | None = None
    dates: DateOrder | None = None
    zone: Zone | None = None
    signs: Annotated[tuple[Name, ...], Field(max_length=9)] = ()
    decimal: Literal[".", ","] = "."
    thousands: Literal["", ".", ",", " ", "'"] = ""
    paid: Annotated[tuple[Name, ...], Field(max_length=40)] | Literal["any"] = ()
    failed: Annotated[tuple[Name, ...], Field(max_length=40)] = ()
    discount: Literal["share", "percent", "amount"] = "share"
    letter_case: Literal["matters", "ignored"] = "matters"
    tax: Literal["included", "added"] | None = None
    tax_rate: Annotated[float, Field(gt=0, lt=1)] | None = None
    kinds: dict[LineKind, Annotated[tuple[Name, ...], Field(max_length=40)]] = Field(default_factory=dict)
    rates: dict[Currency, Rate | dict[Month, Rate]] = Field(default_factory=dict)

    def theirs(self, ours: str) -> str:
        """The name of a column in the export.

        >>> ColumnNames(columns={"customer": "client"}).theirs("customer")
        'client'
        """
        return self.columns.get(ours, ours)

    def in_our_currency(
        self, amount: np.ndarray, month: np.ndarray, codes: tuple[str, ...], which: np.ndarray | None, *, file: str
    ) -> np.ndarray:
        """Convert amounts to major units of our currency; what has no rate is taken to be in it.

        amount, month: as written, and counted from 1970-01; shape (rows,). codes: the currencies of the rows. which:
        the index of each row's currency in `codes`; None: all are of the first. Raises RecordsError, which names
        `file`, where a month has no rate.

        Examples
        --------
        >>> columns = ColumnNames(amounts="minor", currency="EUR", rates={"USD": 0.5})
        >>> columns.in_our_currency(np.array([200.0]), np.array([0]), ("USD",), None, file="x.csv").tolist()
        [1.0]
        """
        if self.amounts == "minor":
            amount = amount / 100
        for number, code in enumerate(codes):
            rate = self.rates.get(code, 1.0) if self.currency and code != self.currency else 1.0
            if rate == 1.0:
                continue
            rows = np.arange(amount.size) if which is None else np.flatnonzero(which == number)
            if isinstance(rate, dict):
                used, places = np.unique(month[rows], return_inverse=True)
                names = [str(np.datetime64(int(one), "M")) for one in used]
                if missing := [name for name in names if name not in rate]:
                    rule, fix = f"a rate of {code} for {missing[0]}", "Add it, or give one rate for all months."
                    raise RecordsError([Problem(f"rates.{code}", rule, "none", fix)], file=file)
                factor: float | np.ndarray = np.array([rate[name] for name in names])[places]
            else:
                factor = rate
            amount = amount.copy()
            amount[rows] *= factor
        return amount

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

    Parameters
    ----------
    path : str or Path
        The file, at most 1 MB.

    Returns
    -------
    ColumnNames

    Raises
    ------
    RecordsError
        There is no such file, it is larger than 1 MB, or something in it is wrong: then with the line.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "columns.yaml"
    ...     _ = file.write_text("dates: day-month-year")
    ...     load_columns(file).dates
    'day-month-year'
    """
    from growth.scenario.file import parse
    from growth.scenario.validation import validate

    file = str(path)
    text = read_input(path, most_bytes=MOST_BYTES, error=RecordsError).decode("utf-8-sig", "replace")
    if not text.strip():
        raise RecordsError([Problem("", "the file is empty")], file=file)
    inside = "scenario:\n" + "\n".join("  " + line for line in text.splitlines())  # read by the rules of scenario files
    try:
        document = parse(inside, file=file)
        if isinstance(document.scenario, dict) and isinstance(document.scenario.get("rates"), str):
            document.scenario["rates"] = load_rates(Path(path).parent / document.scenario["rates"])
        lines = {place: line - 1 for place, line in document.lines.items()}
        return validate(ColumnNames, document.scenario, file=file, lines=lines, root="scenario")
    except ScenarioError as error:
        raise RecordsError(error.problems, file=file) from None


def load_rates(path: str | Path) -> dict[str, dict[str, float]]:
    """Read a CSV file with the columns month (2025-01), currency and rate: how much of our currency one of it is.

    Raises
    ------
    RecordsError
        There is no such file, or a line of it cannot be read.
    """
    file = str(path)
    text = read_input(path, most_bytes=MOST_BYTES, error=RecordsError).decode("utf-8-sig", "replace")
    lines = csv.DictReader(io.StringIO(text))
    try:
        names, rows = lines.fieldnames or (), [(lines.line_num, row) for row in lines]
    except csv.Error as error:
        problem = Problem("", "rows of a CSV file", str(error), line=lines.line_num + 1)
        raise RecordsError([problem], file=file) from None
    if not set(RATES) <= set(names):
        raise RecordsError([Problem("", f"the columns {', '.join(RATES)} in the first line", line=1)], file=file)
    rates: dict[str, dict[str, float]] = {}
    for number, row in rows:
        month, code, rate = ((row[name] or "").strip() for name in RATES)
        rules = {
            "month": ("a month such as 2025-01", re.fullmatch(r"[0-9]{4}-(0[1-9]|1[0-2])", month)),
            "currency": ("three letters such as USD", re.fullmatch("[A-Za-z]{3}", code)),
            "rate": (
                "a number above 0 with a decimal point",
                re.fullmatch(r"[0-9]{1,9}(\.[0-9]+)?", rate) and float(rate) > 0,
            ),
        }
        for field, (rule, right) in rules.items():
            if not right:
                raise RecordsError([Problem(field, rule, (row[field] or "nothing")[:20], line=number)], file=file)
        rates.setdefault(code.upper(), {})[month] = float(rate)
    return rates
