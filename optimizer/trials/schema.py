"""The tables of the trial book, and how an older book becomes a current one.

Append only: an `entry` is one version of one trial; a correction is a further entry of the same trial
with the next revision. Triggers refuse every change and deletion, whoever asks. The readings of an entry
are rows that point to it. Add a migration to the end of `MIGRATIONS`; never change one that was shipped.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Final

from optimizer.outputs import BOOK_MARK
from optimizer.trials.troubles import BookNewer, NotABook

__all__ = ["APPLICATION", "MIGRATIONS", "READINGS", "migrate", "version_of"]

APPLICATION: Final = int.from_bytes(BOOK_MARK)
"""Marks the file as a trial book."""

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

MIGRATIONS: Final[tuple[tuple[str, ...], ...]] = (_FIRST, _SECOND, _THIRD)
"""Statements that lift a book from version i to i + 1."""


def version_of(connection: sqlite3.Connection, path: Path, newest: int | None = None) -> int:
    """Return the version of the open book; 0 for a new, empty file.

    Parameters
    ----------
    connection : sqlite3.Connection
        The open file [-].
    path : Path
        Its path, for the error [-].
    newest : int | None
        Newest version this program knows; None: its own [-].

    Returns
    -------
    int
        Version [-].

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
        raise NotABook(path, "a database of another kind", "a trial book", "Name another file.")
    newest = len(MIGRATIONS) if newest is None else newest
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
    path : Path
        Its path, for errors [-].

    Raises
    ------
    BookError
        As `version_of`.
    """
    if version_of(connection, path) == len(MIGRATIONS):
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        for statements in MIGRATIONS[version_of(connection, path) :]:
            for statement in statements:
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION}")
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
