"""Opening the file of a trial book: one short-lived connection per call, so no thread ever shares one.

Writing needs the write-ahead log and `synchronous = FULL`: a commit returns when the entry is on the
disk. A book in a folder that may not be written is read through a private copy or as an unchanging file.
"""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Final

from optimizer.errors import short
from optimizer.outputs import BOOK_MARK
from optimizer.trials.rows import readable_text
from optimizer.trials.schema import MIGRATIONS, check_schema, entry_digest, migrate, version_of
from optimizer.trials.trial_errors import SALVAGE, BookDamaged, NotABook, translated

_UNWRITABLE: Final = (
    "SQLITE_READONLY",
    "SQLITE_CANTOPEN",
    "SQLITE_PERM",
    "SQLITE_FULL",
    "SQLITE_IOERR_WRITE",
    "SQLITE_IOERR_SHM",
    "SQLITE_IOERR_TRUNCATE",
)
"""Errors of a file, folder or disk that takes nothing more: reading goes on from a copy."""

CHECKED_UP_TO: Final = 8 * 2**20
"""Books up to this size are looked through on opening, larger ones when all of them is read [bytes]."""

_PAUSE: Final = 0.02
"""Between two attempts to switch a new book to the write-ahead log [s]."""


def prepare(path: Path, timeout: float) -> None:
    """Make the book if there is none, bring an older one up to date, and look for damage.

    Parameters
    ----------
    timeout : float
        How long to wait for other programs [s].

    Raises
    ------
    BookError
        Of the kind that fits.
    """
    if path.exists() and not path.is_file():
        value = "a folder" if path.is_dir() else "a device or pipe"
        raise NotABook(path, value, "a file to keep the trial book in", "Name a file, such as trials.db.")
    fresh = not path.exists() or path.stat().st_size == 0
    with translated(path):
        if not fresh:
            _examine(path, timeout)
        try:
            with closing(_connect(path, "rwc" if fresh else "rw", timeout)) as connection:
                version_of(connection, path)
                _write_ahead(connection, timeout)
                migrate(connection, path)
                check_schema(connection, path)
        except sqlite3.OperationalError as error:
            if fresh or not _unwritable(error):
                raise


@contextmanager
def writing(path: Path, timeout: float) -> Iterator[sqlite3.Connection]:
    """Give a connection inside one transaction: all of it is written, or nothing.

    Parameters
    ----------
    timeout : float
        How long to wait for other programs [s].

    Raises
    ------
    BookError
        Of the kind that fits; the transaction is then undone.
    """
    with translated(path), closing(_connect(path, "rw", timeout)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        try:
            yield connection
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


@contextmanager
def reading(path: Path, timeout: float, everything: bool = False) -> Iterator[sqlite3.Connection]:
    """Give a connection that sees one unchanging state of the book.

    Parameters
    ----------
    timeout : float
        How long to wait for other programs [s].
    everything : bool
        True when all of it will be read: a large book is then looked through for damage first [-].

    Raises
    ------
    BookError
        Of the kind that fits.
    """
    with translated(path), _open_to_read(path, timeout) as connection:
        connection.execute("BEGIN")
        if everything and path.stat().st_size > CHECKED_UP_TO:
            _look_through(connection, path)
        yield connection


def _connect(path: Path, mode: str, timeout: float) -> sqlite3.Connection:
    address = f"{path.absolute().as_uri()}?mode={mode}"
    connection = sqlite3.connect(address, uri=True, timeout=timeout, isolation_level=None)
    try:
        connection.row_factory = sqlite3.Row
        connection.text_factory = readable_text
        connection.create_function("entry_digest_of", 7, entry_digest, deterministic=True)
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection


@contextmanager
def _open_to_read(path: Path, timeout: float) -> Iterator[sqlite3.Connection]:
    shared = _shared_connection(path, timeout)
    if shared is not None:
        with closing(shared):
            yield shared
        return
    with _private_copy(path) as copy, closing(_connect(copy, "ro&immutable=1", timeout)) as connection:
        yield connection


def _shared_connection(path: Path, timeout: float) -> sqlite3.Connection | None:
    """Return a connection that works beside writers; None where the folder may not be written."""
    try:
        return _connect(path, "rw", timeout)
    except sqlite3.Error as error:
        if _unwritable(error) and path.exists():
            return None
        raise


@contextmanager
def _private_copy(path: Path) -> Iterator[Path]:
    """Give a file that can be read as unchanging: the book itself, or a copy with its log merged in."""
    log = path.with_name(path.name + "-wal")
    if not log.exists() or log.stat().st_size == 0:
        with closing(_connect(path, "ro&immutable=1", 1.0)) as connection:
            current = version_of(connection, path) == len(MIGRATIONS)
        if current:
            yield path
            return
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder, path.name)
        shutil.copyfile(path, copy)
        if log.exists():
            shutil.copyfile(log, copy.with_name(log.name))
        with closing(_connect(copy, "rw", 1.0)) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            migrate(connection, path)
        yield copy


def _unwritable(error: sqlite3.Error) -> bool:
    name = getattr(error, "sqlite_errorname", None) or ""
    return name.startswith(_UNWRITABLE)


def _examine(path: Path, timeout: float) -> None:
    """Raise `BookDamaged` when the pages of the file do not fit together, or entries are missing."""
    with path.open("rb") as file:
        head = file.read(72)
    if not head.startswith(b"SQLite format 3\0"):
        if head[68:] == BOOK_MARK:
            raise BookDamaged(path, "a damaged head of the file", "a whole book", SALVAGE)
        raise NotABook(path, "a file of another kind", "a trial book", "Name another file.")
    with _damage(path), _open_to_read(path, timeout) as connection:
        if path.stat().st_size <= CHECKED_UP_TO:
            _look_through(connection, path)


def _look_through(connection: sqlite3.Connection, path: Path) -> None:
    """Raise `BookDamaged` when pages or definitions are not as they were written, or entries are missing."""
    with _damage(path):
        version = version_of(connection, path)
        found = [row[0] for row in connection.execute("PRAGMA integrity_check(3)")]
        if found == ["ok"] and version:
            check_schema(connection, path)
            found += _missing(connection)
    if found != ["ok"]:
        raise BookDamaged(path, f"damaged content ({short(found[-1])})", "a whole book", SALVAGE)


def _missing(connection: sqlite3.Connection) -> list[str]:
    """Tell whether entries that were given a number are missing: numbers are given out without gaps."""
    given = connection.execute("SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = 'entry'")
    held = connection.execute("SELECT count(*), coalesce(max(number), 0) FROM entry")
    last = given.fetchone()[0]
    return [] if tuple(held.fetchone()) == (last, last) else ["entries are missing"]


@contextmanager
def _damage(path: Path) -> Iterator[None]:
    """Turn what a book that was whole would never make the database say into damage."""
    try:
        yield
    except sqlite3.Error as error:
        if (getattr(error, "sqlite_errorname", None) or "SQLITE_ERROR") == "SQLITE_ERROR":
            raise BookDamaged(path, f"damaged content ({short(error)})", "a whole book", SALVAGE) from error
        raise


def _write_ahead(connection: sqlite3.Connection, timeout: float) -> None:
    """Switch to the write-ahead log; SQLite does not wait for others here, so we do."""
    until = time.monotonic() + timeout
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL").fetchone()
            return
        except sqlite3.OperationalError as error:
            busy = (error.sqlite_errorname or "").startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))
            if not busy or time.monotonic() > until:
                raise
        time.sleep(_PAUSE)
