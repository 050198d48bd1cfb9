"""The form of one trial: fields named like the columns of the trial table, read by the same reader.

What is typed keeps its units; faults come back by the field they belong to.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from optimizer.errors import Fault
from optimizer.trials.book import TrialBook
from optimizer.trials.cells import read_row, row_faults
from optimizer.trials.columns import read_header
from optimizer.trials.marks import doubtful_in
from optimizer.trials.records import FIELDS, GROUP_FIELDS, METHODS, STATES, Trial

_WHERE: Final = "trial"


@dataclass(frozen=True)
class Reading:
    """One field of the form: column of the trial table, words beside it, an example of what may be typed."""

    column: str
    label: str
    example: str

    @property
    def hint(self) -> str:
        """What stands in the empty field: an example that nobody takes for a value already filled in."""
        return f"such as {self.example}" if self.example else ""


def _of_trial(*names: str) -> tuple[Reading, ...]:
    return tuple(Reading(name, FIELDS[name].label, FIELDS[name].example) for name in names)


READINGS: Final = (
    *_of_trial("water", "room_temperature", "window_end", "demold_first", "demold", "casting_peak"),
    *_of_trial("cavity_volume"),
    Reading("weighing 1 mass", "mass of one piece", "362 g"),
    Reading("weighing 1 age", "weighed so long after demolding", "3 d"),
    Reading("weighing 2 mass", "mass of the same piece later", "361.8 g"),
    Reading("weighing 2 age", "weighed so long after demolding, again", "4 d"),
    Reading("strength 1 value", "strength", "24 MPa or 3500 psi"),
    Reading("strength 1 age", "strength tested at age", "1 d"),
    Reading("strength 1 state", "piece was", ""),
    Reading("strength 1 method", "strength by", ""),
    *_of_trial("whiteness", "absorption", "coats"),
    Reading("burn 1 outer", "outer wall in a test burn", "44 C"),
    Reading("burn 1 burn_rate", "wax burned by one wick", "4.5 g/h"),
    *_of_trial("cast"),
    Reading("reject 1 count", "of them thrown away", "1"),
    Reading("reject 1 cause", "why", "bubbles"),
    *_of_trial("remarks", "labels", "sold_order"),
)
"""The readings a studio usually takes; every column of the trial table can be imported as CSV."""

CHOICES: Final[Mapping[str, tuple[str, ...]]] = {
    "strength 1 state": ("", *STATES),
    "strength 1 method": ("", *METHODS),
}
"""Readings that are one of a few words."""


def powder_column(material: str) -> str:
    """Return the column of a powder's mass."""
    return f"mass of {material}"


def lot_column(material: str) -> str:
    """Return the column of the lot of a powder's bag."""
    return f"lot of {material}"


def unweighed_lot(material: str, lot: str, where: str) -> Fault:
    """Return the fault of a lot that was noted of a powder without a mass."""
    allowed = f"a lot of a powder that was weighed, and no mass of {material} is noted"
    return Fault(where, repr(lot), allowed, "Note its mass, or take the lot out.")


def trial_of(typed: Mapping[str, str], today: dt.date | None = None) -> tuple[Trial | None, dict[str, Fault]]:
    """Return the trial of what was typed, or every fault by the column it belongs to.

    Parameters
    ----------
    typed : Mapping[str, str]
        Text by column; empty texts were not noted.
    today : datetime.date | None
        The day after which a date is in the future; None: the machine's date.

    Examples
    --------
    >>> trial, faults = trial_of({"date": "2026-03-02", "water": "118 g", "demold": "soon"})
    >>> trial is None, list(faults)
    (True, ['demold'])
    """
    noted = {column: text.strip() for column, text in typed.items() if text and text.strip()}
    headers, wrong = read_header(list(noted), _WHERE)
    row = read_row(list(noted.values()), headers, _WHERE)
    faults = {_column_of(fault): fault for fault in (*wrong, *row_faults(row, _WHERE, today))}
    faults = _unweighed_lots(noted, row.version.trial, faults) | faults
    return (None, faults) if faults else (row.version.trial, {})


def _unweighed_lots(noted: Mapping[str, str], trial: Trial, faults: Mapping[str, Fault]) -> dict[str, Fault]:
    """Return a fault for each lot of a powder that was not weighed; one whose mass is at fault is left."""
    known = {lot_column(portion.material) for portion in trial.portions}
    lots = [column for column in noted if column.startswith(lot_column("")) and column not in known]
    names = {column: column.removeprefix(lot_column("")) for column in lots}
    return {
        column: unweighed_lot(name, noted[column], f"{_WHERE}, column '{column}'")
        for column, name in names.items()
        if powder_column(name) not in faults
    }


def doubts_of(trial: Trial, book: TrialBook | None = None) -> dict[str, Fault]:
    """Return what to ask about before a book takes a trial, by the column of the form it belongs to.

    Examples
    --------
    >>> trial, _ = trial_of({"date": "2026-03-02", "strength 1 value": "5.6 psi"})
    >>> list(doubts_of(trial))
    ['strength 1 value']
    """
    words = {field: word for word, (field, _) in GROUP_FIELDS.items()}
    out = {}
    for fault in doubtful_in(book, trial):
        field, *rest = fault.where.split(".")
        if field == "portions":  # the form has the lot of a powder, not of its place
            out[lot_column(trial.portions[int(rest[0]) - 1].material)] = fault
        else:
            out[" ".join([words.get(field, field), *rest])] = fault
    return out


def _column_of(fault: Fault) -> str:
    named = re.search(r"column '([^']+)'", fault.where)
    return named[1].partition(" [")[0] if named else fault.where
