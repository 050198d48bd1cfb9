"""Trials out of a book into a file, and from a file into a book.

Import reads and checks the whole file before it writes anything. It then enters the rows in chunks, each
one transaction: a chunk is acknowledged when it is on the disk. Stopped at any moment, the book holds every
acknowledged chunk and perhaps one more, never half a trial; importing the file again adds only the rest.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Final

from optimizer.errors import Fault, FileFaults
from optimizer.trials.book import Entered, TrialBook
from optimizer.trials.csvfile import read_csv, write_csv
from optimizer.trials.records import Trial, digest
from optimizer.trials.tables import Table
from optimizer.trials.xlsxfile import read_xlsx, write_xlsx

__all__ = ["CHUNK", "Imported", "export_trials", "import_trials", "read_trials"]

CHUNK: Final = 200
"""Trials entered as one unit."""


@dataclass(frozen=True)
class Imported:
    """What an import did.

    Attributes
    ----------
    entered : Entered
        Ids added, corrected, and already there unchanged.
    faults : tuple[Fault, ...]
        Faults of the rows left out, when leaving them out was asked for.
    """

    entered: Entered
    faults: tuple[Fault, ...]

    @property
    def left_out(self) -> int:
        """Rows left out [count]."""
        return len({fault.where.partition(",")[0] for fault in self.faults})


def read_trials(path: Path, today: dt.date | None = None) -> Table:
    """Read a file of trials, CSV or XLSX by its ending.

    Parameters
    ----------
    path : Path
        File [-].
    today : datetime.date | None
        The day after which a date is in the future; None: the machine's date [-].

    Returns
    -------
    Table
        Trials, each with an id, and faults with row and column.

    Raises
    ------
    FileFaults
        When the file as a whole cannot be read.
    """
    table = read_xlsx(path, today) if path.suffix.lower() in (".xlsx", ".xlsm") else read_csv(path, today)
    trials = _named(table.trials)
    ids = Counter(trial.id for trial in trials)
    twice = tuple(
        Fault(
            f"{path.name}:row {row}, column 'id'",
            repr(trial.id),
            "each id once",
            "Rename or delete one of the rows.",
        )
        for trial, row in zip(trials, table.rows, strict=True)
        if ids[trial.id] > 1
    )
    return replace(table, trials=trials, faults=table.faults + twice)


def import_trials(
    book: TrialBook,
    path: Path,
    *,
    corrections: bool = False,
    leave_out_faulty: bool = False,
    materials: Collection[str] | None = None,
    acknowledged: Callable[[Entered], None] | None = None,
    today: dt.date | None = None,
) -> Imported:
    """Enter all trials of a file.

    Parameters
    ----------
    book : TrialBook
        Book to enter them into [-].
    path : Path
        CSV or XLSX file [-].
    corrections : bool
        True: a known id with other content is entered as a correction; False: it is a fault [-].
    leave_out_faulty : bool
        True: enter the rows without fault and report the others; False: enter all or none [-].
    materials : Collection[str] | None
        Names a trial may use; others are faults with the nearest names. None: any [-].
    acknowledged : Callable[[Entered], None] | None
        Called after each chunk, when it is on the disk [-].
    today : datetime.date | None
        As in `read_trials` [-].

    Returns
    -------
    Imported
        What was done.

    Raises
    ------
    FileFaults
        With every fault of the file; nothing was then entered.
    BookError
        When the book cannot be written; chunks acknowledged before stay.
    """
    table = read_trials(path, today)
    known = frozenset() if corrections else frozenset(book.conflicts(table.trials))
    faults = table.faults + tuple(
        _known_fault(path, row, trial)
        for trial, row in zip(table.trials, table.rows, strict=True)
        if trial.id in known
    )
    strange = {} if materials is None else dict(_strange(path, table, materials))
    faults += tuple(fault for each in strange.values() for fault in each)
    if faults and not leave_out_faulty:
        raise FileFaults(faults)
    counts = Counter(trial.id for trial in table.trials)
    bad = known | set(strange)
    good = [trial for trial in table.trials if trial.id not in bad and counts[trial.id] == 1]
    done = Entered()
    for start in range(0, len(good), CHUNK):
        entered = book.enter(good[start : start + CHUNK], f"import of {path.name}", corrections)
        if acknowledged is not None:
            acknowledged(entered)
        done = Entered(
            done.added + entered.added, done.corrected + entered.corrected, done.unchanged + entered.unchanged
        )
    return Imported(done, faults)


def export_trials(trials: Sequence[Trial], path: Path, decimal_comma: bool = False) -> None:
    """Write trials to a file, CSV or XLSX by its ending; reading it back gives the same records.

    Parameters
    ----------
    trials : Sequence[Trial]
        Records, for example ``list(book.trials())`` [-].
    path : Path
        File to make; an older one is replaced only when the new one is whole [-].
    decimal_comma : bool
        For CSV: semicolons and decimal comma [-].

    Raises
    ------
    FileFaults
        When the file cannot be written.
    """
    if path.suffix.lower() in (".xlsx", ".xlsm"):
        write_xlsx(trials, path)
    else:
        write_csv(trials, path, decimal_comma)


def _named(trials: Sequence[Trial]) -> tuple[Trial, ...]:
    """Give rows without id one that depends on their content: the same row is the same trial next time."""
    seen: Counter[str] = Counter()
    named = []
    for trial in trials:
        if not trial.id:
            mark = digest(trial)[:10]
            seen[mark] += 1
            again = f"-{seen[mark]}" if seen[mark] > 1 else ""
            trial = replace(trial, id=f"{trial.date.isoformat()}-{mark}{again}")
        named.append(trial)
    return tuple(named)


def _strange(path: Path, table: Table, materials: Collection[str]) -> Iterator[tuple[str, tuple[Fault, ...]]]:
    """Yield the trials that name materials nobody knows, each with its faults."""
    for trial, row in zip(table.trials, table.rows, strict=True):
        unknown = [p.material for p in trial.portions if p.material not in materials]
        if unknown:
            yield trial.id, tuple(_strange_fault(path, row, name, materials) for name in unknown)


def _strange_fault(path: Path, row: int, name: str, materials: Collection[str]) -> Fault:
    near = get_close_matches(name.lower().replace(" ", "_"), materials, n=3, cutoff=0.0)
    return Fault(
        f"{path.name}:row {row}, a powder's name",
        repr(name),
        f"a material of the spec files; nearest: {', '.join(near)}",
        "Correct the name, or name the folder of your own spec files with --specs.",
    )


def _known_fault(path: Path, row: int, trial: Trial) -> Fault:
    return Fault(
        f"{path.name}:row {row}, column 'id'",
        repr(trial.id),
        "a new id, or the content the book already has",
        "Import with corrections to supersede the trial in the book, or give the row another id.",
    )
