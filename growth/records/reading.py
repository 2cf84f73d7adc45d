"""Reading records: Arrow reads clean files at once; a file with anything odd is read row by row, so that each fault is named.

Both ways take the same view of every value (`growth.records.cells`) and give the same rows. The quick way is taken only
where the file has as many rows as lines, so that no stray quotation mark can swallow rows unnoticed.
"""

from __future__ import annotations

import csv
import secrets
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from growth.errors import Problem
from growth.records.cells import MOST, READERS, Bad
from growth.records.columns import CHARGES, Columns
from growth.records.rows import Rows, made_rows
from growth.records.unreadable import RecordsError, Unreadable

LONGEST_HEADER = 64 * 1024  # bytes
DELIMITERS = ",;\t|"
AMOUNTS = ("amount", "mrr")
TYPES = {
    "amount": np.float64,
    "mrr": np.float64,
    "months": np.int16,
    "billing": np.int16,
    "plan": np.int16,
    "currency": np.int16,
}


def read_records(
    path: str | Path, *, columns: Columns | None = None, leave_out: int = 0, key: bytes | None = None
) -> Rows:
    """The rows of a CSV or Parquet file (told by the ending .parquet).

    columns: what the columns are called; None where they have our own names. leave_out: how many unreadable rows may be
    left out. key: of the hashes that stand for customers; None draws a new one, so that hashes of two runs cannot be
    matched. Raises RecordsError: no such columns, no rows, more unreadable rows than `leave_out`, several currencies
    without rates.
    """
    file, columns = str(path), columns or Columns()
    if not Path(path).is_file():
        raise RecordsError([Problem("", "there is no such file", fix="Check the name and the folder.")], file=file)
    source = _parquet if file.lower().endswith(".parquet") else _csv
    shape, places, quick, careful = source(Path(path), columns)
    key = secrets.token_bytes(32) if key is None else key
    unreadable = Unreadable()
    parts = quick()
    if parts is None:
        parts = _row_by_row(careful(), places, unreadable)
        unreadable.stop_above(leave_out, file=file)
    values, identifiers, plans, currencies = parts
    if not values["customer"].size:
        raise RecordsError([Problem("", "at least one row that can be read", "none")], file=file)
    return made_rows(
        values,
        identifiers=identifiers,
        plans=plans,
        currencies=currencies,
        columns=columns,
        charges=shape == CHARGES,
        unreadable=unreadable,
        key=key,
        file=file,
    )


def _csv(path: Path, columns: Columns) -> tuple:
    with path.open("rb") as stream:
        first = stream.readline(LONGEST_HEADER + 1)
    if len(first) > LONGEST_HEADER:
        problem = Problem(
            "", "a first line that names the columns, of at most 64 KB", f"{len(first)} bytes or more", line=1
        )
        raise RecordsError([problem], file=str(path))
    text = first.decode("utf-8-sig", "replace").split("\r")[0]
    headers = [next(csv.reader([text], delimiter=sign), []) for sign in DELIMITERS]
    sign, header = max(zip(DELIMITERS, headers, strict=True), key=lambda pair: len(pair[1]))
    shape, places = columns.found([name.strip() for name in header], file=str(path))
    return shape, places, lambda: _quick_csv(path, header, places, sign), lambda: _csv_lines(path, len(header), sign)


def _quick_csv(path: Path, header: list[str], places: dict[str, int], sign: str) -> tuple | None:
    import pyarrow as pa
    from pyarrow import csv as arrow

    words = pa.dictionary(pa.int32(), pa.string())
    names = [f"c{place}" for place in range(len(header))]
    try:
        table = arrow.read_csv(
            path,
            read_options=arrow.ReadOptions(column_names=names, skip_rows=1),
            parse_options=arrow.ParseOptions(delimiter=sign),
            convert_options=arrow.ConvertOptions(
                include_columns=[names[place] for place in places.values()],
                column_types={
                    names[place]: pa.float64() if ours in AMOUNTS else words for ours, place in places.items()
                },
                null_values=[""],
                strings_can_be_null=False,
            ),
        )
    except pa.ArrowInvalid:
        return None
    if table.num_rows + 1 != _lines(path):
        return None
    columns = dict(zip(places, table.columns, strict=True))
    del table
    return _quick(columns)


def _lines(path: Path) -> int:
    """How many lines the file has, the last one with or without its end; a lone carriage return counts as none."""
    count, last = 0, b"\n"
    with path.open("rb") as stream:
        while block := stream.read(1 << 22):
            count, last = count + block.count(b"\n"), block
    return count + (not last.endswith(b"\n"))


