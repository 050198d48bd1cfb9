"""Open the ledger that fits a path: rows of CSV, or a folder of Parquet files."""

from __future__ import annotations

from pathlib import Path

from optimizer.errors import Fault, FileFaults
from optimizer.sweep.ledger import Columns, CsvLedger, Ledger
from optimizer.sweep.parquet import ParquetLedger

__all__ = ["ledger_at"]


def ledger_at(path: Path, columns: Columns, job: str) -> Ledger:
    """Return the ledger at a path: a folder of Parquet files for the ending ``.parquet``, else a CSV file.

    Parameters
    ----------
    path
        File to make, or to go on with.
    columns
        Of every row.
    job
        What stands in the rows' second column.

    Raises
    ------
    FileFaults
        If the file holds something else, is written by another process, or cannot be written.
    """
    try:
        if path.suffix.lower() == ".parquet":
            return ParquetLedger(path, columns, job)
        return CsvLedger(path, columns, job)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        repair = "Name a file in a folder that exists and may be written."
        raise FileFaults([Fault(str(path), reason, "a file to write", repair)]) from None
