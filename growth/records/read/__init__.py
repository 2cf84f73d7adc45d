"""Reading billing records: CSV or Parquet, each shape, and what cannot be read."""

from growth.records.read.column_names import ColumnNames, load_columns
from growth.records.read.guess import Understood, understand
from growth.records.read.records_file import read_records
from growth.records.read.rows import RecordsError, Rows, Unreadable
from growth.records.read.snapshot import snapshot_table

__all__ = [
    "ColumnNames",
    "RecordsError",
    "Rows",
    "Understood",
    "Unreadable",
    "load_columns",
    "read_records",
    "snapshot_table",
    "understand",
]
