"""The trial book: a file beside the job in which trials are entered, corrected and never overwritten.

Several programs and threads may use the same book at once. When a call that writes returns, what it wrote
is on the disk; when it raises, nothing of it is in the book.

A trial whose id was made from its content has a short name: its day and as many letters as tell it apart.
"""

from __future__ import annotations

import datetime as dt
import re
import sqlite3
import string
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from optimizer.trials.checks import check_trial
from optimizer.trials.files import prepare, reading, writing
from optimizer.trials.records import Trial, Version, as_versions
from optimizer.trials.rows import CONFLICT, DAMAGED, Entry, State, entries_of, insert, refused, standing
from optimizer.trials.trial_errors import BookConflict, NoSuchTrial

_CHUNK: Final = 500

_MADE: Final = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2}-)([0-9a-f]{10}(?:-[0-9]+)?)")
_SHORTEST: Final = 3


@dataclass(frozen=True)
class Entered:
    """What one acknowledged write did: ids that were added, corrected, or already there unchanged."""

    added: tuple[str, ...] = ()
    corrected: tuple[str, ...] = ()
    unchanged: tuple[str, ...] = ()


def book_beside(job: Path) -> Path:
    """Return where the trial book of a job lies: ``trials.db`` in the job's folder.

    File of the book; it need not exist.

    Parameters
    ----------
    job : Path
        The job file, or a folder [-].

    Examples
    --------
    >>> book_beside(Path("studio/tumbler.toml")).as_posix()
    'studio/trials.db'
    """
    return (job if job.is_dir() else job.parent) / "trials.db"


