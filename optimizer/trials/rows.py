"""A trial as rows of the book's tables, and back.

To a book that may know its trial a version is new, a correction, or a conflict (`standing`).
"""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, fields
from typing import Any, Final

from optimizer.trials.checks import trial_faults
from optimizer.trials.records import Burn, Portion, Reject, Strength, Trial, Version, Weighing, digest
from optimizer.trials.schema import entry_digest

GROUPS: Final[dict[str, tuple[str, type[Any]]]] = {
    "portions": ("portion", Portion),
    "labels": ("label", str),
    "weighings": ("weighing", Weighing),
    "strengths": ("strength", Strength),
    "burns": ("burn", Burn),
    "rejects": ("reject", Reject),
}
"""Field of a trial -> table and record of its readings."""

_ABOUT: Final = ("number", "id", "revision", "recorded", "reason", "withdrawn", "digest")
"""Columns that the digest of an entry covers, in order."""

DAMAGED: Final = "damaged in the book: look before it counts again"
"""Why a trial that can no longer be read whole is void."""

_NO_DAY: Final = dt.date(2000, 1, 1)
"""Stands for the day of a trial whose day is lost."""

_SCALARS: Final = tuple(field.name for field in fields(Trial) if field.name not in GROUPS)

State = tuple[str, bool]
"""Fingerprint of a version, and whether it is void."""

CONFLICT: Final = "conflict"


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
    whole : bool
        False when the entry is not as it was written: its digests, taken then, say otherwise. Such a trial
        holds what can still be read, at least its id, and counts nowhere.
    """

    trial: Trial
    number: int
    revision: int
    recorded: str
    reason: str
    withdrawn: bool
    whole: bool = True

    @property
    def counts(self) -> bool:
        """True when the trial is neither void nor damaged."""
        return self.whole and not self.withdrawn


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
    last = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'entry'").fetchone()
    number = 1 + (last[0] if last else 0)
    values["number"] = number
    values["entry_digest"] = entry_digest(*(values[name] for name in _ABOUT))
    connection.execute(_insertion("entry", tuple(values)), tuple(values.values()))
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

    In the order of `chosen`.

    Parameters
    ----------
    chosen : Sequence[sqlite3.Row]
        Rows of table or views of entry [-].
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
    readings : Mapping[str, Iterable]
        Field of `Trial` -> records or labels, in order [-].
    """
    whole = False
    trial = None
    with suppress(ValueError, TypeError, AttributeError, OverflowError):  # a value that is no longer one
        scalars = {name: row[name] for name in _SCALARS} | {"date": dt.date.fromisoformat(row["date"])}
        groups: dict[str, Any] = {group: tuple(items) for group, items in readings.items()}
        trial = Trial(**scalars, **groups)
        about = entry_digest(*(row[name] for name in _ABOUT))
        whole = digest(trial) == row["digest"] and about == row["entry_digest"]
    return Entry(
        trial=trial if whole and trial is not None else _remains(trial, row),
        number=row["number"],
        revision=row["revision"],
        recorded=row["recorded"] if isinstance(row["recorded"], str) else "",
        reason=row["reason"] if isinstance(row["reason"], str) else "",
        withdrawn=bool(row["withdrawn"]),
        whole=whole,
    )


def _remains(trial: Trial | None, row: Mapping[str, Any] | sqlite3.Row) -> Trial:
    """Return what a damaged entry still says, or a trial of its id alone where that cannot be."""
    id = row["id"] if isinstance(row["id"], str) else ""
    for shown in (trial, bare(id, row["recorded"])):
        with suppress(ValueError, TypeError, AttributeError, OverflowError):
            if shown is not None and shown.id and not trial_faults(shown):
                return shown
    return bare(f"entry-{row['number']}", row["recorded"])


def bare(id: str, day: object) -> Trial:
    """Return a trial of which nothing but the id is known, of the day it was noted as far as that is."""
    try:
        return Trial(min(dt.date.fromisoformat(str(day)[:10]), dt.date.today()), id)
    except ValueError:
        return Trial(_NO_DAY, id)


def readable_text(raw: bytes) -> str:
    """Return text as read from a book; what does not decode is replaced, and betrayed by the digests."""
    return raw.decode("utf-8", "replace")


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


def state_of(version: Version) -> State:
    """Return what tells two versions of a trial apart.

    Fingerprint, and True when it is void.
    """
    return digest(version.trial), version.void


def standing(known: Sequence[State], version: Version, corrections: bool) -> str:
    """Return what entering a version would be.

    ``added``, ``corrected``, ``unchanged``, or `CONFLICT`.

    Parameters
    ----------
    known : Sequence[State]
        Versions the book holds of the trial, oldest first [-].
    corrections : bool
        True when other content of a known trial is meant as a correction [-].

    Examples
    --------
    >>> import datetime as dt
    >>> from optimizer.trials.records import Trial
    >>> first = Version(Trial(dt.date(2026, 3, 2), "a", water=100.0), 1)
    >>> second = Version(Trial(dt.date(2026, 3, 2), "a", water=101.0), 2)
    >>> standing([], first, False), standing([state_of(first)], second, False)
    ('added', 'corrected')
    >>> standing([state_of(first), state_of(second)], first, False)
    'unchanged'
    """
    state, number = state_of(version), version.number
    if not known:
        return "added" if number in (None, 1) or corrections else CONFLICT
    if state == known[-1] or (number is not None and number <= len(known) and state == known[number - 1]):
        return "unchanged"
    if corrections or number == len(known) + 1:
        return "corrected"
    return CONFLICT


def refused(
    versions: Iterable[Version], corrections: bool, held: Callable[[str], Sequence[State]]
) -> tuple[Version, ...]:
    """Return those of `versions` that cannot be entered one after the other.

    Those in conflict, in order.

    Parameters
    ----------
    versions : Iterable[Version]
        Records with ids, in the order of entry [-].
    corrections : bool
        As in `standing` [-].
    held : Callable[[str], Sequence[State]]
        What the book holds of a trial before the first is entered [-].
    """
    found = []
    seen: dict[str, list[State]] = {}
    for version in versions:
        id = version.trial.id
        if id not in seen:
            seen[id] = list(held(id))
        word = standing(seen[id], version, corrections)
        if word == CONFLICT:
            found.append(version)
        elif word != "unchanged":
            seen[id].append(state_of(version))
    return tuple(found)
