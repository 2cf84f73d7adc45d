"""From a file to rows: values are interpreted, unreadable rows noted, customers numbered."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from growth.errors import Problem, count_of
from growth.records.read.as_rows import as_rows, starting_day
from growth.records.read.column_names import ColumnNames
from growth.records.read.invoice_lines import line_kinds
from growth.records.read.notations import days_in_zone, iso_dates, plain_numbers, with_percent_sign
from growth.records.read.reading_notes import (
    FAILED_WORDS,
    PAID_WORDS,
    UNPAID_WORDS,
    folded,
    spelled_twice,
    unread_columns,
)
from growth.records.read.rows import Block, RecordsError, Rows, Unreadable
from growth.records.read.subscriptions import Values
from growth.records.read.tables import table_blocks, table_header, table_path
from growth.records.read.values import AMOUNTS, DATES, NAMES, NONE, PAID, UNPAID, as_strings, meanings, statuses

MOST_PLANS = 30_000
ENDS_BEFORE = "a period that ends before it begins"


def read_records(
    path: str | Path, *, columns: ColumnNames | None = None, leave_out: int = 0, until: str | None = None
) -> Rows:
    """Read the rows of a CSV file; by its name of a Parquet file (.parquet) or the first sheet of a workbook (.xlsx).

    Parameters
    ----------
    path : str or Path
        The file.
    columns : ColumnNames, optional
        What the export calls the columns, from `load_columns`; without it they have our names.
    leave_out : int
        How many rows may be left out because they cannot be read; at least 0.
    until : str, optional
        The month, such as "2025-12", through which subscriptions without an end run; other shapes do not need it.

    Returns
    -------
    Rows
        Customers are numbers; their identifiers are not kept.

    Raises
    ------
    RecordsError
        There is no such file, no shape of ours, no row, more unreadable rows than `leave_out`, more than 30,000 plans,
        or several currencies without rates.

    Examples
    --------
    >>> import tempfile
    >>> from growth.records.demo import DemoBusiness, write_demo
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "charges.csv"
    ...     _ = write_demo(DemoBusiness(months=24), file, seed=1)
    ...     read_records(file).size
    2266
    """
    path, file, columns = table_path(path), str(path), columns or ColumnNames()
    names: dict[str, dict[str, int]] = {ours: {} for ours in NAMES}
    try:
        parts, customers, unreadable, unpaid = _interpreted(table_blocks(path, columns), names, columns)
    except RecordsError as error:
        raise RecordsError(error.problems, file=file) from None
    unreadable.stop_above(leave_out, file=file)
    if not sum(part["customer"].size for part in parts):
        raise RecordsError([Problem("", "at least one row that can be read", "none")], file=file)
    values = {ours: np.concatenate([part[ours] for part in parts]) for ours in parts[0]}
    header = table_header(path)
    _, places = columns.find(header, file=file)
    said = [*unread_columns(header, [header[place] for place in places.values()]), *_unpaid_note(unpaid)]
    if columns.letter_case == "ignored":
        customers = folded(customers)
    values["customer"], count, distinct = _numbered(values["customer"], customers)
    said += spelled_twice(distinct) if columns.letter_case == "matters" else []
    return as_rows(values, names, count, columns, unreadable=unreadable, notes=said, until=until, file=file)


def _unpaid_note(unpaid: int) -> list[str]:
    if not unpaid:
        return []
    rows = count_of(unpaid, "row has", "rows have")
    return [f"{rows} a status that says that the charge was not paid: they do not count"]


def _interpreted(
    blocks: Iterator[Block], names: dict[str, dict[str, int]], columns: ColumnNames
) -> tuple[list[Values], pa.ChunkedArray, Unreadable, int]:
    """Return the values of each block's readable rows, the identifiers behind their customers, the other rows, and how
    many rows were not paid.

    names: the plans and currencies of readable rows, each with its number, to be filled.
    """
    parts, identifiers, unreadable, seen, unpaid = [], [], Unreadable(), 0, 0
    for block in blocks:
        which = {ours: column.indices.to_numpy() for ours, column in block.columns.items()}
        strings: dict[str, pa.Array] = {}
        values: dict[str, Any] = {}
        faults: dict[int, str] = {}
        for ours, column in block.columns.items():
            strings[ours], wrong = as_strings(column.dictionary)
            _note(wrong, which[ours], faults)
        for ours in which:
            strings[ours] = _in_our_notation(ours, strings[ours], columns)
            if ours == "status":
                values[ours], wrong = _statuses(strings[ours], columns)
            elif ours == "reason":
                failed = (*FAILED_WORDS, *columns.failed)
                values[ours], wrong = statuses(strings[ours], paid=(), unpaid=(), failed=failed)[0], {}
            elif ours == "kind":
                values[ours], wrong = line_kinds(strings[ours], columns.kinds)
            else:
                meant = "refunded" if ours == "discount" and columns.discount == "amount" else ours
                values[ours], wrong = meanings(meant, strings[ours])
            _note(wrong, which[ours], faults)
        rows = {ours: index if ours in ("customer", *NAMES) else values[ours][index] for ours, index in which.items()}
        _check_periods(rows, faults)
        if faults:
            good = np.ones(block.lines.size, bool)
            good[list(faults)] = False
            rows = {ours: column[good] for ours, column in rows.items()}
        for line, kind in sorted(block.faults + [(int(block.lines[row]), kind) for row, kind in faults.items()]):
            unreadable.add(kind, line)
        if "status" in rows:
            unpaid += int((rows["status"] != PAID).sum())
            rows = {ours: column[rows["status"] != UNPAID] for ours, column in rows.items()}
        if "discount" in rows and columns.discount == "amount":
            rows["amount_off"] = rows.pop("discount")
        for ours in rows.keys() & names.keys():
            rows[ours] = _named(rows[ours], values[ours], names[ours])
        rows["customer"] = rows["customer"] + np.int32(seen)
        seen += len(strings["customer"])
        identifiers.append(strings["customer"])
        parts.append(rows)
    return parts, pa.chunked_array(identifiers, pa.string()), unreadable, unpaid


def _statuses(texts: pa.Array, columns: ColumnNames) -> tuple[np.ndarray, dict[int, str]]:
    if columns.paid == "any":
        return np.full(len(texts), PAID, np.int8), {}
    failed = (*FAILED_WORDS, *columns.failed)
    return statuses(texts, paid=columns.paid or PAID_WORDS, unpaid=UNPAID_WORDS, failed=failed)


def _in_our_notation(ours: str, texts: pa.Array, columns: ColumnNames) -> pa.Array:
    if ours in AMOUNTS and (columns.decimal != "." or columns.thousands or columns.signs):
        return plain_numbers(texts, decimal=columns.decimal, thousands=columns.thousands, signs=columns.signs)
    if ours == "discount" and columns.discount == "percent":
        return with_percent_sign(texts)
    if ours in DATES and columns.dates:
        texts = iso_dates(texts, columns.dates)
    return days_in_zone(texts, columns.zone) if ours in DATES and columns.zone else texts


def _note(wrong: dict[int, str], which: np.ndarray, faults: dict[int, str]) -> None:
    """Put the rows that have a faulty text into `faults`, unless they are there for another fault."""
    if wrong:
        for row in np.flatnonzero(np.isin(which, list(wrong))).tolist():
            faults.setdefault(row, wrong[which[row]])


def _check_periods(rows: Values, faults: dict[int, str]) -> None:
    ends = "period_end" if "period_end" in rows else "end"
    if ends in rows:
        end = rows[ends]
        early = end <= starting_day(rows) if ends == "period_end" else end < rows["start"]
        for row in np.flatnonzero((end != NONE) & early).tolist():
            faults.setdefault(row, ENDS_BEFORE)


def _named(which: np.ndarray, texts: list[str], numbers: dict[str, int]) -> np.ndarray:
    """Return the number of each row's text; texts that are new get the next ones. Raises RecordsError for too many."""
    places = np.zeros(len(texts), np.int16)
    for place in first_seen(which, len(texts)).tolist():
        places[place] = numbers.setdefault(texts[place], len(numbers))
        if len(numbers) > MOST_PLANS:
            rule = f"at most {MOST_PLANS:,} different ones"
            raise RecordsError([Problem("plan", rule, "more", "Leave the column out, or group them.")])
    return places[which]


