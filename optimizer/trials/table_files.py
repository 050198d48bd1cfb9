"""Trials as CSV or XLSX: written so that nothing is lost, read so that a studio's own file is understood.

Export of CSV is UTF-8, comma and decimal point; or, for spreadsheets of the decimal comma, semicolon and
decimal comma with the mark by which they know UTF-8. Text that a spreadsheet would run as a formula is
neutralized.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import zipfile
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Final

from optimizer.errors import Fault, FileFaults, VesselblendError, short
from optimizer.outputs import write_whole
from optimizer.trials.cells import Cell, Row, cell_text, read_row, row_faults, write_row
from optimizer.trials.columns import Header, headers_for, read_header
from optimizer.trials.fields import WORDS
from optimizer.trials.import_choices import ImportChoices
from optimizer.trials.layout import Layout, laid_out
from optimizer.trials.records import Trial, Version, as_versions

if TYPE_CHECKING:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.worksheet._read_only import ReadOnlyWorksheet
    from openpyxl.worksheet._write_only import WriteOnlyWorksheet

_SEPARATORS: Final = (",", ";", "\t")
_LOOKED_AT: Final = 100_000
"""Letters of a file in which its separator is looked for [count]."""

_MOST_UNPACKED: Final = 64 * 2**20
"""Most that the parts of a file may hold, and the cells as text [bytes, letters]."""

_MOST_OTHER_TAGS: Final = 200_000
"""Most tags of all else, such as styles [count]."""

_PIECE: Final = 2**20
_LONGEST_WORD: Final = 16
_CELL_TAG: Final = re.compile(rb"</?(?:[\w.-]+:)?(?:row|c|v|is|si|t)[\s/>]")
_DECLARED: Final = re.compile(rb"<!(?:DOCTYPE|ENTITY)")
_DEEPEST: Final = 30
"""Rows there may be around the trials: titles, a header, units, totals [count]."""

MOST_BYTES: Final = 256 * 2**20
"""Largest file read [bytes]."""

MOST_ROWS: Final = 200_000
"""Most rows read [count]."""

MOST_COLUMNS: Final = 1_000
"""Most cells read of one row [count]."""

MOST_CELLS: Final = 1_000_000
"""Most cells read of one file [count]: some 20,000 trials with every reading noted."""

_MOST_TAGS: Final = 4 * MOST_CELLS
"""Most tags of rows, cells and their texts [count]: a cell has four, opened and closed."""

_COMMA: Final = re.compile(r"\s*-?[0-9]+,[0-9]+(\s*[^0-9.,]*)?")


def write_csv_text(trials: Sequence[Trial | Version], decimal_comma: bool = False) -> str:
    """Return `trials` as the text of a CSV file.

    Header and one row per trial or version; numbers with every digit.

    Parameters
    ----------
    trials : Sequence[Trial | Version]
        Records, or all versions of them [-].
    decimal_comma : bool
        True: semicolons between cells, decimal comma in numbers [-].

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


def write_xlsx(trials: Sequence[Trial | Version], path: Path) -> None:
    """Write `trials` to the first sheet of a new spreadsheet file.

    Parameters
    ----------
    trials : Sequence[Trial | Version]
        Records, or all versions of them [-].
    path : Path
        File to make or replace [-].

    Raises
    ------
    FileFaults
        When the file cannot be written.
    """
    import openpyxl

    versions = as_versions(trials)
    columns = headers_for(versions)
    workbook = openpyxl.Workbook(write_only=True)
    sheet = workbook.create_sheet("trials")
    sheet.append([column.header for column in columns])
    for version in versions:
        sheet.append([_cell(sheet, cell) for cell in write_row(version, columns)])
    content = io.BytesIO()
    workbook.save(content)
    write_whole(path, content.getvalue())


