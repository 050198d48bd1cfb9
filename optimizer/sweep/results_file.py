"""Where the rows of a sweep are kept: appended line by line, so that stopping it at any moment costs nothing.

A row counts as done when its whole line is on the disk. A line cut short by a kill is cut off when the file
is opened again; its scenario is then designed again. A folder of Parquet files takes each row in a journal of
this kind; a full journal becomes a part, written beside its place and moved there. Readers of Parquet folders
pass over the journal, whose name begins with an underscore. Killed between the two steps, the rows of the
last part are in the journal too; they are taken out of it when the folder is opened again.
"""

from __future__ import annotations

import csv
import errno
import io
import os
import stat
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import IO, Final, Protocol

from optimizer.errors import Fault, FileFaults
from optimizer.outputs import check_output, to_disk
from optimizer.sweep.worker import Cell, Row
from optimizer.tables import csv_number
from optimizer.trials.cells import neutral, restored

Columns = Sequence[tuple[str, bool]]
"""Name of each column and whether it holds numbers; the first two name the scenario and the job."""

_KEY_LENGTH: Final = 16
_KEY_LETTERS: Final = b"0123456789abcdef"
_NEW: Final = "Name another file for this sweep, or remove the old one."
_JOURNAL: Final = "_rows.csv"
_PART_ROWS: Final = 2000


class ResultsFile(Protocol):
    """A file of rows that knows which scenarios are done."""

    @property
    def done(self) -> set[int]:
        """Scenarios with a row, by the number their key stands for."""

    def append(self, row: Row) -> None:
        """Put a row on the disk and its scenario among the done; `FileFaults` where it cannot."""

    def close(self) -> None:
        """Let go of the file; what was appended is complete."""


def results_at(path: Path, columns: Columns, job: str) -> ResultsFile:
    """Return the file at a path: a folder of Parquet files for the ending ``.parquet``, else a CSV file.

    Parameters
    ----------
    path, columns
        File to make or to go on with, and the columns of every row.

    Raises
    ------
    FileFaults
        If the file holds something else, is written by another process, or cannot be written.
    """
    try:
        kind = ParquetResults if path.suffix.lower() == ".parquet" else CsvResults
        return kind(path, columns, job)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        repair = "Name a file in a folder that exists and may be written."
        raise FileFaults([Fault(str(path), reason, "a file to write", repair)]) from None


class CsvResults:
    """A CSV file that only ever grows by whole lines.

    Attributes
    ----------
    done : set[int]
        Scenarios with a row, by the number their key stands for.
    exact : bool
        True keeps every digit of a number, for a journal that becomes something else.
    """

    def __init__(self, path: Path, columns: Columns, job: str, *, exact: bool = False) -> None:
        self.path, self.columns, self.job, self.exact = path, columns, job, exact
        self.done: set[int] = set()
        self._header = csv_line(name for name, _ in columns)
        self._file = _opened(path)
        try:
            self._end = self._take_up()
        except BaseException:
            self._file.close()
            raise

    def append(self, row: Row) -> None:
        """Put a row on the disk; what there is no room for is taken back, and `FileFaults` raised."""
        try:
            self._write(csv_line(row, exact=self.exact))
        except OSError as error:
            self._file.truncate(self._end)
            raise _unwritten(self.path, error) from None
        self.done.add(int(str(row[0]), 16))

    def lines(self) -> Iterator[list[str]]:
        """Iterate over the cells of the rows, header left out."""
        with self.path.open("rb") as file:
            next(file, None)
            yield from (cells_of_line(line) for line in file)

    def clear(self) -> None:
        """Take all rows out again; `done` keeps them."""
        self._file.truncate(0)
        self._end = 0
        self._write(self._header)

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()

    def _write(self, text: str) -> None:
        line = text.encode()
        self._file.seek(self._end)
        if self._file.write(line) != len(line):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        os.fsync(self._file.fileno())
        self._end += len(line)

    def _take_up(self) -> int:
        """Return where the next line goes, after the header or after the last whole line."""
        if not _lock(self._file):
            raise self._fault("in use by another sweep", "Wait until it has ended.")
        check_output(self.path)
        self._end = 0
        for number, line in enumerate(self._file, start=1):
            if not line.endswith(b"\n"):
                self._check_tail(number, line)
                break
            self._check(number, cells_of_line(line))
            self._end += len(line)
        self._file.truncate(self._end)
        if self._end == 0:
            try:
                self._write(self._header)
            except OSError:  # left empty where there is no room for it
                self._file.truncate(0)
                raise
        return self._end

    def _check_tail(self, number: int, line: bytes) -> None:
        """Refuse a last line that is not the beginning of a row of ours: it would be cut off."""
        if number == 1:
            if not self._header.encode().startswith(line):
                raise self._fault("other columns", _NEW)
            return
        key, rest = line[:_KEY_LENGTH], line[_KEY_LENGTH:]
        mark = f",{self.job},".encode()
        if set(key) - set(_KEY_LETTERS) or rest[: len(mark)] != mark[: len(rest)]:
            raise self._fault(f"a row {number} of something else", "Delete that row, or name another file.")

    def _check(self, number: int, cells: list[str]) -> None:
        if number == 1:
            if cells != [name for name, _ in self.columns]:
                raise self._fault("other columns", _NEW)
            return
        key = cells[0].encode() if len(cells) == len(self.columns) else b""
        if len(key) != _KEY_LENGTH or set(key) - set(_KEY_LETTERS):
            raise self._fault(f"a damaged row {number}", "Delete that row, or name another file.")
        if cells[1] != self.job:
            raise self._fault("rows of another job, other materials or another version", _NEW)
        self.done.add(int(cells[0], 16))

    def _fault(self, value: str, repair: str) -> FileFaults:
        return FileFaults([Fault(str(self.path), value, "a new file, or rows of this very job", repair)])