class TrialBook:
    """One trial book.

    Parameters
    ----------
    path : Path
        File of the book; made when there is none [-].
    timeout : float
        How long to wait while another program writes [s].

    Raises
    ------
    BookError
        `NotABook`, `BookNewer`, `BookDamaged`, `BookBusy`, `BookReadOnly` or `BookFull`.
    """

    def __init__(self, path: Path, timeout: float = 30.0) -> None:
        self.path = path
        self.timeout = timeout
        prepare(path, timeout)

    def add(self, trial: Trial, today: dt.date | None = None) -> str:
        """Enter a new trial and return its id.

        Id of the trial, which is on the disk.

        Parameters
        ----------
        trial : Trial
            The record; without an id it gets date and letter, such as ``2026-03-02-a`` [-].
        today : datetime.date | None
            The day after which a date is in the future; None: the machine's date [-].

        Raises
        ------
        FileFaults
            When the trial holds anything that cannot be.
        BookError
            When it could not be written, or the id is taken.
        """
        check_trial(trial, today)
        with writing(self.path, self.timeout) as connection:
            named = trial if trial.id else replace(trial, id=_free_id(connection, trial.date))
            if _latest(connection, named.id) is not None:
                repair = "Give it another id, or enter it as a correction."
                raise BookConflict(self.path, f"a second trial {named.id!r}", "an id not in the book", repair)
            insert(connection, named, revision=1)
        return named.id

    def enter(
        self, trials: Iterable[Trial | Version], reason: str = "", corrections: bool = False
    ) -> Entered:
        """Enter trials that have an id as one unit: all or none of them.

        What was done; a trial the book holds unchanged is left alone.

        Parameters
        ----------
        trials : Iterable[Trial | Version]
            Checked records with ids; versions of one trial in the order of their numbers [-].
        reason : str
            Where they come from; kept with corrections that state none [-].
        corrections : bool
            True: a known id with other content is a correction; False: a conflict [-].

        Raises
        ------
        BookConflict
            When an id is known with other content and corrections are not asked for.
        BookError
            When they could not be written.
        """
        done: dict[str, dict[str, None]] = {"added": {}, "corrected": {}, "unchanged": {}}
        with writing(self.path, self.timeout) as connection:
            for version in as_versions(trials):
                trial = version.trial
                known = _held(connection, trial.id)
                word = standing(known, version, corrections)
                if word == CONFLICT:
                    raise self._differs(trial.id)
                if word != "unchanged":
                    insert(connection, trial, len(known) + 1, _reason(version, known, reason), version.void)
                done[word][trial.id] = None
        # a trial that came with its history is added, whatever its later versions did
        corrected = [id for id in done["corrected"] if id not in done["added"]]
        unchanged = [id for id in done["unchanged"] if id not in done["added"] and id not in corrected]
        return Entered(tuple(done["added"]), tuple(corrected), tuple(unchanged))

    def correct(
        self, trial: Trial, reason: str, supersedes: int | None = None, today: dt.date | None = None
    ) -> int:
        """Enter a correction of the trial with the same id; what was there before stays in its history.

        Parameters
        ----------
        supersedes : int | None
            Revision the correction was made from; a newer one is then a conflict [-].
        today : datetime.date | None
            As in `add` [-].

        Raises
        ------
        NoSuchTrial
            When the book has no trial of this id.
        BookConflict
            When somebody corrected it since `supersedes`.
        FileFaults
            When the trial holds anything that cannot be.
        """
        check_trial(trial, today)
        with writing(self.path, self.timeout) as connection:
            revision = self._next_revision(connection, trial.id, supersedes)
            insert(connection, trial, revision, reason)
        return revision

    def withdraw(self, id: str, reason: str) -> int:
        """Take a trial out of the current ones; `correct` brings it back.

        Parameters
        ----------
        id : str
            Id of the trial, or its short name [-].

        Raises
        ------
        NoSuchTrial
            When the book has no trial of this id.
        """
        with writing(self.path, self.timeout) as connection:
            id = self._whole_id(connection, id)
            revision = self._next_revision(connection, id, None)
            rows = connection.execute("SELECT * FROM latest WHERE id = ?", (id,)).fetchall()
            insert(connection, entries_of(connection, rows)[0].trial, revision, reason, withdrawn=True)
        return revision

    def get(self, id: str) -> Entry:
        """Return the newest version of a trial.

        Parameters
        ----------
        id : str
            Id of the trial, or its short name [-].

        Raises
        ------
        NoSuchTrial
            When the book has no trial of this id.
        """
        return self.history(id)[-1]

    def history(self, id: str) -> tuple[Entry, ...]:
        """Return every version of a trial, oldest first.

        All versions, withdrawals included.

        Parameters
        ----------
        id : str
            Id of the trial, or its short name [-].

        Raises
        ------
        NoSuchTrial
            When the book has no trial of this id.
        """
        with reading(self.path, self.timeout) as connection:
            whole = self._whole_id(connection, id)
            rows = connection.execute(
                "SELECT * FROM entry WHERE id = ? ORDER BY revision", (whole,)
            ).fetchall()
            return entries_of(connection, rows)

    def short_names(self) -> dict[str, str]:
        """Return a short name for each id that was made from a trial's content; see `short_names`."""
        with reading(self.path, self.timeout) as connection:
            return short_names(_ids(connection))

    def count(self, void: bool = False) -> int:
        """Return how many trials `page` gives in all; with `void`, void ones too [count]."""
        with reading(self.path, self.timeout) as connection:
            return int(connection.execute(f"SELECT count(*) FROM {_standing(void)}").fetchone()[0])

    def page(self, limit: int = 50, offset: int = 0, void: bool = False) -> tuple[Entry, ...]:
        """Return one page of the current trials, newest day first.

        At most `limit` entries; damaged ones come along, whatever is asked of void ones.

        Parameters
        ----------
        limit : int
            Trials on the page, at most 1000 [count].
        offset : int
            Trials before the page [count].
        void : bool
            True: void trials, too [-].
        """
        with reading(self.path, self.timeout) as connection:
            order = f"SELECT * FROM {_standing(void)} ORDER BY date DESC, id DESC LIMIT ? OFFSET ?"
            rows = connection.execute(order, (min(max(limit, 0), 1000), max(offset, 0))).fetchall()
            return entries_of(connection, rows)

    def trials(self) -> Iterator[Trial]:
        """Give all current trials, oldest day first, as one unchanging state of the book.

        Yields
        ------
        Trial
            Records, for export and calibration; damaged ones are left out, and `damaged` names them.
        """
        return (entry.trial for entry in self._newest() if entry.counts)

    def damaged(self, earlier: bool = False) -> tuple[str, ...]:
        """Return the ids of trials whose newest version is not as it was written, oldest day first.

        Parameters
        ----------
        earlier : bool
            True: those of which any version is not [-].
        """
        entries = self._entries() if earlier else self._newest()
        return tuple(dict.fromkeys(entry.trial.id for entry in entries if not entry.whole))

    def _newest(self) -> Iterator[Entry]:
        with reading(self.path, self.timeout, everything=True) as connection:
            rows = connection.execute(f"SELECT * FROM {_standing(False)} ORDER BY date, id")
            while chunk := rows.fetchmany(_CHUNK):
                yield from entries_of(connection, chunk)

    def versions(self) -> Iterator[Version]:
        """Give every version of every trial, void ones too: the oldest trial first, each by its versions.

        Yields
        ------
        Version
            Records, for an export that loses nothing; a damaged one is void, and says why.
        """
        for entry in self._entries():
            void, reason = (entry.withdrawn, entry.reason) if entry.whole else (True, DAMAGED)
            yield Version(entry.trial, entry.revision, void, reason)

    def _entries(self) -> Iterator[Entry]:
        order = """SELECT entry.* FROM entry JOIN latest ON latest.id = entry.id
            ORDER BY latest.date, entry.id, entry.revision"""
        with reading(self.path, self.timeout, everything=True) as connection:
            rows = connection.execute(order)
            while chunk := rows.fetchmany(_CHUNK):
                yield from entries_of(connection, chunk)

    def conflicts(self, trials: Iterable[Trial | Version], corrections: bool = False) -> tuple[Version, ...]:
        """Return those of `trials` that `enter` would refuse.

        Those the book knows with other content, in order.

        Parameters
        ----------
        trials : Iterable[Trial | Version]
            Records with ids, as for `enter` [-].
        corrections : bool
            As in `enter` [-].
        """
        with reading(self.path, self.timeout) as connection:
            return refused(as_versions(trials), corrections, lambda id: _held(connection, id))

    def _next_revision(self, connection: sqlite3.Connection, id: str, supersedes: int | None) -> int:
        known = _latest(connection, id)
        if known is None:
            raise self._unknown(connection, id)
        if supersedes is not None and supersedes != known["revision"]:
            value = f"a correction of revision {supersedes} of {id!r}"
            allowed = f"of its newest revision, {known['revision']}"
            raise BookConflict(self.path, value, allowed, "Look at the newest version and correct that one.")
        return int(known["revision"]) + 1

    def _whole_id(self, connection: sqlite3.Connection, text: str) -> str:
        """Return the id a name means: itself, or the one machine-made id it is short for."""
        if _latest(connection, text) is not None:
            return text
        meant = full_names(text, _ids(connection))
        if len(meant) > 1:
            allowed = f"the name of one trial; this one could be {', '.join(meant[:3])}"
            raise NoSuchTrial(self.path, f"trial {text!r}", allowed, "Write more of its letters.")
        if not meant:
            raise self._unknown(connection, text)
        return meant[0]

    def _unknown(self, connection: sqlite3.Connection, id: str) -> NoSuchTrial:
        rows = connection.execute("SELECT id FROM entry WHERE revision = 1 ORDER BY number DESC LIMIT 3")
        nearest = ", ".join(row[0] for row in rows) or "none yet"
        return NoSuchTrial(
            self.path,
            f"trial {id!r}",
            f"a trial in the book, such as {nearest}",
            "List the book and pick one.",
        )

    def _differs(self, id: str) -> BookConflict:
        repair = "Import with corrections, or give the trial another id."
        return BookConflict(self.path, f"trial {id!r} with other content", "an unchanged trial", repair)