def _quick(columns: dict[str, Any]) -> tuple | None:
    """Arrow columns of text (dictionaries) and amounts as numbers; None where a single value is not as it should be.

    Each column is taken out of `columns` and let go as soon as it is turned, to hold less memory.
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    values: dict[str, np.ndarray] = {}
    lists: dict[str, tuple[str, ...]] = {"plan": (), "currency": ("",)}
    identifiers: list[bytes] = []
    for ours in list(columns):
        column = columns.pop(ours)
        if column.null_count:
            return None
        if ours in AMOUNTS:
            amount = column.to_numpy()
            if not (np.abs(amount) <= MOST).all() or (ours == "mrr" and (amount < 0).any()):
                return None
            values[ours] = amount
            continue
        whole = column.unify_dictionaries().combine_chunks() if column.num_chunks != 1 else column.chunk(0)
        whole = whole.chunk(0) if isinstance(whole, pa.ChunkedArray) else whole
        codes, words = whole.indices.to_numpy(zero_copy_only=False), whole.dictionary
        if ours == "customer":
            if pc.any(
                pc.or_(pc.equal(pc.utf8_trim_whitespace(words), ""), pc.match_substring_regex(words, "[\r\n]"))
            ).as_py():
                return None
            values[ours], identifiers = codes, words.cast(pa.binary()).to_pylist()
            continue
        try:
            meant = [READERS[ours](word) for word in words.to_pylist()]
        except Bad:
            return None
        values[ours] = _coded(meant, ours, lists)[codes]
    return (values, identifiers, lists["plan"], lists["currency"]) if _periods_fit(values) else None


def _coded(meant: list, ours: str, lists: dict[str, tuple[str, ...]]) -> np.ndarray:
    """What each word means, as a number: plans and currencies become places in their lists."""
    if ours in lists:
        lists[ours] = tuple(dict.fromkeys(meant)) or lists[ours]
        places = {word: place for place, word in enumerate(lists[ours])}
        meant = [places[word] for word in meant]
    return np.array(meant, dtype=TYPES.get(ours, np.int32))


def _periods_fit(values: dict[str, np.ndarray]) -> bool:
    if "period_end" not in values:
        return True
    start = values.get("period_start", values["date"])
    ends = values["period_end"]
    return bool(((ends < 0) | (ends > np.where(start < 0, values["date"], start))).all())


def _parquet(path: Path, columns: Columns) -> tuple:
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        header = pq.read_schema(path).names
        shape, places = columns.found(header, file=str(path))
        table = pq.read_table(path, columns=[header[place] for place in places.values()])
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError, OSError):
        raise RecordsError([Problem("", "a Parquet file that can be read")], file=str(path)) from None
    table = table.rename_columns(list(places))
    at = {ours: place for place, ours in enumerate(places)}
    places.clear()
    places.update(at)
    return shape, places, lambda: _quick_parquet(table), lambda: _table_lines(table)


def _quick_parquet(table: Any) -> tuple | None:
    import pyarrow as pa

    try:
        ready = {ours: _as_words(table.column(ours), ours, pa) for ours in table.column_names}
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        return None
    return _quick(ready)


def _as_words(column: Any, ours: str, pa: Any) -> Any:
    if ours in AMOUNTS:
        return column.cast(pa.float64())
    if pa.types.is_timestamp(column.type):
        column = column.cast(pa.date32(), safe=False)
    column = column if pa.types.is_dictionary(column.type) else column.dictionary_encode()
    column = column.unify_dictionaries()
    chunks = [
        pa.DictionaryArray.from_arrays(chunk.indices, chunk.dictionary.cast(pa.string())) for chunk in column.chunks
    ]
    return pa.chunked_array(chunks, type=None if chunks else pa.dictionary(pa.int32(), pa.string()))


Line = tuple[int, list[str] | str]


def _table_lines(table: Any) -> Iterator[Line]:
    """Row numbers from 2, as in a text file with a header, and the values as text."""
    line = 1
    for batch in table.to_batches(max_chunksize=4096):
        for row in zip(*(column.to_pylist() for column in batch.columns), strict=True):
            line += 1
            yield line, ["" if value is None else str(value) for value in row]


def _csv_lines(path: Path, width: int, sign: str) -> Iterator[Line]:
    """The line each row begins in, with its fields, or with the kind of fault of the whole row."""
    with path.open(encoding="utf-8-sig", errors="surrogateescape", newline="") as stream:
        reader = csv.reader(stream, delimiter=sign)
        line = 1
        while True:
            try:
                row = next(reader)
            except StopIteration:
                return
            except csv.Error:
                yield line, "a quotation mark that is not closed, or a value of endless length"
                line = reader.line_num + 1
                continue
            if line > 1 and row:
                yield line, _fault(row, width) or row
            line = reader.line_num + 1


def _fault(row: list[str], width: int) -> str:
    if any("\n" in value or "\r" in value for value in row):
        return "a line break within a value, as after a quotation mark that is not closed"
    if len(row) != width:
        return "not as many values as there are columns"
    try:
        "".join(row).encode()
    except UnicodeEncodeError:
        return "text that is not UTF-8"
    return ""


def _row_by_row(lines: Iterator[Line], places: dict[str, int], unreadable: Unreadable) -> tuple:
    """The columns of the rows that can be read; each other row is counted in `unreadable`."""
    found: dict[str, list] = {ours: [] for ours in places}
    customers: dict[str, int] = {}
    lists: dict[str, tuple[str, ...]] = {"plan": (), "currency": ("",)}
    readers: list[tuple[int, Callable]] = [
        (place, READERS[ours]) for ours, place in places.items() if ours != "customer"
    ]
    for line, row in lines:
        if isinstance(row, str):
            unreadable.add(row, line)
            continue
        try:
            who = row[places["customer"]]
            if not who.strip():
                raise Bad("no customer")
            meant = [reader(row[place]) for place, reader in readers]
            _check_period(dict(zip((ours for ours in places if ours != "customer"), meant, strict=True)))
        except Bad as bad:
            unreadable.add(str(bad), line)
            continue
        found["customer"].append(customers.setdefault(who, len(customers)))
        for ours, value in zip((ours for ours in places if ours != "customer"), meant, strict=True):
            found[ours].append(value)
    values = {
        ours: np.array(found[ours], np.int32) if ours == "customer" else _coded(found[ours], ours, lists)
        for ours in places
    }
    return values, [name.encode() for name in customers], lists["plan"], lists["currency"]


def _check_period(row: dict[str, Any]) -> None:
    if row.get("period_end", -1) >= 0:
        start = row.get("period_start", -1)
        if row["period_end"] <= (start if start >= 0 else row["date"]):
            raise Bad("a period that ends before it begins")
