"""Trials as CSV: written so that nothing is lost, read so that a studio's own file is understood.

Export is UTF-8, comma and decimal point; or, for spreadsheets of the decimal comma, semicolon and decimal
comma with the mark by which they know UTF-8. Text that a spreadsheet would run as a formula is neutralized.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from typing import Final

from optimizer.errors import Fault, FileFaults
from optimizer.outputs import write_whole
from optimizer.trials.cells import cell_text, write_row
from optimizer.trials.columns import headers_for
from optimizer.trials.import_choices import ImportChoices
from optimizer.trials.records import Trial, Version, as_versions
from optimizer.trials.tables import Table, check_size, read_table

_SEPARATORS: Final = (",", ";", "\t")
_LOOKED_AT: Final = 100_000
"""Letters of a file in which its separator is looked for [count]."""


def write_csv_text(trials: Sequence[Trial | Version], decimal_comma: bool = False) -> str:
    """Return `trials` as the text of a CSV file.

    Parameters
    ----------
    trials : Sequence[Trial | Version]
        Records, or all versions of them [-].
    decimal_comma : bool
        True: semicolons between cells, decimal comma in numbers [-].

    Returns
    -------
    str
        Header and one row per trial or version; numbers with every digit.

    Examples
    --------
    >>> text = write_csv_text([Trial(dt.date(2026, 3, 2), id="a", water=105.5)], decimal_comma=True)
    >>> text.splitlines()[1][:26]
    'a;2026-03-02;;;;;105,5;;;;'
    """
    versions = as_versions(trials)
    columns = headers_for(versions)
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=";" if decimal_comma else ",", lineterminator="\r\n")
    writer.writerow([column.header for column in columns])
    for version in versions:
        writer.writerow([cell_text(cell, decimal_comma) for cell in write_row(version, columns)])
    return out.getvalue()


def write_csv(trials: Sequence[Trial | Version], path: Path, decimal_comma: bool = False) -> None:
    """Write `trials` to a CSV file, replacing an older one only when whole.

    Parameters
    ----------
    trials : Sequence[Trial | Version]
        Records, or all versions of them [-].
    decimal_comma : bool
        As in `write_csv_text` [-].

    Raises
    ------
    FileFaults
        When the file cannot be written.
    """
    content = write_csv_text(trials, decimal_comma).encode("utf-8-sig" if decimal_comma else "utf-8")
    write_whole(path, content)


def read_csv(
    path: Path,
    today: dt.date | None = None,
    materials: Collection[str] = (),
    choices: ImportChoices | None = None,
) -> Table:
    """Read a CSV file of trials.

    Parameters
    ----------
    today : datetime.date | None
        The day after which a date is in the future; None: the machine's date [-].
    materials, choices : Collection[str], ImportChoices | None
        As in `layout.laid_out` [-].

    Raises
    ------
    FileFaults
        When the file as a whole cannot be read.
    """
    check_size(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = path.read_bytes()[: error.start].count(b"\n") + 1
        allowed, repair = "UTF-8 text", "Save it as 'CSV UTF-8' in the spreadsheet program."
        raise FileFaults(
            [Fault(f"{path.name}:line {line}", "a byte that is not UTF-8", allowed, repair)]
        ) from None
    return read_csv_text(text, path.name, today, materials, choices)


def read_csv_text(
    text: str,
    where: str = "text",
    today: dt.date | None = None,
    materials: Collection[str] = (),
    choices: ImportChoices | None = None,
) -> Table:
    """Read the text of a CSV file of trials; comma, semicolon or tab between cells.

    Parameters
    ----------
    today, materials, choices : datetime.date | None, Collection[str], ImportChoices | None
        As in `read_csv` [-].

    Raises
    ------
    FileFaults
        When the text as a whole cannot be read.
    """
    text = text.removeprefix("\ufeff")
    named = re.match(r"sep=(.)\r?\n", text)
    separator = named[1] if named else _separator(text)
    body = text[named.end() :] if named else text
    rows = _cells(body, separator, where)
    return read_table(rows, where, None if separator == ";" else False, today, materials, choices)


def _cells(text: str, separator: str, where: str) -> Iterator[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        yield from reader
    except csv.Error as error:
        repair = "Check the quotes of this row: every opening quote needs a closing one."
        place = f"{where}:line {reader.line_num}"
        raise FileFaults([Fault(place, str(error), "well-formed CSV", repair)]) from None


def _separator(text: str) -> str:
    """Return the separator that splits one of the first lines into the most cells; 0,5 is no two cells."""
    lines = re.sub(r'"[^"]*"', "", text[:_LOOKED_AT]).splitlines()[:25]
    plain = [re.sub("(?<=[0-9]),(?=[0-9])", "", line) for line in lines]
    return max(_SEPARATORS, key=lambda sign: max((line.count(sign) for line in plain), default=0))
