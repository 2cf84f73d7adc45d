"""The ledger as CSV files, which the import reads back."""

from __future__ import annotations

from pathlib import Path

from growth.earned.ledger import Ledger
from growth.earned.ledger_csv import csv_text
from growth.earned.ledger_files import KINDS, LedgerError
from growth.errors import Problem
from growth.output import write_outputs


def export(ledger: Ledger, *, to: str | Path, as_of: int | None = None, replace: bool = False) -> list[Path]:
    """Write pieces.csv, days.csv and buyers.csv.

    Parameters
    ----------
    ledger
        The ledger, opened.
    to
        The folder; it is made where it is missing.
    as_of
        The number of an import: the rows as they stood after it. None: as they stand now.
    replace
        Overwrite files of these names.

    Returns
    -------
    list of Path
        The three files.

    Raises
    ------
    FileError
        A file of these names is there; none was written.
    LedgerError
        The folder or a file in it cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> with Ledger(":memory:", create=True) as ledger, tempfile.TemporaryDirectory() as folder:
    ...     [path.name for path in export(ledger, to=folder)]
    ['pieces.csv', 'days.csv', 'buyers.csv']
    """
    contents = {f"{kind.name}.csv": csv_text(kind, ledger.rows(kind.name, as_of=as_of)) for kind in KINDS.values()}
    try:
        return write_outputs(to, contents, inputs=[ledger.file], replace=replace)
    except OSError as error:
        raise LedgerError([Problem("", "it cannot be written", error.strerror or str(error))], file=str(to)) from None