def read_xlsx(
    path: Path,
    today: dt.date | None = None,
    materials: Collection[str] = (),
    choices: ImportChoices | None = None,
) -> Table:
    """Read the trials on the first sheet with content of a spreadsheet file.

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
    content = path.read_bytes()
    try:
        rows, others = _unpacked(content, path.name)
    except VesselblendError:
        raise
    except Exception as error:  # whatever a damaged part makes the archive or its reader stumble over
        allowed, repair = (
            "an XLSX file",
            "Open it in a spreadsheet program and save it as XLSX, or as CSV UTF-8.",
        )
        raise FileFaults(
            [Fault(path.name, f"a file that is not XLSX ({short(error)})", allowed, repair)]
        ) from None
    table = read_table(rows, path.name, False, today, materials, choices)
    if not others:
        return table
    repair = "Save each sheet of trials as a file of its own if they hold trials, too: they are not read."
    fault = Fault(path.name, f"more sheets: {', '.join(map(repr, others))}", "one sheet of trials", repair)
    return replace(table, layout=replace(table.layout, doubts=(*table.layout.doubts, fault)))


def _unpacked(content: bytes, name: str) -> tuple[list[list[str]], list[str]]:
    """Return the rows of the first sheet with content and the names of others, if they can be unpacked."""
    import openpyxl

    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        _check_parts(archive, name)

    workbook = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    rows: list[list[str]] = []
    others: list[str] = []
    for sheet in workbook.worksheets:
        if not any(rows):
            rows = list(_rows(sheet, name))
        elif any(islice(_rows(sheet, name), _DEEPEST)):
            others.append(str(sheet.title))
    workbook.close()
    return rows, others


def _check_parts(archive: zipfile.ZipFile, name: str) -> None:
    """Refuse a file before it is parsed where its parts would swell: by their bytes and by their tags.

    An archive is never unpacked beyond the sizes it states, so these bound what is read here and later.
    """
    unpacked = sum(part.file_size for part in archive.infolist())
    if unpacked > _MOST_UNPACKED:
        allowed = f"at most {_MOST_UNPACKED // 2**20} MiB"
        raise FileFaults([Fault(name, f"{unpacked / 2**20:.0f} MiB unpacked", allowed, "Split the file.")])
    cells = others = 0
    for part in archive.infolist():
        tail = b""
        with archive.open(part) as stream:
            while read := stream.read(_PIECE):
                piece = read.replace(b"\0", b"")  # letters of two bytes hide no tag
                if _DECLARED.search(tail + piece):
                    raise _declared(name, part.filename)
                of_cells = len(_CELL_TAG.findall(piece))
                cells += of_cells
                others += piece.count(b"<") - of_cells
                tail = piece[-_LONGEST_WORD:]
                if cells > _MOST_TAGS or others > _MOST_OTHER_TAGS:
                    raise too_many_cells(name)


def _declared(name: str, part: str) -> FileFaults:
    """Return the error of a part that declares texts of its own, which no spreadsheet program writes."""
    repair = "Open it in a spreadsheet program and save it as XLSX, or as CSV UTF-8."
    return FileFaults([Fault(name, f"declarations in {part}", "a spreadsheet without them", repair)])


def _cell(sheet: WriteOnlyWorksheet, value: Cell) -> WriteOnlyCell | str | int | None:
    """Return the cell to write; left to itself, openpyxl writes 16 digits of a float, one too few."""
    if not isinstance(value, float):
        return value if value != "" else None
    from openpyxl.cell import WriteOnlyCell

    cell = WriteOnlyCell(sheet, repr(float(value)))
    cell.data_type = "n"
    return cell


def _rows(sheet: ReadOnlyWorksheet, name: str) -> Iterator[list[str]]:
    """Give the rows that hold something; what a sheet claims of its size is not believed."""
    sheet.reset_dimensions()
    count = letters = 0
    for number, row in enumerate(sheet.iter_rows(), start=1):
        count += len(row)
        if count > MOST_CELLS:
            raise too_many_cells(name)
        if number > MOST_ROWS + _DEEPEST:
            repair = "Split the file, or delete the empty rows above the last one and save it again."
            raise FileFaults([Fault(name, f"more than {MOST_ROWS} rows", f"at most {MOST_ROWS}", repair)])
        cells = [_text(cell.value, cell.number_format) for cell in row]
        letters += sum(map(len, cells))
        if letters > _MOST_UNPACKED:
            read, allowed = "a text repeated too often", f"at most {_MOST_UNPACKED // 2**20} million letters"
            raise FileFaults([Fault(f"{name}:row {number}", read, allowed, "Shorten the texts.")])
        while cells and not cells[-1]:
            cells.pop()
        yield cells


def _text(value: object, shown: str) -> str:
    """Return a cell as it reads: a share shown as percent is one, a duration has its unit."""
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat()
    if isinstance(value, dt.timedelta):
        return f"{value.total_seconds() / 60.0!r} min"
    if isinstance(value, float | int) and not isinstance(value, bool) and shown.endswith("%"):
        return f"{100.0 * value:.12g} %"
    return repr(value) if isinstance(value, float) else str(value)


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
