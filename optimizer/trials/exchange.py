"""Trials out of a book into a file, and from a file into a book.

Import reads and checks the whole file before it writes anything. It then enters the rows in chunks, each
one transaction: a chunk is acknowledged when it is on the disk. Stopped at any moment, the book holds every
acknowledged chunk and perhaps one more, never half a trial; importing the file again adds only the rest.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Final

from optimizer.errors import Fault, FileFaults
from optimizer.materials import unknown_repair
from optimizer.trials.book import Entered, TrialBook
from optimizer.trials.cells import at_column
from optimizer.trials.checks import doubtful
from optimizer.trials.header_words import meaning_of
from optimizer.trials.import_choices import ImportChoices
from optimizer.trials.records import Trial, Version, digest
from optimizer.trials.rows import refused
from optimizer.trials.table_files import Table, read_csv, read_xlsx, write_csv, write_xlsx
from optimizer.trials.usable_readings import strength_missing

CHUNK: Final = 200
"""Trials entered as one unit."""

_ROW: Final = re.compile(r":row [0-9]+(?=,|$)")
_CELLS_SHOWN: Final = 3
_ROWS_SHOWN: Final = 6


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
        return len({row_of(fault) for fault in self.faults})


def read_trials(
    path: Path,
    today: dt.date | None = None,
    materials: Collection[str] = (),
    choices: ImportChoices | None = None,
) -> Table:
    """Read a file of trials, CSV or XLSX by its ending.

    Trials, each with an id, faults with row and column, and what a person has to confirm.

    Parameters
    ----------
    today : datetime.date | None
        The day after which a date is in the future; None: the machine's date [-].
    materials : Collection[str]
        Names that a header or a cell may mean by a powder, in any writing [-].

    Raises
    ------
    FileFaults
        When the file as a whole cannot be read.
    """
    read = read_xlsx if path.suffix.lower() in (".xlsx", ".xlsm") else read_csv
    table = read(path, today, materials, choices)
    doubts = (*table.layout.doubts, *by_column(tuple(_odd(table))), *_useless(table))
    layout = replace(table.layout, doubts=doubts)
    faults = table.faults + tuple(_twice(table))
    return replace(table, versions=_named(table.versions), faults=faults, layout=layout)


def import_trials(
    book: TrialBook | Path,
    source: Path | Table,
    *,
    corrections: bool = False,
    leave_out_faulty: bool = False,
    materials: Collection[str] | None = None,
    acknowledged: Callable[[Entered], None] | None = None,
    today: dt.date | None = None,
    choices: ImportChoices | None = None,
    confirmed: bool = False,
) -> Imported:
    """Enter all trials of a file.

    Parameters
    ----------
    book : TrialBook | Path
        Book to enter them into; a path: made only when there is a trial to enter [-].
    source : Path | Table
        CSV or XLSX file, or what `read_trials` made of it [-].
    corrections : bool
        True: a known id with other content is entered as a correction; False: it is a fault [-].
    leave_out_faulty : bool
        True: enter the rows without fault and report the others; False: enter all or none [-].
    materials : Collection[str] | None
        Names a trial may use; others are faults with the nearest names. None: any [-].
    acknowledged : Callable[[Entered], None] | None
        Called after each chunk, when it is on the disk [-].
    today, choices : datetime.date | None, ImportChoices | None
        As in `read_trials` [-].
    confirmed : bool
        True when a person has looked at what was taken by a likeness, passed over, or seldom is [-].

    Raises
    ------
    FileFaults
        With every fault of the file, one for each column and kind, and every doubt that is not confirmed;
        nothing was then entered.
    BookError
        When the book cannot be written; chunks acknowledged before stay.
    """
    table = source if isinstance(source, Table) else read_trials(source, today, materials or (), choices)
    if isinstance(book, Path) and book.exists():
        book = TrialBook(book)
    faults = [*table.faults, *_known(book, table, corrections)]
    if materials is not None:
        faults += _strange(table, materials)
    faults.sort(key=lambda fault: row_of(fault) or 0)
    doubts = () if confirmed else table.layout.doubts
    if doubts or (faults and not leave_out_faulty):
        raise FileFaults((*doubts, *by_column(faults)))
    bad = {row_of(fault) for fault in faults}
    good = [version for version, row in zip(table.versions, table.rows, strict=True) if row not in bad]
    done = Entered()
    if not good:
        return Imported(done, tuple(faults))
    kept = TrialBook(book) if isinstance(book, Path) else book
    for chunk in _chunks(good):
        entered = kept.enter(chunk, f"import of {table.name}", corrections)
        if acknowledged is not None:
            acknowledged(entered)
        done = Entered(
            done.added + entered.added, done.corrected + entered.corrected, done.unchanged + entered.unchanged
        )
    return Imported(done, tuple(faults))


def export_trials(trials: Sequence[Trial | Version], path: Path, decimal_comma: bool = False) -> None:
    """Write trials to a file, CSV or XLSX by its ending; reading it back gives the same records.

    Parameters
    ----------
    trials : Sequence[Trial | Version]
        ``list(book.versions())`` loses nothing; ``list(book.trials())`` is what counts at present [-].
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


