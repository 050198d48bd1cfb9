"""Trials as a list, one by one with their history, and as JSON.

With what the columns of their table mean, and what was understood of one before it is kept.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any, Final

from optimizer.errors import Fault, FileFaults
from optimizer.materials import Catalogue
from optimizer.nomenclature import quantity
from optimizer.tables import csv_number
from optimizer.trials.book import TrialBook
from optimizer.trials.cells import Cell, cell_text, restored, write_row
from optimizer.trials.columns import BOOK, Column, headers_for
from optimizer.trials.marks import alike_words
from optimizer.trials.records import FIELDS, GROUP_FIELDS, Trial, Version
from optimizer.trials.rows import Entry
from optimizer.trials.table_files import Table
from optimizer.trials.trace import Trace
from optimizer.trials.usable_readings import cannot_teach, teaches
from optimizer.units import System, show, significant
from ui.terminal import Block, heading, indented, sentence, table
from ui.unit_text import ShownColumn, column_in
from ui.words import label_of, share_words

_BOOK_MEANINGS: Final = {
    "version": "1 for the first entry of a trial, 2 for its correction, and so on",
    "void": "yes where the trial no longer counts",
    "reason": "why it was corrected or made void",
}

MEANINGS: Final[Mapping[str, str]] = {
    **{name: one.meaning for name, one in FIELDS.items()},
    **_BOOK_MEANINGS,
    **{
        f"{word} {name}": one.meaning
        for word, (_, parts) in GROUP_FIELDS.items()
        for name, one in parts.items()
    },
}
"""Column without its number -> what it holds."""

_ORDERS = {"us": ", month first", "day-first": ", day first"}


def opened(path: Path) -> TrialBook:
    """Return the trial book at `path`; `FileFaults` where there is none."""
    if not path.exists():
        repair = "Name it with --book, or begin one: vesselblend trials add"
        raise FileFaults([Fault(str(path), "no such file", "a trial book", repair)])
    return TrialBook(path)


def damaged_words(ids: Sequence[str]) -> str:
    """Return what to say about trials that are not as they were entered; empty where there are none."""
    if not ids:
        return ""
    return (
        f"Damaged in the book, and counted nowhere: {', '.join(ids)}. Look at each (vesselblend trials show "
        "ID), then correct it from your notes or make it void."
    )


def trial_json(trial: Trial) -> dict[str, Any]:
    """Return what was noted of a trial as JSON, in the units of its records."""
    noted = {field.name: _plain(getattr(trial, field.name)) for field in fields(trial)}
    return {name: value for name, value in noted.items() if value not in (None, "", [])}


def entry_json(entry: Entry) -> dict[str, Any]:
    """Return one version of a trial as JSON, with its standing in the book."""
    about = {"version": entry.revision, "recorded": entry.recorded, "void": entry.withdrawn}
    about |= {} if entry.whole else {"damaged": True}
    return about | {"reason": entry.reason, "trial": trial_json(entry.trial)}


def known_blend(trial: Trial, catalogue: Catalogue) -> str:
    """Return a trial's blend by the trade names of its materials; a name without a spec file stays itself."""
    blend = trial.blend
    shares = share_words(blend)
    names = sorted(blend, key=lambda name: -blend[name])
    return ", ".join(f"{shares[name]} {_label(name, catalogue)}" for name in names)


def _label(name: str, catalogue: Catalogue) -> str:
    return label_of(name, catalogue) if name in catalogue else name


def listed_blocks(
    entries: Sequence[Entry],
    count: int,
    catalogue: Catalogue,
    units: System,
    short: Mapping[str, str],
) -> Iterator[Block]:
    """Give a list of trials, newest first; machine-made ids by their `short` names."""
    heads = ("trial", "blend by mass", "water ratio", "left the mold after", "strength", "whiteness L*")
    yield table(heads, [_row(entry, catalogue, units, short) for entry in entries], (2,))
    void = sum(entry.withdrawn for entry in entries)
    tail = f", {void} of them void" if void else ""
    yield sentence(f"{len(entries)} of {count} trials{tail}.", gap=True)


