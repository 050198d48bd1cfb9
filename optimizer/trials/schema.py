"""The tables of the trial book, and how an older book becomes a current one.

Append only: an `entry` is one version of one trial; a correction is a further entry of the same trial
with the next revision. Triggers refuse every change and deletion, whoever asks. The readings of an entry
are rows that point to it. Add a migration to the end of `MIGRATIONS`; never change one that was shipped.
"""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing
from functools import lru_cache
from pathlib import Path
from typing import Final

from optimizer.outputs import BOOK_MARK
from optimizer.trials.trial_errors import SALVAGE, BookDamaged, BookNewer, NotABook

APPLICATION: Final = int.from_bytes(BOOK_MARK)
"""Marks the file as a trial book."""

_ENTRY_PARTS: Final = 7
_SCHEMA: Final = "SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL"

READINGS: Final = ("portion", "label", "weighing", "strength", "burn", "reject")
"""Tables whose rows belong to an entry, one row per reading, ordered by `place`."""

_ENTRY: Final = """
CREATE TABLE entry (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL CHECK (id <> ''),
    revision INTEGER NOT NULL CHECK (revision >= 1),
    recorded TEXT NOT NULL,
    reason TEXT NOT NULL DEFAULT '',
    withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)),
    digest TEXT NOT NULL,
    date TEXT NOT NULL,
    water REAL CHECK (water >= 0),
    water_temperature REAL,
    room_temperature REAL,
    humidity REAL CHECK (humidity BETWEEN 0 AND 1),
    damp_cure REAL CHECK (damp_cure >= 0),
    vessel TEXT NOT NULL,
    cavity_volume REAL CHECK (cavity_volume > 0),
    "cast" INTEGER CHECK ("cast" >= 0),
    sold_order TEXT NOT NULL,
    fresh_density REAL CHECK (fresh_density > 0),
    window_end REAL CHECK (window_end >= 0),
    initial_set REAL CHECK (initial_set >= 0),
    final_set REAL CHECK (final_set >= initial_set),
    demold REAL CHECK (demold >= initial_set AND demold >= final_set),
    casting_peak REAL,
    whiteness REAL CHECK (whiteness BETWEEN 0 AND 100),
    whiteness_error REAL CHECK (whiteness_error >= 0),
    remarks TEXT NOT NULL,
    UNIQUE (id, revision)
) STRICT"""

_OWNED: Final = "entry INTEGER NOT NULL REFERENCES entry (number), place INTEGER NOT NULL CHECK (place >= 0)"

_FIRST: Final = (
    _ENTRY,
    f"""CREATE TABLE portion ({_OWNED},
        material TEXT NOT NULL CHECK (material <> ''), mass REAL NOT NULL CHECK (mass >= 0),
        lot TEXT NOT NULL, UNIQUE (entry, place)) STRICT""",
    f"CREATE TABLE label ({_OWNED}, label TEXT NOT NULL CHECK (label <> ''), UNIQUE (entry, place)) STRICT",
    f"""CREATE TABLE weighing ({_OWNED},
        age REAL NOT NULL CHECK (age >= 0), mass REAL NOT NULL CHECK (mass > 0),
        UNIQUE (entry, place)) STRICT""",
    f"""CREATE TABLE strength ({_OWNED}, value REAL NOT NULL CHECK (value >= 0), age REAL CHECK (age >= 0),
        state TEXT NOT NULL CHECK (state IN ('', 'wet', 'dry')),
        kind TEXT NOT NULL CHECK (kind IN ('compressive', 'flexural')), method TEXT NOT NULL,
        sense TEXT NOT NULL CHECK (sense IN ('=', '>=', '<=')), error REAL CHECK (error >= 0),
        UNIQUE (entry, place)) STRICT""",
    f"""CREATE TABLE burn ({_OWNED}, "outer" REAL, "inner" REAL, error REAL CHECK (error >= 0),
        burn_rate REAL CHECK (burn_rate > 0), wicks INTEGER NOT NULL CHECK (wicks >= 1),
        exposure TEXT NOT NULL, room REAL, UNIQUE (entry, place)) STRICT""",
    f"""CREATE TABLE reject ({_OWNED}, cause TEXT NOT NULL CHECK (cause <> ''),
        count INTEGER NOT NULL CHECK (count >= 1), UNIQUE (entry, place)) STRICT""",
    "CREATE INDEX entry_by_date ON entry (date, id)",
    "CREATE INDEX entry_by_digest ON entry (digest)",
    "CREATE INDEX portion_by_lot ON portion (lot) WHERE lot <> ''",
    "CREATE INDEX label_by_label ON label (label)",
    """CREATE VIEW latest AS SELECT * FROM entry WHERE NOT EXISTS (
        SELECT 1 FROM entry AS later WHERE later.id = entry.id AND later.revision = entry.revision + 1)""",
    "CREATE VIEW current AS SELECT * FROM latest WHERE withdrawn = 0",
    *(
        f"""CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table}
        BEGIN SELECT RAISE(ABORT, 'the trial book only grows: add a correction'); END"""
        for table in ("entry", *READINGS)
        for act in ("UPDATE", "DELETE")
    ),
)

