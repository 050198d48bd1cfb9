"""Where the rows of a sweep are kept: appended line by line, so that stopping it at any moment costs nothing.

A row counts as done when its whole line is on the disk. A line cut short by a kill is cut off when the file
is opened again; its scenario is then designed again.
"""

from __future__ import annotations

import csv
import errno
import io
import os
import stat
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import IO, Final, Protocol

from optimizer.errors import Fault, FileFaults
from optimizer.outputs import check_output
from optimizer.sweep.lock import lock
from optimizer.sweep.worker import Cell, Row
from optimizer.tables import csv_number
from optimizer.trials.cells import neutral

__all__ = ["Columns", "CsvLedger", "Ledger", "cell_text", "cells_of_line", "csv_line", "unwritten"]

Columns = Sequence[tuple[str, bool]]
"""Name of each column and whether it holds numbers; the first two name the scenario and the job."""

_KEY_LENGTH: Final = 16
_KEY_LETTERS: Final = b"0123456789abcdef"
_NEW: Final = "Name another file for this sweep, or remove the old one."


class Ledger(Protocol):
    """A file of rows that knows which scenarios are done."""

    @property
    def done(self) -> set[int]:
        """Scenarios with a row, by the number their key stands for."""

    def append(self, row: Row) -> None:
        """Put a row on the disk and its scenario among the done; `FileFaults` where it cannot."""

    def close(self) -> None:
        """Let go of the file; what was appended is complete."""


class CsvLedger:
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
            raise unwritten(self.path, error, "Free some room") from None
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
        written = self._file.write(line)
        if written != len(line):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        os.fsync(self._file.fileno())
        self._end += written

    def _take_up(self) -> int:
        """Return where the next line goes, after the header or after the last whole line."""
        if not lock(self._file):
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
            self._begin()
        return self._end

    def _begin(self) -> None:
        """Write the header, or leave the file empty where there is no room for it."""
        try:
            self._write(self._header)
        except OSError:
            self._file.truncate(0)
            raise

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
        if len(cells) != len(self.columns) or not _is_key(cells[0]):
            raise self._fault(f"a damaged row {number}", "Delete that row, or name another file.")
        if cells[1] != self.job:
            raise self._fault("rows of another job, other materials or another version", _NEW)
        self.done.add(int(cells[0], 16))

    def _fault(self, value: str, repair: str) -> FileFaults:
        return FileFaults([Fault(str(self.path), value, "a new file, or rows of this very job", repair)])


def unwritten(path: Path, error: Exception, repair: str) -> FileFaults:
    """Return the fault of a file that cannot be written, with its repair."""
    reason = getattr(error, "strerror", None) or str(error)
    again = "; what was answered before is kept, the same command goes on from there."
    return FileFaults([Fault(str(path), reason, "a file to write", repair + again)])


def _is_key(text: str) -> bool:
    return len(text) == _KEY_LENGTH and set(text.encode()) <= set(_KEY_LETTERS)


def _opened(path: Path) -> IO[bytes]:
    if path.exists() and not stat.S_ISREG(path.stat().st_mode):
        raise OSError(0, "a folder" if path.is_dir() else "no ordinary file")
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o644)
    return open(descriptor, "rb+", buffering=0)


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