def row_of(fault: Fault) -> int | None:
    """Return the row of a file a fault is about; None where it is about the whole file.

    Row, the header being row 1.

    Examples
    --------
    >>> row_of(Fault("casts.csv:row 3, column 'water'", "-5", "a mass", "Weigh it."))
    3
    """
    found = re.search(r":row ([0-9]+)(?:,|$)", fault.where)
    return int(found[1]) if found else None


def by_column(faults: Sequence[Fault]) -> tuple[Fault, ...]:
    """Return faults of rows as one for each column and kind of trouble, with the rows it is in.

    A fault that stands alone unchanged; the others together, with up to three of their cells.

    Examples
    --------
    >>> cells = [Fault(f"a.csv:row {n}, column 'water'", "'much'", "a mass", "Weigh it.") for n in (2, 3, 5)]
    >>> str(by_column(cells)[0])
    "a.csv: column 'water', 3 rows: read 'much' in rows 2, 3, 5; allowed: a mass. Weigh it."
    """
    groups: dict[tuple[str, str], list[Fault]] = {}
    for fault in faults:
        place = fault.where if row_of(fault) is None else _ROW.sub("", fault.where)
        groups.setdefault((place, re.sub("[0-9.,]+", "", fault.repair)), []).append(fault)
    return tuple(_together(place, each) for (place, _), each in groups.items())


def _together(place: str, faults: Sequence[Fault]) -> Fault:
    if len(faults) == 1:
        return faults[0]
    rows: dict[str, list[str]] = {}
    for fault in faults:
        rows.setdefault(fault.value, []).append(str(row_of(fault)))
    shown = [
        f"{value} in row{'s' if len(at) > 1 else ''} {', '.join(at[:_ROWS_SHOWN])}"
        + (f" and {len(at) - _ROWS_SHOWN} more" if len(at) > _ROWS_SHOWN else "")
        for value, at in list(rows.items())[:_CELLS_SHOWN]
    ]
    more = f"; and {len(rows) - _CELLS_SHOWN} more" if len(rows) > _CELLS_SHOWN else ""
    first = faults[0]
    where = f"{place}, {len(faults)} rows".replace(", column", ": column", 1)
    return Fault(where, "; ".join(shown) + more, first.allowed, first.repair)


def _chunks(versions: Sequence[Version]) -> Iterator[list[Version]]:
    """Give units to enter: all versions of a trial in one, in order."""
    by_id: dict[str, list[Version]] = {}
    for version in versions:
        by_id.setdefault(version.trial.id, []).append(version)
    chunk: list[Version] = []
    for each in by_id.values():
        chunk += sorted(each, key=lambda version: version.number or 0)
        if len(chunk) >= CHUNK:
            yield chunk
            chunk = []
    if chunk:
        yield chunk


def _named(versions: Sequence[Version]) -> tuple[Version, ...]:
    """Give rows without id one that depends on their content: the same row is the same trial next time."""
    seen: Counter[str] = Counter()
    named = []
    for version in versions:
        trial = version.trial
        if not trial.id:
            mark = digest(trial)[:10]
            seen[mark] += 1
            again = f"-{seen[mark]}" if seen[mark] > 1 else ""
            trial = replace(trial, id=f"{trial.date.isoformat()}-{mark}{again}")
        named.append(replace(version, trial=trial))
    return tuple(named)