_SECOND: Final = (
    """ALTER TABLE entry ADD COLUMN demold_first REAL CHECK (
        demold_first >= initial_set AND demold_first >= final_set AND demold_first <= demold)""",
)

_THIRD: Final = (
    "ALTER TABLE entry ADD COLUMN absorption REAL CHECK (absorption >= 0)",
    "ALTER TABLE entry ADD COLUMN absorption_error REAL CHECK (absorption_error >= 0)",
    "ALTER TABLE entry ADD COLUMN coats INTEGER CHECK (coats >= 0)",
)

_FOURTH: Final = (
    "DROP TRIGGER entry_no_update",
    "ALTER TABLE entry ADD COLUMN entry_digest TEXT NOT NULL DEFAULT ''",
    """UPDATE entry SET entry_digest =
        entry_digest_of(number, id, revision, recorded, reason, withdrawn, digest)""",
    """CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry
        BEGIN SELECT RAISE(ABORT, 'the trial book only grows: add a correction'); END""",
)

MIGRATIONS: Final[tuple[tuple[str, ...], ...]] = (_FIRST, _SECOND, _THIRD, _FOURTH)
"""Statements that lift a book from version i to i + 1."""


@lru_cache(maxsize=len(MIGRATIONS) + 1)
def schema_of(version: int) -> dict[str, str]:
    """Return the statement behind each table, index, view and trigger of a book of a version, by name."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        connection.create_function("entry_digest_of", _ENTRY_PARTS, entry_digest, deterministic=True)
        for statements in MIGRATIONS[:version]:
            for statement in statements:
                connection.execute(statement)
        return dict(connection.execute(_SCHEMA).fetchall())


def entry_digest(*parts: object) -> str:
    """Return a digest of what an entry says about itself: number, id, revision, when, why, void, content.

    SHA-256 in hexadecimal.

    Parameters
    ----------
    *parts : object
        As the row of table entry has them, with the digest of its trial last [-].
    """
    return hashlib.sha256(repr(parts).encode("utf-8", "replace")).hexdigest()


def check_schema(connection: sqlite3.Connection, path: Path) -> None:
    """Raise `BookDamaged` when a table, view or trigger of the open book is not as it was made."""
    there = {name: _words(statement) for name, statement in connection.execute(_SCHEMA)}
    made = schema_of(version_of(connection, path))
    changed = sorted(name for name, statement in made.items() if there.get(name) != _words(statement))
    if changed:
        raise BookDamaged(path, f"a changed definition of {changed[0][:40]!r}", "a whole book", SALVAGE)


def _words(statement: str) -> list[str]:
    return statement.replace(",", " , ").split()


def version_of(connection: sqlite3.Connection, path: Path) -> int:
    """Return the version of the open book; 0 for a new, empty file.

    Raises
    ------
    NotABook
        If the file is a database of another kind.
    BookNewer
        If a newer version wrote it.
    """
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    application = int(connection.execute("PRAGMA application_id").fetchone()[0])
    tables = int(connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0])
    if application != APPLICATION and (version or tables):
        if schema_of(len(MIGRATIONS)).keys() <= dict(connection.execute(_SCHEMA).fetchall()).keys():
            raise BookDamaged(path, "a damaged mark of the file", "a whole book", SALVAGE)
        raise NotABook(path, "a database of another kind", "a trial book", "Name another file.")
    newest = len(MIGRATIONS)
    if version > newest:
        repair = "Update this program; the book was left as it is."
        raise BookNewer(path, f"version {version}", f"version {newest} or older", repair)
    return version


def migrate(connection: sqlite3.Connection, path: Path) -> None:
    """Bring the open book to the current version, wholly or not at all.

    Parameters
    ----------
    connection : sqlite3.Connection
        An open file, outside of a transaction [-].

    Raises
    ------
    BookError
        As `version_of`.
    """
    if version_of(connection, path) == len(MIGRATIONS):
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        check_schema(connection, path)
        connection.create_function("entry_digest_of", _ENTRY_PARTS, entry_digest, deterministic=True)
        for statements in MIGRATIONS[version_of(connection, path) :]:
            for statement in statements:
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION}")
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
