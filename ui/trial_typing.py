"""A trial as a caster types it at the command line: a new one, or a correction of an earlier one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from optimizer.errors import Fault, FileFaults
from optimizer.materials import Catalogue
from optimizer.specs import load_catalogue
from optimizer.trials.cells import Row, at_column, cell_text, read_row, restored, row_faults, write_row
from optimizer.trials.columns import Column, Header, headers_for, read_header
from optimizer.trials.exchange import strange_fault
from optimizer.trials.records import Portion, Trial, Version
from ui.jobs import read_amounts
from ui.trial_form import lot_column, unweighed_lot

_TYPED: Final = "trials add"
_Pairs = list[tuple[Header, str]]


def typed_trial(readings: Sequence[str], weighed: str | None, specs: str | None) -> Trial:
    """Return the trial of ``name=value`` readings and of a line of weighed grams.

    Raises
    ------
    FileFaults
        All faults of what was typed.
    """
    pairs, faults = _pairs(readings, weighed)
    if not any(header.column.field == "date" for header, _ in pairs):
        pairs.insert(0, (Header(Column("date", "date"), "date", "date"), dt.date.today().isoformat()))
    return _trial(pairs, faults, weighed, specs)


def corrected_trial(earlier: Trial, readings: Sequence[str], weighed: str | None, specs: str | None) -> Trial:
    """Return an earlier trial with the readings as typed now; the others stay as they were.

    ``name=`` without a value takes a reading out; weighed grams replace all that was weighed, and each powder
    of them keeps the lot it had.

    Raises
    ------
    FileFaults
        All faults of what was typed.
    """
    pairs, faults = _pairs(readings, weighed)
    pairs = [(_place_of(header, earlier), cell) for header, cell in pairs]
    version = Version(earlier)
    columns = headers_for([version])
    held = [
        (Header(column, column.unit, column.header), cell_text(cell))
        for column, cell in zip(columns, write_row(version, columns), strict=True)
    ]
    now = {header.column for header, _ in pairs}
    kept = [(header, cell) for header, cell in held if header.column not in now]
    trial = _trial([*kept, *pairs], faults, weighed, specs)
    return replace(trial, id=earlier.id)


def _pairs(readings: Sequence[str], weighed: str | None) -> tuple[_Pairs, list[Fault]]:
    """Return what was typed as columns and cells, and the faults of its names."""
    if not readings and weighed is None:
        repair = (
            'Write what was weighed and read, such as --weighed "gypsum_cement=300, water=105" demold=38min.'
        )
        raise FileFaults([Fault(_TYPED, "nothing", "at least one mass or reading", repair)])
    parts = [reading.partition("=") for reading in readings]
    repair = 'Write name=value, such as "demold=38 min".'
    faults = [Fault(_TYPED, repr(name[:60]), "name=value", repair) for name, equals, _ in parts if not equals]
    typed = [(name.strip(), value.strip()) for name, equals, value in parts if equals]
    headers, wrong = read_header(["date", *(name for name, _ in typed if name.lower() != "date")], _TYPED)
    faults += [_named(fault) for fault in wrong]
    if not headers:  # more names, or longer ones, than any trial has
        return [], faults
    day = [value for name, value in typed if name.lower() == "date"]
    values = [value for name, value in typed if name.lower() != "date"]
    found = zip(headers, [day[0] if day else None, *values], strict=True)
    return [(header, cell) for header, cell in found if header is not None and cell is not None], faults


def _named(fault: Fault) -> Fault:
    """Return the fault of a table's header as one of a typed name."""
    return replace(fault, where=_TYPED, repair="Correct the name; `vesselblend trials columns` lists all.")


def _place_of(header: Header, earlier: Trial) -> Header:
    """Let ``mass of sand`` mean the portion of sand the earlier trial has, if any."""
    column = header.column
    materials = [portion.material for portion in earlier.portions]
    if not column.material or column.material not in materials:
        return header
    number = materials.index(column.material) + 1
    return replace(header, column=Column(column.field, column.unit, number, column.part))


def _trial(pairs: _Pairs, faults: list[Fault], weighed: str | None, specs: str | None) -> Trial:
    catalogue = load_catalogue(specs)
    row = read_row([cell for _, cell in pairs], [header for header, _ in pairs], _TYPED)
    named = _named_lots(pairs)
    if weighed is not None:
        row, wrong = _with_weighed(row, weighed, catalogue, named)
        faults += wrong
    faults += row_faults(row, _TYPED)
    portions = row.version.trial.portions
    for number, portion in enumerate(portions, start=1):
        if portion.material not in catalogue:
            fault = strange_fault(f"portions.{number}.material", portion.material, tuple(catalogue))
            faults.append(at_column(row, fault, _TYPED))
    bare = set(named) - {portion.material for portion in portions}
    faults += [unweighed_lot(name, named[name], f"{_TYPED}, {lot_column(name)}") for name in sorted(bare)]
    if faults:
        raise FileFaults(faults)
    return row.version.trial


def _named_lots(pairs: _Pairs) -> dict[str, str]:
    """Return the lots typed as ``lot of gypsum_cement``, by powder."""
    lots = {header.column.material: restored(cell) for header, cell in pairs if header.column.part == "lot"}
    return {name: lot for name, lot in lots.items() if name and lot}


def _with_weighed(
    row: Row, weighed: str, catalogue: Catalogue, named: Mapping[str, str]
) -> tuple[Row, list[Fault]]:
    """Return a row with what was weighed as its powders; each keeps its lot or takes the `named` one."""
    try:
        grams = read_amounts(weighed, catalogue, "g", "--weighed", water=True)
    except FileFaults as error:
        return row, list(error.faults)
    trial = row.version.trial
    powders = {name: mass for name, mass in grams.items() if name != "water"}
    lots = {name: _lots_of(name, trial) | {named.get(name, ""): None} for name in powders}
    bags = {name: [lot for lot in each if lot] for name, each in lots.items()}
    faults = [_several(name, each) for name, each in bags.items() if len(each) > 1]
    portions = tuple(Portion(name, mass, "".join(bags[name][:1])) for name, mass in powders.items())
    trial = replace(trial, portions=portions or trial.portions, water=grams.get("water", trial.water))
    return replace(row, version=replace(row.version, trial=trial)), faults


def _lots_of(material: str, trial: Trial) -> dict[str, None]:
    return {portion.lot: None for portion in trial.portions if portion.material == material}


def _several(material: str, lots: Sequence[str]) -> Fault:
    repair = "Correct it as powder 1 mass=, powder 2 mass= and so on, which leaves each its lot."
    value = f"one mass of {material} from the lots {', '.join(lots)}"
    return Fault(f"{_TYPED}, --weighed", value, "a mass for each lot", repair)