def _held(connection: sqlite3.Connection, id: str) -> list[State]:
    """Return the versions the book holds of a trial, oldest first."""
    order = "SELECT digest, withdrawn FROM entry WHERE id = ? ORDER BY revision"
    return [(row[0], bool(row[1])) for row in connection.execute(order, (id,))]


def _ids(connection: sqlite3.Connection) -> list[str]:
    return [row[0] for row in connection.execute("SELECT id FROM entry WHERE revision = 1")]


def _reason(version: Version, known: Sequence[State], otherwise: str) -> str:
    """Return why a version is entered: a first one needs no reason."""
    return version.reason or (otherwise if known and version.number is None else "")


def _standing(void: bool) -> str:
    """Return where to read the newest version of each trial: all, or all but void ones.

    A damaged entry is there in any case: that it is void may be the damage.
    """
    untrue = "entry_digest <> entry_digest_of(number, id, revision, recorded, reason, withdrawn, digest)"
    return "latest" if void else f"(SELECT * FROM latest WHERE withdrawn = 0 OR {untrue})"


def _latest(connection: sqlite3.Connection, id: str) -> sqlite3.Row | None:
    order = "SELECT revision, withdrawn, digest FROM entry WHERE id = ? ORDER BY revision DESC LIMIT 1"
    row: sqlite3.Row | None = connection.execute(order, (id,)).fetchone()
    return row


