"""The ledger as CSV files: readable by the import, and harmless in a spreadsheet."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from growth.earned.columns import KINDS, THOUSANDTHS, Kind, LedgerError, guarded
from growth.earned.ledger import Ledger
from growth.errors import Problem
from growth.output import write_outputs


def export(ledger: Ledger, *, to: str | Path, as_of: int | None = None, replace: bool = False) -> list[Path]:
    """Writes pieces.csv, days.csv and buyers.csv into a folder; as_of: as the ledger stood after that import.

    replace: overwrite files of these names; without it FileError is raised where one is there, and none is written. A
    text that a spreadsheet would take for a formula gets an apostrophe in front, which the import takes off again.
    """
    contents = {f"{kind.name}.csv": _text(kind, ledger.rows(kind.name, as_of=as_of)) for kind in KINDS.values()}
    try:
        return write_outputs(to, contents, inputs=[ledger.file], replace=replace)
    except OSError as error:
        raise LedgerError([Problem("", "it cannot be written", error.strerror or str(error))], file=str(to)) from None


def _text(kind: Kind, rows: list[tuple]) -> str:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(kind.names)
    money = {column.name for column in kind.columns if column.read.__name__ == "_money"}
    for row in rows:
        writer.writerow([_cell(value, name in money) for name, value in zip(kind.names, row, strict=True)])
    return out.getvalue()


def _cell(value: object, money: bool) -> str:
    if money:
        return f"{value / THOUSANDTHS:.3f}".rstrip("0").rstrip(".")
    return guarded(value) if isinstance(value, str) else f"{value:g}" if isinstance(value, float) else str(value)
