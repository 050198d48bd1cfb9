"""What can go wrong with the file of a trial book, as our own errors with a repair.

::

    VesselblendError
    `-- BookError               exit code 4: the file of the trial book cannot be used as asked
        |-- BookBusy            another program holds it; nothing was written
        |-- BookReadOnly        it, or its folder, may not be written
        |-- BookFull            the disk is full; nothing was written
        |-- BookDamaged         its content is damaged; what is readable can be exported
        |-- BookNewer           written by a newer version
        |-- NotABook            a file of another kind
        |-- NoSuchTrial         no trial of that name
        `-- BookConflict        somebody else changed or named the trial first
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from optimizer.errors import Fault, VesselblendError, short

SALVAGE = "Export what is readable to CSV, import it into a new book, and keep the damaged file."
"""The repair of a damaged book."""


class BookError(VesselblendError):
    """The trial book cannot be used as asked; carries path, value, allowed and repair in `fault`."""

    exit_code = 4

    def __init__(self, path: Path, value: str, allowed: str, repair: str) -> None:
        self.path = path
        self.fault = Fault(str(path), value, allowed, repair)
        super().__init__(str(self.fault))


class BookBusy(BookError):
    """Another program holds the book; nothing was written."""


class BookReadOnly(BookError):
    """The book or its folder may not be written; reading and export still work."""


class BookFull(BookError):
    """The disk is full; nothing of the last entry was written, all earlier ones are there."""


class BookDamaged(BookError):
    """The content of the book is damaged."""


class BookNewer(BookError):
    """The book was written by a newer version of this program."""


class NotABook(BookError):
    """The file is no trial book."""


class NoSuchTrial(BookError):
    """The book holds no trial of that name."""


class BookConflict(BookError):
    """Somebody else changed or named the trial first."""


_BUSY = (
    BookBusy,
    "a book another program is writing to",
    "a free book",
    "Close the other program, or try again.",
)
_READ_ONLY = (
    BookReadOnly,
    "a book, or a folder, that may not be written",
    "a book in a folder you may write",
    "Copy the book to a folder of yours, or ask for the right to write; reading and export work as it is.",
)
_FULL = (
    BookFull,
    "a disk without room for the entry",
    "some free room",
    "Free some room and enter it again; everything entered before is still there.",
)
_DAMAGED = (BookDamaged, "damaged content", "a whole book", SALVAGE)
_ALIEN = (NotABook, "a file of another kind", "a trial book", "Name another file, or let a new book be made.")
_UNOPENED = (
    BookReadOnly,
    "a file that cannot be opened",
    "a trial book, in a folder that exists and may be written",
    "Make the folder, correct the path, or copy the book to a folder of yours.",
)

_BY_CODE = {
    "SQLITE_BUSY": _BUSY,
    "SQLITE_LOCKED": _BUSY,
    "SQLITE_READONLY": _READ_ONLY,
    "SQLITE_PERM": _READ_ONLY,
    "SQLITE_FULL": _FULL,
    "SQLITE_IOERR_WRITE": _FULL,
    "SQLITE_IOERR_FSYNC": _FULL,
    "SQLITE_IOERR_SHMSIZE": _FULL,
    "SQLITE_CORRUPT": _DAMAGED,
    "SQLITE_IOERR_SHORT_READ": _DAMAGED,
    "SQLITE_NOTADB": _ALIEN,
    "SQLITE_CANTOPEN": _UNOPENED,
}


@contextmanager
def translated(path: Path) -> Iterator[None]:
    """Turn an error of the database into one of ours, with its repair.

    Raises
    ------
    BookError
        Of the kind that fits; errors that are our own fault pass through.
    """
    try:
        yield
    except sqlite3.Error as error:
        found = _by_code(getattr(error, "sqlite_errorname", None) or "")
        if found is None:
            raise
        kind, value, allowed, repair = found
        raise kind(path, f"{value} ({short(error)})", allowed, repair) from error
    except UnicodeDecodeError as error:  # the database names a damaged definition in its own message
        raise BookDamaged(path, "text that does not decode", "a whole book", SALVAGE) from error
    except OSError as error:
        kind, value, allowed, repair = _UNOPENED
        raise kind(path, f"{value} ({error.strerror or error})", allowed, repair) from error


def _by_code(name: str) -> tuple[type[BookError], str, str, str] | None:
    """Find the most exact code: SQLITE_BUSY_SNAPSHOT is a SQLITE_BUSY."""
    while name.count("_"):
        if name in _BY_CODE:
            return _BY_CODE[name]
        name = name.rpartition("_")[0]
    return None
