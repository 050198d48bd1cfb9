"""Reading what is left of a damaged book, so that nothing readable is lost.

Works on a copy. Rows are read one by one; a row that cannot be read is passed over. A trial whose readings
are not all there any more is told by the fingerprint taken when it was written.
"""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Final

from optimizer.trials.records import Trial
from optimizer.trials.rows import GROUPS, entry_from
from optimizer.trials.schema import version_of
from optimizer.trials.troubles import BookDamaged, translated

__all__ = ["Salvage", "salvage"]

_MOST_GAPS: Final = 200_000
"""Row numbers tried one by one behind a damaged place before giving a table up."""


@dataclass(frozen=True)
class Salvage:
    """What could be read of a damaged book.

    Attributes
    ----------
    trials : tuple[Trial, ...]
        Newest readable version of each trial that is whole, by date.
    partial : tuple[Trial, ...]
        Newest versions with readings missing: look at them before using them.
    lost : tuple[int, ...]
        Running numbers of entries that were given out and cannot be read.
    """

    trials: tuple[Trial, ...]
    partial: tuple[Trial, ...]
    lost: tuple[int, ...]


def salvage(path: Path) -> Salvage:
    """Read everything that can still be read from a book.

    Parameters
    ----------
    path : Path
        File of the book; it is not touched [-].

    Returns
    -------
    Salvage
        Whole trials, partial ones, and the numbers of lost entries.

    Raises
    ------
    BookDamaged
        When not even the list of tables can be read.
    """
    with tempfile.TemporaryDirectory() as folder, translated(path):
        copy = Path(folder, "copy.db")
        shutil.copyfile(path, copy)
        log = path.with_name(path.name + "-wal")
        if log.exists():
            shutil.copyfile(log, copy.with_name("copy.db-wal"))
        with closing(sqlite3.connect(copy, isolation_level=None)) as connection:
            connection.row_factory = sqlite3.Row
            version_of(connection, path)
            return _sorted(path, connection)


def _sorted(path: Path, connection: sqlite3.Connection) -> Salvage:
    readings = _all_readings(connection)
    entries = {}
    for row in _readable(connection, "entry"):
        with suppress(ValueError, TypeError):  # a date or number that is no longer one
            entries[row["number"]] = entry_from(row, readings[row["number"]])
    last = _highest(connection, "entry")
    if last and not entries:
        repair = "Restore the last copy of the file; nothing in it can be read."
        raise BookDamaged(path, "no readable entry", "at least one readable entry", repair)
    newest = {entry.trial.id: entry for _, entry in sorted(entries.items())}
    current = sorted(
        (entry for entry in newest.values() if not entry.withdrawn),
        key=lambda entry: (entry.trial.date, entry.trial.id),
    )
    return Salvage(
        trials=tuple(entry.trial for entry in current if entry.whole),
        partial=tuple(entry.trial for entry in current if not entry.whole),
        lost=tuple(number for number in range(1, last + 1) if number not in entries),
    )


def _all_readings(connection: sqlite3.Connection) -> dict[int, dict[str, list[Any]]]:
    found: dict[int, dict[str, list[Any]]] = defaultdict(lambda: defaultdict(list))
    for group, (table, kind) in GROUPS.items():
        for row in sorted(_readable(connection, table), key=lambda row: (row["entry"], row["place"])):
            item = (
                row[table] if kind is str else kind(**{field.name: row[field.name] for field in fields(kind)})
            )
            found[row["entry"]][group].append(item)
    return found


def _readable(connection: sqlite3.Connection, table: str) -> Iterator[sqlite3.Row]:
    """Give every row of the table that can be read, by row number, passing over damaged places."""
    last, end, gaps = 0, _highest(connection, table), 0
    while last < end and gaps < _MOST_GAPS:
        try:
            for row in connection.execute(
                f"SELECT rowid AS r, * FROM {table} WHERE rowid > ? ORDER BY rowid", (last,)
            ):
                last = row["r"]
                yield row
            return
        except sqlite3.DatabaseError:
            last, gaps = last + 1, gaps + 1


def _highest(connection: sqlite3.Connection, table: str) -> int:
    """Return the highest row number in use, from whichever place can still be read."""
    questions = (
        f"SELECT seq FROM sqlite_sequence WHERE name = '{table}'",
        f"SELECT max(rowid) FROM {table}",
        f"SELECT max(rowid) FROM (SELECT rowid FROM {table} ORDER BY entry DESC, place DESC LIMIT 50)",
    )
    for question in questions:
        with suppress(sqlite3.DatabaseError):
            row = connection.execute(question).fetchone()
            if row is not None:
                return int(row[0] or 0)
    return _MOST_GAPS