def _row(entry: Entry, catalogue: Catalogue, units: System, short: Mapping[str, str]) -> list[str]:
    trial = entry.trial
    ratio = "" if trial.water_ratio is None else f"{trial.water_ratio:.3f}"
    demold = out_words(trial, units)
    strengths = [
        " ".join(filter(None, ("" if s.sense == "=" else s.sense, _mega(s.value, units), s.state)))
        for s in trial.strengths
    ]
    white = "" if trial.whiteness is None else significant(trial.whiteness, 3)
    name = short.get(trial.id, trial.id) + (f" ({state})" if (state := _state(entry)) else "")
    return [name, known_blend(trial, catalogue), ratio, demold, ", ".join(strengths), white]


def _state(entry: Entry) -> str:
    return ("void" if entry.withdrawn else "") if entry.whole else "damaged"


def out_words(trial: Trial, units: System) -> str:
    """Return when the castings left their molds, and when they first could, as far as noted."""
    first = "" if trial.demold_first is None else f"first {show(trial.demold_first, 'demold_time', units)}"
    taken = "" if trial.demold is None else show(trial.demold, "demold_time", units)
    return ", ".join(filter(None, (first, taken)))


def _mega(value: float, units: System) -> str:
    return show(value, "dry_strength", units)


def history_blocks(versions: Sequence[Entry], lacking: Sequence[str], units: System) -> Iterator[Block]:
    """Give all that was noted of a trial, then what each version changed."""
    newest = versions[-1]
    state = "counts" if newest.counts else f"{_state(newest)}, it does not count"
    yield sentence(f"Trial {newest.trial.id}, version {newest.revision}: {state}.")
    yield table(("", ""), [(name, text) for name, text in _noted(newest.trial, units).items() if text])
    if len(versions) > 1:
        yield heading("History")
        for before, after in zip((None, *versions), versions, strict=False):
            yield indented(_change_words(before, after, units), f"{after.revision}.")
    if lacking:
        yield heading("What it cannot teach")
        for words in lacking:
            yield indented(words)


def _change_words(before: Entry | None, after: Entry, units: System) -> str:
    if not after.whole:
        return "damaged: what is shown of it may not be what was entered."
    day = after.recorded.partition(".")[0].replace("T", " ")
    reason = f" Reason: {after.reason}." if after.reason else ""
    if before is None:
        return f"{day} UTC: entered.{reason}"
    if after.withdrawn and not before.withdrawn:
        return f"{day} UTC: made void.{reason}"
    old, new = _noted(before.trial, units), _noted(after.trial, units)
    changed = [name for name in {**old, **new} if old.get(name, "") != new.get(name, "")]
    parts = [f"{name} {old.get(name) or 'nothing'} to {new.get(name) or 'nothing'}" for name in changed]
    return f"{day} UTC: {'; '.join(parts) or 'counts again'}.{reason}"


def _noted(trial: Trial, units: System) -> dict[str, str]:
    version = Version(trial)
    columns = headers_for([version])
    shown = [scale_column(column.header, units) for column in columns]
    cells = zip(shown, write_row(version, columns), strict=True)
    return {column.name: _noted_cell(column, cell) for column, cell in cells}


def _noted_cell(column: ShownColumn, cell: Cell) -> str:
    if isinstance(cell, float) and column.shown != column.unit:
        return csv_number(column.of(cell))
    return restored(cell_text(cell))


def noted_words(trial: Trial, column: str, units: System) -> str:
    """Return what was noted of a trial in a column of its table, with the unit shown; empty for nothing."""
    for head, text in _noted(trial, units).items():
        name, _, unit = head.partition(" [")
        if name == column and text:
            return f"{text.removesuffix('.0')} {unit.rstrip(']').removeprefix('-')}".strip()
    return ""


def teaching_words(trial: Trial) -> str:
    """Return what a trial teaches, and where to see what it lacks."""
    taught = ", ".join(quantity(name).label for name in teaches(trial))
    common = set(cannot_teach(trial).values())
    if not taught:
        lacking = f"{min(common)}" if len(common) == 1 else f"see vesselblend trials show {trial.id}"
        return f"It teaches nothing yet: {lacking}."
    return f"It teaches: {taught}. What it lacks for more: vesselblend trials show {trial.id}"


def trace_blocks(found: Trace, catalogue: Catalogue) -> Iterator[Block]:
    """Give the batches, bags, vessels and orders that hang together."""
    yield table(TRACE_HEADS, trace_rows(found, catalogue))
    for place, words in enumerate(trace_words(found, catalogue)):
        yield sentence(words, gap=not place)


TRACE_HEADS: Final = ("batch", "blend by mass", "vessels", "order")
"""Heads of the batches that hang together."""