def _free_id(connection: sqlite3.Connection, date: dt.date) -> str:
    """Return date and letter of the next batch of the day."""
    day = date.isoformat()
    # '.' follows '-' in the order of characters, so the range holds exactly the ids that begin with "day-"
    order = "SELECT count(*) FROM entry WHERE id > ? AND id < ? AND revision = 1"
    number = int(connection.execute(order, (f"{day}-", f"{day}.")).fetchone()[0])
    while _latest(connection, found := f"{day}-{_letters(number)}") is not None:
        number += 1
    return found


def _letters(number: int) -> str:
    """Count in letters from 0: a, b ... z, aa, ab ..."""
    text = ""
    number += 1
    while number:
        number, place = divmod(number - 1, 26)
        text = string.ascii_lowercase[place] + text
    return text


def short_names(ids: Iterable[str]) -> dict[str, str]:
    """Return a name that can be typed for each machine-made id.

    Id to the shortest beginning, three letters of its mark at least, that no other id has; ids given by
    people are not in it.

    Examples
    --------
    >>> short_names(["A1", "2026-03-02-1a2b3c4d5e", "2026-03-02-1a2f000000"])["2026-03-02-1a2b3c4d5e"]
    '2026-03-02-1a2b'
    """
    everyone = tuple(ids)
    made = sorted(id for id in everyone if _MADE.fullmatch(id))
    found = {}
    for place, id in enumerate(made):
        beside = [made[other] for other in (place - 1, place + 1) if 0 <= other < len(made)]
        shared = max((_shared(id, other) for other in beside), default=0)
        length = max(len("2026-03-02-") + _SHORTEST, shared + 1)
        short = id[:length]
        found[id] = id if short in everyone else short
    return found


def full_names(text: str, ids: Iterable[str]) -> tuple[str, ...]:
    """Return the machine-made ids that a short name could mean, with or without its day.

    One where the name is clear.

    Examples
    --------
    >>> full_names("1a2", ["A1", "2026-03-02-1a2b3c4d5e"])
    ('2026-03-02-1a2b3c4d5e',)
    """
    if len(text) < _SHORTEST:
        return ()
    matches = ((id, _MADE.fullmatch(id)) for id in ids)
    return tuple(id for id, match in matches if match and (id.startswith(text) or match[2].startswith(text)))


def _shared(one: str, other: str) -> int:
    """Return how many letters two ids begin with alike."""
    return next(
        (n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other))
    )