def _numbered(which: np.ndarray, identifiers: pa.ChunkedArray) -> tuple[np.ndarray, int, pa.Array]:
    """Number customers 0, 1, 2, ... in the order of their first readable row; return also how many there are, and all
    different identifiers.
    """
    alike = identifiers.dictionary_encode().combine_chunks()
    chunks = alike.chunks if isinstance(alike, pa.ChunkedArray) else [alike]
    which = np.concatenate([chunk.indices.to_numpy() for chunk in chunks])[which]
    distinct = chunks[-1].dictionary if chunks else pa.array([], pa.string())
    seen = first_seen(which, int(which.max()) + 1)
    numbers = np.zeros(int(which.max()) + 1, np.int32)
    numbers[seen] = np.arange(seen.size)
    return numbers[which], seen.size, distinct


def first_seen(which: np.ndarray, size: int) -> np.ndarray:
    """Return the different values of `which`, below `size`, in the order of their first appearance.

    >>> first_seen(np.array([4, 1, 4, 0, 1]), 5).tolist()
    [4, 1, 0]
    """
    first = np.full(size, -1)
    first[which[::-1]] = np.arange(which.size)[::-1]  # of equal indices the last assignment stands
    seen = np.flatnonzero(first >= 0)
    return seen[np.argsort(first[seen])]