def trace_rows(found: Trace, catalogue: Catalogue) -> list[tuple[str, str, str, str]]:
    """Return a row for each batch that hangs together, under `TRACE_HEADS`."""
    return [
        (batch.id, known_blend(batch, catalogue), " ".join(batch.labels), batch.sold_order)
        for batch in found.batches
    ]


def trace_words(found: Trace, catalogue: Catalogue) -> Iterator[str]:
    """Yield the bags of each batch, batches whose vessels cannot all be named, and lots much alike."""
    weighed: dict[str, list[str]] = {}
    for batch in found.batches:
        weighed.setdefault(_bags_words(batch, catalogue), []).append(batch.id)
    for bags, ids in weighed.items():
        whose = f"Bags of {', '.join(ids)}" if len(found.batches) > 1 else "Bags"
        yield f"{whose}: {bags}."
    if found.unlabeled:
        yield f"Not every vessel of {', '.join(found.unlabeled)} has a label."
    if found.alike:
        yield alike_words(found.alike)


def _bags_words(batch: Trial, catalogue: Catalogue) -> str:
    bags = dict.fromkeys((part.material, part.lot) for part in batch.portions)
    named = (f"{_label(name, catalogue)}, {f'lot {lot}' if lot else 'lot not noted'}" for name, lot in bags)
    return "; ".join(named) or "no powder noted"


def lots_words(lots: Iterable[tuple[str, str]], catalogue: Catalogue) -> str:
    """Return materials with the lots of their bags, each once; those without a lot are left out."""
    return ", ".join(dict.fromkeys(f"{_label(name, catalogue)} {lot}" for name, lot in lots if lot))


def trial_lots(trial: Trial, catalogue: Catalogue) -> str:
    """Return the lots of the bags a batch was weighed from; empty where none is noted."""
    return lots_words(((part.material, part.lot) for part in trial.portions), catalogue)


def _plain(value: object) -> object:
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    return value.isoformat() if isinstance(value, dt.date) else value


def scale_column(head: str, units: System) -> ShownColumn:
    """Return a column of the trial table in the units shown; grams stay, for the scale shows them."""
    return ShownColumn(head) if head.endswith(" [g]") else column_in(head, units)


def column_rows(units: System = "metric") -> Iterator[tuple[str, str]]:
    """Give each column as a table writes it, with its meaning; of numbered ones the first."""
    for field, unit in {**{name: one.unit for name, one in FIELDS.items()}, **BOOK}.items():
        yield scale_column(Column(field, unit).header, units).name, MEANINGS[field]
    for field, parts in GROUP_FIELDS.values():
        for part, one in parts.items():
            yield scale_column(Column(field, one.unit, 1, part).header, units).name, one.meaning


def column_blocks(units: System) -> Iterator[Block]:
    """Give the columns and how a table may differ."""
    yield table(("column", "holds"), column_rows(units))
    words = (
        "Only date is compulsory. Columns may stand in any order, in other units (water [kg], demold [h]) "
        "and in other writings (strength_2_value_psi); 1, 2, 3 number several powders, weighings, strengths, "
        "burns and causes of rejects. A column whose name begins with # is not read."
    )
    yield sentence(words, gap=True)


def understood_rows(read: Table) -> Iterator[tuple[str, str, str]]:
    """Give each column of the file, what it was taken for, and its first cell with content."""
    for column in read.layout.columns:
        taken = column.name or "not read"
        written = column.written.removeprefix("# ") or "(no header)"
        yield written, f"{taken} (by likeness)" if column.alike else taken, column.example[:40]


def understood_words(read: Table) -> str:
    """Return how many trials of which days a table holds."""
    days = sorted(trial.date for trial in read.trials)
    if not days:
        return "No row can be entered as it is."
    rows = f"{len(days)} trials" if len(days) > 1 else "1 trial"
    return f"{rows}, from {days[0]:%Y-%m-%d} to {days[-1]:%Y-%m-%d}{_ORDERS.get(read.layout.dates, '')}."


def understood_blocks(read: Table) -> Iterator[Block]:
    """Give what each column was taken for, how many trials there are, and what is to be confirmed."""
    yield table(("in the file", "taken as", "first cell"), understood_rows(read))
    yield sentence(understood_words(read), gap=True)
    if read.layout.doubts:
        yield heading("To confirm")
        for doubt in read.layout.doubts:
            yield indented(f"{doubt.where}: {doubt.value}. {doubt.repair}")
