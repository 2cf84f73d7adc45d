"""What a table most likely means where its columns, dates or amounts are not written our way, for somebody's yes."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from ruamel.yaml import YAML

from growth.errors import Problem
from growth.records.read.column_names import ALSO, SHAPES, ColumnNames, Shape
from growth.records.read.notations import MONEY_SIGN, PLACES, SEPARATOR, SIGNS, TIME, ZONED, iso_dates, plain_numbers
from growth.records.read.reading_notes import spelled_twice
from growth.records.read.rows import RecordsError
from growth.records.read.tables import table_blocks, table_header, table_path
from growth.records.read.values import AMOUNTS, DATES, DAY, MONTH, as_strings

FIRST_ROWS = 20_000  # that guesses are made from
# decimal and thousands
WAYS = ((".", ""), (".", ","), (",", ""), (",", "."), (".", "'"), (",", " "), (".", " "), (",", "'"))
DIGITS = r"[+-]?[0-9][0-9.,' ]*"
WITH_SIGN = re.compile(rf"[+-]?\s*({MONEY_SIGN})\s*{DIGITS}|{DIGITS}({MONEY_SIGN})")
RATE_STEP = 0.005  # rates of tax are multiples of half a percent
CENT = 0.006  # by how much a rounded tax may be off


@dataclass(frozen=True, slots=True)
class Understood:
    """How a table would be read.

    shape: its name. told: all of it in plain words. guessed: the settings that nobody gave, by their names in the file
    for --columns.
    """

    shape: str
    columns: ColumnNames
    told: tuple[str, ...]
    guessed: tuple[str, ...]


def understand(path: str | Path, columns: ColumnNames | None = None) -> Understood:
    """Look at the beginning of a table and guess what nobody has said of it.

    Parameters
    ----------
    path : as for `read_records`.
    columns : what is known already; none of it is guessed anew.

    Returns
    -------
    Understood
        Its `columns` are those to read with, once somebody has agreed. No value of a row is in its texts.

    Raises
    ------
    RecordsError
        There is no such file, or no shape of ours can be made of its columns.

    Examples
    --------
    >>> import tempfile
    >>> from growth.records.demo import DemoBusiness, write_demo
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "charges.csv"
    ...     _ = write_demo(DemoBusiness(months=24), file, seed=1)
    ...     understand(file).shape
    'charges'
    """
    path, columns = table_path(path), columns or ColumnNames()
    header = table_header(path)
    guesses: dict[str, Any] = {}
    try:
        shape, places = columns.find(header, file=str(path))
    except RecordsError:
        names, missing = _names(header, columns)
        if missing:
            there = [ours for ours in names if ours not in missing]
            if not there or columns.columns.keys() - names.keys():
                raise
            rest = ", ".join(f"{ours}: ..." for ours in missing)
            fix = f"Say in a file for --columns what the rest is called: columns: {{{rest}}}"
            rule = f"columns that tell {' and '.join(missing)}"
            raise RecordsError([Problem("", rule, f"only {', '.join(there)}", fix, 1)], file=str(path)) from None
        guesses["columns"] = names
        shape, places = columns.model_copy(update=guesses).find(header, file=str(path))
    known = columns.model_copy(update=guesses)
    texts = _first_rows(path, known, places)
    guesses |= _dates(texts, known) | _amounts(texts, known)
    known = columns.model_copy(update=guesses)
    guesses |= _tax(texts, known)
    if known.discount == "share" and (share := _bare_numbers(texts.get("discount"))).size and share.max() > 1:
        guesses["discount"] = "percent"
    if "cents" in known.theirs("amount").casefold() and columns.amounts == "major":
        guesses["amounts"] = "minor"
    if "letter_case" not in columns.model_fields_set and spelled_twice(
        pa.array(texts["customer"], pa.string()).unique()
    ):
        guesses["letter_case"] = "ignored"
    known = columns.model_copy(update=guesses)
    return Understood(shape.name, known, _told(shape, header, texts, known, set(guesses)), tuple(guesses))


def settings_text(columns: ColumnNames) -> str:
    """The text of a file for --columns that says all that is not at its default.

    >>> print(settings_text(ColumnNames(columns={"date": "Paid on"}, dates="day-month-year")))
    # How the records are to be read; growth measure --columns takes it.
    columns:
      date: Paid on
    dates: day-month-year
    <BLANKLINE>
    """
    out = io.StringIO()
    yaml = YAML()
    yaml.width = 120
    yaml.dump(columns.model_dump(mode="json", exclude_defaults=True), out)
    return "# How the records are to be read; growth measure --columns takes it.\n" + out.getvalue()


def _first_rows(path: Path, columns: ColumnNames, ours: Iterable[str]) -> dict[str, list[str]]:
    """Return the texts of the first rows by our names of the columns."""
    block = next(table_blocks(path, columns, FIRST_ROWS), None)
    if block is None:
        return {name: [] for name in ours}
    first = {name: column.slice(0, FIRST_ROWS).dictionary_decode() for name, column in block.columns.items()}
    return {name: as_strings(column)[0].to_pylist() for name, column in first.items()}


def _names(header: list[str], given: ColumnNames) -> tuple[dict[str, str], list[str]]:
    """Return what our columns are called, and which needed ones are missing: of the shape that fits best."""
    plain = {_plain(name): name for name in reversed(header)}
    best: dict[str, str] = {}
    lacking = list(SHAPES[0].needed)
    for shape in SHAPES:
        found: dict[str, str] = {}
        for ours in shape.columns:
            ways = (given.columns[ours],) if ours in given.columns else (ours, *ALSO.get(ours, ()))
            theirs = next((plain[_plain(way)] for way in ways if _plain(way) in plain), None)
            if theirs is not None and theirs not in found.values():
                found[ours] = theirs
        missing = [ours for ours in shape.needed if ours not in found]
        if (len(missing), -len(found)) < (len(lacking), -len(best)):
            best, lacking = found, missing
    names = {ours: theirs for ours, theirs in best.items() if ours != theirs or ours in given.columns or lacking}
    return names, lacking


def _dates(texts: dict[str, list[str]], known: ColumnNames) -> dict[str, Any]:
    """Guess the order of day and month. What does not tell it: the order by which the dates are of more months."""
    if known.dates is not None:
        return {}
    dates = [text for ours in DATES for text in texts.get(ours, ()) if text]
    odd = [text for text in dates if not (DAY.fullmatch(text) or MONTH.fullmatch(text))]
    if not odd:
        return {}
    found = {}
    for order in PLACES:
        iso = iso_dates(pa.array(odd), order).to_pylist()
        months = [text[:7] for text in iso if _is_day(text)]
        found[order] = (len(months), len(set(months)))
    best = max(found, key=lambda order: found[order])
    return {"dates": best} if found[best][0] > len(odd) / 2 else {}


def _is_day(text: str) -> bool:
    try:
        np.datetime64(text, "D")
    except ValueError:
        return False
    return bool(DAY.fullmatch(text) or MONTH.fullmatch(text))


def _amounts(texts: dict[str, list[str]], known: ColumnNames) -> dict[str, Any]:
    """Guess decimal sign, thousands separator and currency sign."""
    guesses: dict[str, Any] = {}
    amounts = [text.strip() for ours in AMOUNTS for text in texts.get(ours, ()) if text.strip()]
    found = [match for text in amounts if (match := WITH_SIGN.fullmatch(text))]
    signs = sorted({match[1] or match[2] for match in found})
    codes = {SIGNS.get(sign, sign.upper()) for sign in signs}
    if signs and not known.signs and ("currency" in texts or len(codes) == 1):
        guesses["signs"] = tuple(signs)
        if known.currency is None and "currency" not in texts:
            guesses["currency"] = codes.pop()
    if known.decimal != "." or known.thousands:
        return guesses
    bare = [re.sub(rf"\s*{MONEY_SIGN}\s*", "", text) for text in amounts]
    numbers = pa.array(bare, pa.string())
    right = [
        sum(text != "?" for text in plain_numbers(numbers, decimal=decimal, thousands=thousands).to_pylist())
        for decimal, thousands in WAYS
    ]
    decimal, thousands = WAYS[right.index(max(right))]
    if (decimal, thousands) != (".", ""):
        guesses |= {"decimal": decimal} if decimal != "." else {}
        guesses |= {"thousands": thousands} if thousands else {}
    return guesses


def _tax(texts: dict[str, list[str]], known: ColumnNames) -> dict[str, Any]:
    """Guess whether amounts include the tax beside them: the share that it is has to be a round one."""
    if known.tax is not None or "tax" not in texts or "amount" not in texts:
        return {}
    amount, tax = (_numbers(texts[ours], known) for ours in ("amount", "tax"))
    taxed = np.flatnonzero((np.abs(tax) > 0) & (np.abs(amount) > np.abs(tax)))
    if not taxed.size:
        return {}
    votes = {}
    for word, base in (("added", amount), ("included", amount - tax)):
        rate = tax[taxed] / base[taxed]
        off = np.abs(rate - np.rint(rate / RATE_STEP) * RATE_STEP)
        votes[word] = int((off < CENT / np.abs(base[taxed])).sum())
    best = max(votes, key=lambda word: votes[word])
    return {"tax": best} if votes[best] > 0.8 * taxed.size and min(votes.values()) < votes[best] else {}


def _numbers(texts: list[str], known: ColumnNames) -> np.ndarray:
    plain = plain_numbers(
        pa.array(texts, pa.string()), decimal=known.decimal, thousands=known.thousands, signs=known.signs
    )
    return np.array([float(text) if re.fullmatch(r"\s*[+-]?[0-9.]+\s*", text) else 0.0 for text in plain.to_pylist()])


def _bare_numbers(texts: list[str] | None) -> np.ndarray:
    return np.array([float(text) for text in texts or () if re.fullmatch(r"[0-9]+(\.[0-9]+)?", text.strip())])


def _told(
    shape: Shape, header: list[str], texts: dict[str, list[str]], known: ColumnNames, guessed: set[str]
) -> tuple[str, ...]:
    """Say how the table is read, a line for each thing that might be otherwise."""

    def line(what: str, how: str, *settings: str) -> str:
        return f"{what}: {how}" + (" (a guess)" if guessed & set(settings) else "")

    read = [
        f"{ours} from “{known.theirs(ours)}”" if known.theirs(ours) != ours else ours
        for ours in shape.columns
        if ours in texts
    ]
    rest = [" ".join(name.split())[:60] for name in header if name not in {known.theirs(ours) for ours in texts}]
    rest = [name for name in rest if name and name.isprintable()]
    told = [line("columns", f"{', '.join(read)}; read as {shape.name}", "columns")]
    told += [f"not read: {', '.join(rest)}"] if rest else []
    if known.letter_case == "ignored":
        how = "those that differ by upper and lower case or blanks alone are one"
        told.append(line("customers", how, "letter_case"))
    example = {
        "year-month-day": "year, month, day",
        "day-month-year": "day before month, so 03/02/2025 is 3 February",
        "month-day-year": "month before day, so 03/02/2025 is 2 March",
    }
    days = example[known.dates or "year-month-day"]
    if known.dates in ("day-month-year", "month-day-year") and "dates" in guessed and not _order_is_told(texts):
        days += "; the dates alone do not tell"
    some = [text for ours in DATES for text in texts.get(ours, ())[:99]]
    if any(re.search("[A-Za-z]{3}", text) for text in some):
        days += "; months that are names need no order"
    zoned = any(re.search(ZONED, text) for text in some)
    if zoned or known.zone:
        days += f"; in the time of {known.zone}" if known.zone else "; as written, whatever their time zone"
    told.append(line("dates", days, "dates"))
    group = {"": "nothing", ",": "a comma", ".": "a point", " ": "a blank", "'": "an apostrophe"}[known.thousands]
    sign = "comma" if known.decimal == "," else "point"
    unit = "cents" if known.amounts == "minor" else "whole units, not cents"
    how = f"a decimal {sign}, {group} between thousands, {unit}"
    told.append(line("amounts", how, "decimal", "thousands", "signs", "amounts"))
    nobody = "EUR, as nobody said another"
    by_column = "as the column says" + (f", converted to {known.currency}" if known.currency and known.rates else "")
    told.append(line("currency", by_column if "currency" in texts else known.currency or nobody, "currency"))
    tax = {
        "included": "in the amounts, and taken off",
        "added": "not in the amounts",
        None: "nothing is taken off the amounts",
    }
    told.append(line("tax", tax[known.tax], "tax"))
    if "status" in texts:
        told.append(line("status", "all rows count" if known.paid == "any" else "what was not paid does not count"))
    if "discount" in texts:
        discount = {"share": "a share of the price", "percent": "a percentage", "amount": "an amount off each bill"}
        told.append(line("discount", discount[known.discount], "discount"))
    return tuple(told)


def _order_is_told(texts: dict[str, list[str]]) -> bool:
    """Whether some date has a number above 12 where a month might stand."""
    pattern = re.compile(f"([0-9]{{1,2}}){SEPARATOR}([0-9]{{1,2}}){SEPARATOR}[0-9]{{2,4}}{TIME}")
    found = (pattern.fullmatch(text.strip()) for ours in DATES for text in texts.get(ours, ()))
    return any(max(int(match[1]), int(match[2])) > 12 for match in found if match)


def _plain(name: str) -> str:
    """Return a name without what differs between "customerId", "Customer_ID", "Customer ID (internal)" and our own."""
    return "".join(sign for sign in re.sub(r"\(.*?\)", "", name).casefold() if sign.isalnum())
