"""Reading what is left of a damaged book, so that nothing readable is lost.

Works on a copy. Rows are read one by one; a row that cannot be read is passed over. A trial whose readings
are not all there any more is told by the digests taken when it was written.
"""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Final

from optimizer.errors import short
from optimizer.outputs import BOOK_MARK
from optimizer.trials.records import Trial, Version, as_versions
from optimizer.trials.rows import DAMAGED, GROUPS, Entry, bare, entry_from, readable_text
from optimizer.trials.trial_errors import BookDamaged, translated

_HEAD: Final = {
    0: b"SQLite format 3\0",
    20: b"\0\x40\x20\x20",
    44: b"\0\0\0\4",
    56: b"\0\0\0\1",
    68: BOOK_MARK,
}
"""Bytes that are the same in every book (sqlite.org/fileformat2.html, from memory)."""

_LEAST_ROW: Final = 16
"""Bytes that the shortest row of a book takes with its place in the page; bounds the rows of a file [B]."""


@dataclass(frozen=True)
class Salvage:
    """What could be read of a damaged book: each trial once, by its newest version.

    Attributes
    ----------
    trials : tuple[Trial, ...]
        Whole trials that count, by date.
    void : tuple[Version, ...]
        Whole trials that are void, with the reason.
    partial : tuple[Trial, ...]
        Trials whose newest version is damaged or lost, as far as they can be read: look at them first.
    lost : tuple[int, ...]
        Running numbers of entries that were given out and cannot be read.
    """

    trials: tuple[Trial, ...]
    void: tuple[Version, ...]
    partial: tuple[Trial, ...]
    lost: tuple[int, ...]

    @property
    def versions(self) -> tuple[Version, ...]:
        """All of it, ready to be exported; what is not whole is void."""
        broken = (Version(trial, void=True, reason=DAMAGED) for trial in self.partial)
        return (*as_versions(self.trials), *self.void, *broken)


@dataclass(frozen=True)
class _Known:
    """What the indexes still say about entries, whether their rows can be read or not.

    Attributes
    ----------
    ids : dict[int, str]
        Id of each entry.
    days : dict[int, str]
        Day of each entry.
    complete : bool
        True when the index of ids could be read to its end.
    """

    ids: dict[int, str]
    days: dict[int, str]
    complete: bool


def salvage(path: Path) -> Salvage:
    """Read everything that can still be read from a book.

    Parameters
    ----------
    path : Path
        File of the book; it is not touched [-].

    Raises
    ------
    BookDamaged
        When not even the list of tables can be read.
    """
    with tempfile.TemporaryDirectory() as folder, translated(path):
        copy = Path(folder, "copy.db")
        shutil.copyfile(path, copy)
        _mend_head(copy)
        log = path.with_name(path.name + "-wal")
        if log.exists():
            shutil.copyfile(log, copy.with_name("copy.db-wal"))
        with closing(sqlite3.connect(copy, isolation_level=None)) as connection:
            connection.row_factory = sqlite3.Row
            connection.text_factory = readable_text
            try:
                most = sum(file.stat().st_size for file in copy.parent.iterdir()) // _LEAST_ROW
                return _sorted(path, connection, most)
            except (
                sqlite3.Error,
                LookupError,
                TypeError,
                UnicodeDecodeError,
            ) as error:  # definitions that are no longer ours
                raise _unreadable(path, short(error)) from error


def _mend_head(copy: Path) -> None:
    """Write anew what the first bytes of every book say, whatever they say now."""
    with copy.open("r+b") as file:
        for place, content in _HEAD.items():
            file.seek(place)
            file.write(content)


def _unreadable(path: Path, reason: str) -> BookDamaged:
    repair = "Restore the last copy of the file; nothing in it can be read."
    return BookDamaged(path, f"no readable entry ({reason})", "at least one readable entry", repair)