def _twice(table: Table) -> Iterator[Fault]:
    """Give rows of one trial that are not told apart by their version."""
    rows = {number: row.version for number, row in table.read.items() if row.version.trial.id}
    count = Counter(version.trial.id for version in rows.values())
    each = Counter((version.trial.id, version.number) for version in rows.values())
    for number, version in rows.items():
        id = version.trial.id
        if each[id, version.number] > 1 or (count[id] > 1 and each[id, None]):
            repair = "Rename or delete one of the rows, or number them in a column 'version'."
            yield Fault(f"{table.name}:row {number}, column 'id'", repr(id), "each id once", repair)


def _odd(table: Table) -> Iterator[Fault]:
    """Give what seldom is in the rows without fault."""
    for number in table.rows:
        row = table.read[number]
        for fault in doubtful(row.version.trial):
            yield at_column(row, fault, f"{table.name}:row {number}")


def _useless(table: Table) -> Iterator[Fault]:
    """Give the columns whose strengths no fit can use as they are, and how to say once what is missing."""
    rows: dict[tuple[str, str, str], list[int]] = {}
    for number in table.rows:
        row = table.read[number]
        for place, strength in enumerate(row.version.trial.strengths, start=1):
            missing = strength_missing(strength) if strength.value else ""
            typed = row.typed.get(f"strengths.{place}.value")
            if missing and typed is not None:
                group = f"strength {typed.header.column.number}"
                rows.setdefault((typed.header.text, group, missing), []).append(number)
    for (header, group, missing), found in rows.items():
        part = "state" if "wet or dry" in missing else "age"
        age = dict(meaning_of(header).constants).get("age", "")
        words = f"dry strength {age}".strip() if part == "state" else "wet strength 1 d"
        other = f" (or wet strength {age or '1 d'})" if part == "state" else ""
        filled = f"{group} {part}" in {name.partition(" [")[0] for name in table.layout.names}
        said = f'Say it once: --column "{header}={words}"{other}.'
        repair = f"Fill in the column {f'{group} {part}'!r}." if filled else said
        where = f"{table.name}: column {header!r}, {len(found)} row{'s' if len(found) > 1 else ''}"
        told = f"strengths that do not say {missing}: kept, but no fit can use them"
        yield Fault(where, told, f"strengths that say {missing}", repair)


def _strange(table: Table, materials: Collection[str]) -> Iterator[Fault]:
    """Give the materials nobody knows."""
    for number, row in table.read.items():
        for place, portion in enumerate(row.version.trial.portions, start=1):
            if portion.material not in materials:
                fault = strange_fault(f"portions.{place}.material", portion.material, materials)
                yield at_column(row, fault, f"{table.name}:row {number}")


def strange_fault(where: str, name: str, materials: Collection[str]) -> Fault:
    """Return the fault of a material without a spec file, with the nearest names."""
    near = get_close_matches(name.lower().replace(" ", "_"), materials, n=3, cutoff=0.0)
    return Fault(
        where,
        repr(name),
        f"a material of the spec files; nearest: {', '.join(near)}",
        unknown_repair(name),
    )


def _known(book: TrialBook | Path, table: Table, corrections: bool) -> Iterator[Fault]:
    """Give the rows the book knows with other content."""
    ordered = [version for chunk in _chunks(table.versions) for version in chunk]
    if isinstance(book, TrialBook):
        against = book.conflicts(ordered, corrections)
    else:
        against = refused(ordered, corrections, lambda _: ())
    known = {(version.trial.id, version.number) for version in against}
    for version, row in zip(table.versions, table.rows, strict=True):
        id = version.trial.id
        if (id, version.number) in known:
            yield Fault(
                f"{table.name}:row {row}, column 'id'",
                repr(id) if version.number is None else f"version {version.number} of {id!r}",
                "a new id, or the content the book already has",
                "Import with corrections to supersede the trial in the book, or give the row another id.",
            )