class ParquetResults:
    """A folder of Parquet parts with a journal."""

    def __init__(self, folder: Path, columns: Columns, job: str, part_rows: int = _PART_ROWS) -> None:
        if folder.exists() and not folder.is_dir():
            raise OSError(0, "a file where a folder of parts is to be")
        self.folder, self.columns, self._part_rows = folder, columns, part_rows
        self._in_parts: set[int] = set()
        self._waiting = 0
        folder.mkdir(exist_ok=True)
        self._journal = CsvResults(folder / _JOURNAL, columns, job, exact=True)
        try:
            self._take_up(job)
        except BaseException:
            self._journal.close()
            raise

    @property
    def done(self) -> set[int]:
        """Scenarios with a row, by the number their key stands for."""
        return self._journal.done

    def append(self, row: Row) -> None:
        """Put a row on the disk; `FileFaults` where there is no room."""
        self._journal.append(row)
        self._waiting += 1
        if self._waiting >= self._part_rows:
            self._turn_to_part()

    def close(self) -> None:
        """Turn what is left in the journal to a part, and take the journal away."""
        try:
            if self._waiting:
                self._turn_to_part()
        finally:
            self._journal.close()
        (self.folder / _JOURNAL).unlink(missing_ok=True)

    def _take_up(self, job: str) -> None:
        for part in sorted(self.folder.glob("part-*.parquet")):
            self._check(part, job)
        for draft in self.folder.glob(f"_part-{'[0-9]' * 6}.parquet"):
            draft.unlink()
        if self._journal.done & self._in_parts:
            self._journal.clear()
        else:
            self._waiting = len(self._journal.done)
        self._journal.done.update(self._in_parts)

    def _check(self, part: Path, job: str) -> None:
        import pyarrow as pa
        import pyarrow.parquet as pq

        names = [name for name, _ in self.columns]
        try:
            table = pq.read_table(part, columns=names[:2], partitioning=None)
            known = pq.read_schema(part).names
        except (pa.ArrowException, KeyError, OSError) as error:
            raise _foreign_part(part, f"no part of a sweep ({str(error).splitlines()[0]})") from None
        if known != names or set(table[names[1]].to_pylist()) - {job}:
            raise _foreign_part(part, "rows of another sweep, job or version")
        self._in_parts.update(int(key, 16) for key in table[names[0]].to_pylist())

    def _turn_to_part(self) -> None:
        import pyarrow as pa
        import pyarrow.parquet as pq

        rows = list(self._journal.lines())
        kinds = [(name, pa.float64() if number else pa.string()) for name, number in self.columns]
        columns = [[_typed(row[k], number) for row in rows] for k, (_, number) in enumerate(self.columns)]
        arrays = [pa.array(cells, kind) for cells, (_, kind) in zip(columns, kinds, strict=True)]
        number = 1 + max((int(p.stem[5:]) for p in self.folder.glob("part-*.parquet")), default=0)
        draft = self.folder / f"_part-{number:06d}.parquet"
        try:
            pq.write_table(pa.Table.from_arrays(arrays, schema=pa.schema(kinds)), draft)
            to_disk(draft)
            draft.replace(self.folder / f"part-{number:06d}.parquet")
        except OSError as error:
            raise _unwritten(self.folder, error) from None
        self._journal.clear()
        self._waiting = 0


def _typed(cell: str, number: bool) -> float | str | None:
    if number:
        return float(cell) if cell else None
    return restored(cell) or None


def _foreign_part(path: Path, value: str) -> FileFaults:
    repair = "Name another folder for this sweep, or remove the old one."
    return FileFaults([Fault(str(path), value, "parts of this very sweep", repair)])


def _unwritten(path: Path, error: OSError) -> FileFaults:
    repair = "Free some room; what was answered before is kept, the same command goes on from there."
    return FileFaults([Fault(str(path), error.strerror or str(error), "a file to write", repair)])


def _opened(path: Path) -> IO[bytes]:
    if path.exists() and not stat.S_ISREG(path.stat().st_mode):
        raise OSError(0, "a folder" if path.is_dir() else "no ordinary file")
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o644)
    return open(descriptor, "rb+", buffering=0)


def _lock(file: IO[bytes]) -> bool:
    """Lock an open file for this process, however that ends; False when another holds it."""
    try:
        if sys.platform == "win32":
            import msvcrt

            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def cell_text(cell: Cell, *, exact: bool = False) -> str:
    """Return a cell as it stands in a CSV file: six digits or every one, nothing a spreadsheet would run.

    Examples
    --------
    >>> cell_text(1.0 / 3.0), cell_text(None), cell_text("=1+1")
    ('0.333333', '', "'=1+1")
    """
    if cell is None:
        return ""
    if isinstance(cell, str):
        return neutral(cell)
    return repr(float(cell)) if exact else csv_number(cell)


def cells_of_line(line: bytes) -> list[str]:
    r"""Return the cells of one line of a CSV file.

    Examples
    --------
    >>> cells_of_line(b'a,"b, c"\n')
    ['a', 'b, c']
    """
    return next(csv.reader([line.decode("utf-8", "replace").rstrip("\r\n")]), [])


def csv_line(cells: Iterable[Cell], *, exact: bool = False) -> str:
    r"""Return one line of a CSV file with its end; cells as `cell_text` has them.

    Examples
    --------
    >>> csv_line(["a, b", 0.5, None])
    '"a, b",0.5,\n'
    """
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerow(cell_text(cell, exact=exact) for cell in cells)
    return out.getvalue()
