"""A trial as rows of the book's tables, and back."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, Final

from optimizer.trials.records import Burn, Portion, Reject, Strength, Trial, Weighing, digest

__all__ = ["GROUPS", "Entry", "entries_of", "entry_from", "insert"]

GROUPS: Final[dict[str, tuple[str, type[Any]]]] = {
    "portions": ("portion", Portion),
    "labels": ("label", str),
    "weighings": ("weighing", Weighing),
    "strengths": ("strength", Strength),
    "burns": ("burn", Burn),
    "rejects": ("reject", Reject),
}
"""Field of a trial -> table and record of its readings."""

_SCALARS: Final = tuple(field.name for field in fields(Trial) if field.name not in GROUPS)


@dataclass(frozen=True)
class Entry:
    """One version of one trial, as the book holds it.

    Attributes
    ----------
    trial : Trial
        The record.
    number : int
        Running number of the entry in the book.
    revision : int
        1 for the first version, then counting up.
    recorded : str
        When it was written, UTC, ISO 8601.
    reason : str
        Why the version before was superseded.
    withdrawn : bool
        True when the trial no longer counts from this version on.
    fingerprint : str
        Digest of the trial, taken when it was written.
    """

    trial: Trial
    number: int
    revision: int
    recorded: str
    reason: str
    withdrawn: bool
    fingerprint: str

    @property
    def whole(self) -> bool:
        """False when readings are missing or changed since the entry was written: a damaged book."""
        return digest(self.trial) == self.fingerprint


def insert(
    connection: sqlite3.Connection, trial: Trial, revision: int, reason: str = "", withdrawn: bool = False
) -> None:
    """Write one entry with its readings; the caller holds the transaction.

    Parameters
    ----------
    connection : sqlite3.Connection
        An open book inside a transaction [-].
    trial : Trial
        The record, with its id [-].
    revision : int
        Revision it gets [-].
    reason : str
        Why it supersedes the one before [-].
    withdrawn : bool
        True to take the trial out of the current ones [-].
    """
    values: dict[str, object] = {name: getattr(trial, name) for name in _SCALARS}
    values |= {
        "date": trial.date.isoformat(),
        "revision": revision,
        "recorded": dt.datetime.now(dt.UTC).isoformat(timespec="milliseconds"),
        "reason": reason,
        "withdrawn": int(withdrawn),
        "digest": digest(trial),
    }
    number = connection.execute(_insertion("entry", tuple(values)), tuple(values.values())).lastrowid
    for group, (table, kind) in GROUPS.items():
        names = _names(table, kind)
        rows = [
            (number, place, *((item,) if isinstance(item, str) else (getattr(item, name) for name in names)))
            for place, item in enumerate(getattr(trial, group))
        ]
        if rows:
            connection.executemany(_insertion(table, ("entry", "place", *names)), rows)


def entries_of(connection: sqlite3.Connection, chosen: Sequence[sqlite3.Row]) -> tuple[Entry, ...]:
    """Return the entries of the rows `chosen` from table entry, with all their readings.

    Parameters
    ----------
    connection : sqlite3.Connection
        An open book [-].
    chosen : Sequence[sqlite3.Row]
        Rows of table or views of entry [-].

    Returns
    -------
    tuple[Entry, ...]
        In the order of `chosen`.
    """
    numbers = [row["number"] for row in chosen]
    readings: dict[int, dict[str, list[Any]]] = defaultdict(lambda: defaultdict(list))
    for group, (table, kind) in GROUPS.items():
        for number, item in _group(connection, table, kind, numbers):
            readings[number][group].append(item)
    return tuple(entry_from(row, readings[row["number"]]) for row in chosen)


def entry_from(row: Mapping[str, Any] | sqlite3.Row, readings: Mapping[str, Iterable[Any]]) -> Entry:
    """Return the entry of one row and its readings by field of the trial.

    Parameters
    ----------
    row : sqlite3.Row
        Row of table entry [-].
    readings : Mapping[str, Iterable]
        Field of `Trial` -> records or labels, in order [-].

    Returns
    -------
    Entry
        The version with its trial.
    """
    scalars = {name: row[name] for name in _SCALARS} | {"date": dt.date.fromisoformat(row["date"])}
    groups: dict[str, Any] = {group: tuple(items) for group, items in readings.items()}
    trial = Trial(**scalars, **groups)
    return Entry(
        trial=trial,
        number=row["number"],
        revision=row["revision"],
        recorded=row["recorded"],
        reason=row["reason"],
        withdrawn=bool(row["withdrawn"]),
        fingerprint=row["digest"],
    )


def _group(
    connection: sqlite3.Connection, table: str, kind: type[Any], numbers: Sequence[int]
) -> list[tuple[int, Any]]:
    names = _names(table, kind)
    columns = ", ".join(f'"{name}"' for name in names)
    marks = ", ".join("?" * len(numbers))
    order = f"SELECT entry, {columns} FROM {table} WHERE entry IN ({marks}) ORDER BY entry, place"
    return [(row[0], kind(*row[1:])) for row in connection.execute(order, numbers)]


def _names(table: str, kind: type[Any]) -> tuple[str, ...]:
    return (table,) if kind is str else tuple(field.name for field in fields(kind))


def _insertion(table: str, names: Sequence[str]) -> str:
    columns = ", ".join(f'"{name}"' for name in names)
    return f"INSERT INTO {table} ({columns}) VALUES ({', '.join('?' * len(names))})"
