"""A table of trials read from or written to a file: what CSV and spreadsheet files have in common."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from optimizer.errors import Fault, FileFaults
from optimizer.trials.cells import Row, read_row, row_faults
from optimizer.trials.columns import Header, read_header
from optimizer.trials.fields import WORDS
from optimizer.trials.import_choices import ImportChoices
from optimizer.trials.layout import Layout, laid_out
from optimizer.trials.records import Trial, Version

MOST_BYTES: Final = 256 * 2**20
"""Largest file read [bytes]."""

MOST_ROWS: Final = 200_000
"""Most rows read [count]."""

MOST_COLUMNS: Final = 1_000
"""Most cells read of one row [count]."""

MOST_CELLS: Final = 1_000_000
"""Most cells read of one file [count]: some 20,000 trials with every reading noted."""

_COMMA: Final = re.compile(r"\s*-?[0-9]+,[0-9]+(\s*[^0-9.,]*)?")


@dataclass(frozen=True)
class Table:
    """What a file of trials says.

    Attributes
    ----------
    versions : tuple[Version, ...]
        Trials of the rows without fault, in order.
    rows : tuple[int, ...]
        Row of each of them in the file; the header is row 1.
    faults : tuple[Fault, ...]
        Every fault of every other row, with row and column.
    read : Mapping[int, Row]
        Every row as read, faulty ones as far as they could be read.
    name : str
        Name of the file, for faults.
    layout : Layout
        What its columns were taken for, and what a person has to confirm before the trials are kept.
    """

    versions: tuple[Version, ...]
    rows: tuple[int, ...]
    faults: tuple[Fault, ...]
    read: Mapping[int, Row]
    name: str
    layout: Layout

    @property
    def trials(self) -> tuple[Trial, ...]:
        """The trials of the rows without fault."""
        return tuple(version.trial for version in self.versions)


def check_size(path: Path) -> None:
    """Raise `FileFaults` when the file is missing, no file, or larger than `MOST_BYTES`.

    Raises
    ------
    FileFaults
        With the repair.
    """
    if not path.is_file():
        raise FileFaults([Fault(str(path), "no such file", "a CSV or XLSX file", "Correct the path.")])
    size = path.stat().st_size
    if size > MOST_BYTES:
        allowed = f"at most {MOST_BYTES // 2**20} MiB"
        raise FileFaults([Fault(str(path), f"{size / 2**20:.0f} MiB", allowed, "Split the file.")])


def read_table(
    rows: Iterable[Sequence[str]],
    where: str,
    decimal_comma: bool | None,
    today: dt.date | None = None,
    materials: Collection[str] = (),
    choices: ImportChoices | None = None,
) -> Table:
    """Read and check all rows of a table.

    Parameters
    ----------
    decimal_comma : bool | None
        How numbers are written; None: see whether the file uses a decimal comma anywhere [-].
    today : datetime.date | None
        The day after which a date is in the future; None: the machine's date [-].
    materials, choices : Collection[str], ImportChoices | None
        As in `layout.laid_out` [-].

    Raises
    ------
    FileFaults
        When the header has faults or questions (faults of the rows come with them), or there are more than
        `MOST_ROWS` rows, `MOST_COLUMNS` cells in one or `MOST_CELLS` in all.
    """
    layout = laid_out(_counted(rows, where), where, materials, choices)
    headers, wrong = read_header(layout.names, where, layout.header_row, layout.written)
    numbered = layout.rows
    if len(numbered) > MOST_ROWS:
        raise FileFaults([Fault(where, f"{len(numbered)} rows", f"at most {MOST_ROWS}", "Split the file.")])
    if decimal_comma is None:
        decimal_comma = any(_with_comma(cells, headers) for _, cells in numbered)
    places = {number: f"{where}:row {number}" for number, _ in numbered}
    read = {number: read_row(cells, headers, places[number], decimal_comma) for number, cells in numbered}
    faults = {number: row_faults(row, places[number], today) for number, row in read.items()}
    found = tuple(fault for each in faults.values() for fault in each)
    if wrong or layout.questions:
        raise FileFaults((*wrong, *layout.questions, *found))
    kept = tuple(number for number in read if not faults[number])
    return Table(tuple(read[number].version for number in kept), kept, found, read, where, layout)


def too_many_cells(where: str) -> FileFaults:
    """Return the error of a file with more than `MOST_CELLS` cells."""
    repair = "Split the file, or delete empty rows and columns and save it again."
    return FileFaults([Fault(where, f"more than {MOST_CELLS} cells", f"at most {MOST_CELLS}", repair)])


def _counted(rows: Iterable[Sequence[str]], where: str) -> Iterator[Sequence[str]]:
    """Give the rows for as long as there are no more cells than may be read."""
    cells = 0
    for number, row in enumerate(rows, start=1):
        if len(row) > MOST_COLUMNS:
            repair = "Clear what stands beyond your last column and save the file again."
            read, allowed = f"{len(row)} columns", f"at most {MOST_COLUMNS}"
            raise FileFaults([Fault(f"{where}:row {number}", read, allowed, repair)])
        cells += len(row)
        if cells > MOST_CELLS:
            raise too_many_cells(where)
        yield row


def _with_comma(cells: Sequence[str], headers: Sequence[Header | None]) -> bool:
    """Tell whether a number of the row is written with a decimal comma; text and dates do not count."""
    return any(
        header is not None and header.column.unit not in WORDS and _COMMA.fullmatch(cell)
        for header, cell in zip(headers, cells, strict=False)
    )