def _sorted(path: Path, connection: sqlite3.Connection, most: int) -> Salvage:
    """Read a book that holds no more than `most` rows in any table."""
    readings = _all_readings(connection, most)
    rows = list(_readable(connection, "entry", most))
    entries = {row["number"]: entry_from(row, readings[row["number"]]) for row in rows}
    known = _known(connection)
    last = max((*entries, *known.ids), default=0)
    if not known.complete:
        last = max(last, _highest(connection, "entry", most))
    if last and not entries and not known.ids:
        raise _unreadable(path, "no row of it")
    broken = [number for number in range(1, last + 1) if number not in entries or not entries[number].whole]
    whole = {entry.trial.id: entry for _, entry in sorted(entries.items()) if entry.whole}
    spoiled = _spoiled(broken, entries, known, whole)
    standing = sorted(
        (entry for id, entry in whole.items() if id not in spoiled),
        key=lambda entry: (entry.trial.date, entry.trial.id),
    )
    return Salvage(
        trials=tuple(entry.trial for entry in standing if entry.counts),
        void=tuple(
            Version(entry.trial, void=True, reason=entry.reason) for entry in standing if not entry.counts
        ),
        partial=tuple(spoiled[id] for id in sorted(spoiled)),
        lost=tuple(number for number in broken if number not in entries),
    )


def _spoiled(
    broken: Sequence[int], entries: Mapping[int, Entry], known: _Known, whole: Mapping[str, Entry]
) -> dict[str, Trial]:
    """Return by id the trials whose newest version is broken, as far as they can be read.

    A broken entry may belong to the trial the index names and to the one its row names, which may be the
    damage. Where the index names none it may belong to any trial: all of its older entries are in doubt, for
    it may have made one of them void.
    """
    found: dict[str, Trial] = {}
    for number in broken:
        row = entries.get(number)
        older = {id for id in whole if number > whole[id].number}
        ids = {known.ids[number]} if number in known.ids else older
        ids |= {row.trial.id} if row is not None else set()
        for id in ids:
            if id in whole and whole[id].number > number:
                continue
            if row is not None and row.trial.id == id:
                found[id] = row.trial
            elif id in whole:
                found.setdefault(id, whole[id].trial)
            else:
                found.setdefault(id, bare(id, known.days.get(number, "")))
    return found


def _known(connection: sqlite3.Connection) -> _Known:
    """Read the indexes of table entry, which hold id and day of each entry a second time."""
    ids: dict[int, str] = {}
    days: dict[int, str] = {}
    complete = False
    with suppress(sqlite3.Error, UnicodeDecodeError):
        order = "SELECT number, id FROM entry INDEXED BY sqlite_autoindex_entry_1 WHERE id >= ''"
        ids.update(map(tuple, connection.execute(order)))
        complete = True
    with suppress(sqlite3.Error, UnicodeDecodeError):
        order = "SELECT number, date FROM entry INDEXED BY entry_by_date WHERE date >= ''"
        days.update(map(tuple, connection.execute(order)))
    return _Known(ids, days, complete)


def _all_readings(connection: sqlite3.Connection, most: int) -> dict[int, dict[str, list[Any]]]:
    found: dict[int, dict[str, list[Any]]] = defaultdict(lambda: defaultdict(list))
    for group, (table, kind) in GROUPS.items():
        for row in sorted(_readable(connection, table, most), key=lambda row: (row["entry"], row["place"])):
            item = (
                row[table] if kind is str else kind(**{field.name: row[field.name] for field in fields(kind)})
            )
            found[row["entry"]][group].append(item)
    return found


def _readable(connection: sqlite3.Connection, table: str, most: int) -> Iterator[sqlite3.Row]:
    """Give every row of the table that can be read, by row number, passing over damaged places.

    A book is only added to, so the numbers of its rows have no gaps and are no greater than `most`.
    """
    last, end = 0, _highest(connection, table, most)
    while last < end:
        try:
            for row in connection.execute(
                f"SELECT rowid AS r, * FROM {table} WHERE rowid > ? ORDER BY rowid", (last,)
            ):
                last = row["r"]
                yield row
            return
        except (sqlite3.DatabaseError, UnicodeDecodeError):
            last += 1


def _highest(connection: sqlite3.Connection, table: str, most: int) -> int:
    """Return the highest row number in use, from whichever place can still be read, or else `most`."""
    questions = (
        f"SELECT seq FROM sqlite_sequence WHERE name = '{table}'",
        f"SELECT max(rowid) FROM {table}",
        f"SELECT max(rowid) FROM (SELECT rowid FROM {table} ORDER BY entry DESC, place DESC LIMIT 50)",
    )
    for question in questions:
        with suppress(sqlite3.DatabaseError, UnicodeDecodeError):
            row = connection.execute(question).fetchone()
            if row is not None:
                return min(int(row[0] or 0), most)
    return most
