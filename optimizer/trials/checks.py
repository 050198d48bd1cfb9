"""What a trial cannot be: values outside what a bench can show, and readings that contradict each other.

Ranges of single values stand in `optimizer.trials.records`. What may be but seldom is, more often a slip
of the unit or of the decimal mark, is not refused but asked about (`doubtful`); the bounds of that are common
practice, no source.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterator
from itertools import pairwise
from typing import Final

from optimizer.constants import MPA_PER_PSI
from optimizer.errors import Fault, FileFaults
from optimizer.trials.fields import BETWEEN_LABELS, TrialField
from optimizer.trials.records import Trial, field_names, field_of

LONGEST_TEXT: Final = 10_000
"""Characters of one remark."""

_DAY: Final = 1440.0
_SCALE_SLACK: Final = 1.01

_ODD: Final = re.compile("[\x00-\x08\x0b-\x1f\ud800-\udfff\ufffe\uffff]")
"""Characters that not every file format can carry."""

Places = frozenset[str]
"""Places of faults, such as ``strengths.2.age``."""

_NEEDED: Final = frozenset({"portions.material", "rejects.cause"})

_WEAKEST: Final = 0.5
"""A strength below this [MPa] is more often one of another unit, or 5,600 read as 5.6."""

_WETTEST: Final = 1.2
_DRIEST: Final = 0.1
"""Water per powder outside of these [g/g] is more often a slip."""

RIGHT: Final = "Correct it, or say that it is right."
"""Repair of what is asked about."""


def trial_faults(trial: Trial, today: dt.date | None = None) -> tuple[Fault, ...]:
    """Return everything about `trial` that cannot be.

    Empty when nothing is wrong; `where` is the field (``strengths.2.age``).

    Parameters
    ----------
    today : datetime.date | None
        The day after which a date is in the future; None: the machine's date [-].

    Examples
    --------
    >>> wrong = Trial(dt.date(2026, 3, 2), final_set=30.0, demold=20.0)
    >>> [fault.where for fault in trial_faults(wrong, dt.date(2026, 3, 3))]
    ['demold']
    """
    faults = [*_value_faults(trial)]
    bad = frozenset(fault.where for fault in faults)  # a value that cannot be contradicts nothing
    faults += [*_date_faults(trial, today), *_time_faults(trial, bad), *_mass_faults(trial, bad)]
    faults += [*_strength_faults(trial, bad), *_piece_faults(trial, bad)]
    if "date" not in {fault.where for fault in faults}:
        told = bad | {fault.where for fault in faults}
        faults += [fault for fault in _age_faults(trial, today) if fault.where not in told]
    return tuple(faults)


def check_trial(trial: Trial, today: dt.date | None = None) -> None:
    """Raise `FileFaults` when `trial` holds anything that cannot be.

    Parameters
    ----------
    today : datetime.date | None
        See `trial_faults` [-].

    Raises
    ------
    FileFaults
        With all faults of the trial at once.
    """
    faults = trial_faults(trial, today)
    if faults:
        raise FileFaults(faults)


def _readings(trial: Trial) -> Iterator[tuple[str, str, object]]:
    """Give every value of the trial as (place, kind of field, value)."""
    for field in field_names(trial):
        value = getattr(trial, field)
        if not isinstance(value, tuple):
            yield field, field, value
            continue
        for number, item in enumerate(value, start=1):
            if isinstance(item, str):
                yield f"{field}.{number}", field, item
                continue
            for part in field_names(item):
                yield f"{field}.{number}.{part}", f"{field}.{part}", getattr(item, part)


def _value_faults(trial: Trial) -> Iterator[Fault]:
    for where, kind, value in _readings(trial):
        if isinstance(value, str):
            yield from _text_faults(where, kind, value)
        elif value is not None and (field := field_of(kind)) is not None and field.number:
            yield from _range_faults(where, field, value)


def _range_faults(where: str, field: TrialField, value: object) -> Iterator[Fault]:
    least, most, unit = field.least, field.most, field.unit
    allowed = f"a number from {least:.10g} to {most:.10g} {unit}".removesuffix(" -")
    if isinstance(value, bool) or not isinstance(value, int | float) or math.isnan(value):
        yield Fault(where, repr(value), allowed, "Write a number or leave it empty.")
    elif unit == "count" and value != int(min(max(value, least), most)):
        yield Fault(where, f"{value:g}", f"a whole number from {least:.10g} to {most:.10g}", "Count again.")
    elif not least <= value <= most:
        yield Fault(where, f"{value:g} {unit}", allowed, "Check the number and its unit.")


def _text_faults(where: str, kind: str, text: str) -> Iterator[Fault]:
    field = field_of(kind)
    allowed_words = field.allowed if field else ()
    if allowed_words and text not in allowed_words:
        words = ", ".join(word for word in allowed_words if word)
        yield Fault(where, repr(text), words, "Write one of these words.")
    elif kind in _NEEDED and not text.strip():
        yield Fault(where, "nothing", "a name", "Name it, or remove the line.")
    elif len(text) > LONGEST_TEXT:
        yield Fault(where, f"{len(text)} characters", f"at most {LONGEST_TEXT}", "Shorten the text.")
    elif odd := _ODD.findall(text):
        allowed = "letters, digits, signs, spaces, tabs and line ends"
        yield Fault(where, repr("".join(odd)), allowed, "Remove these characters.")
    elif kind != "remarks" and (text != text.strip() or "\t" in text or "\n" in text):
        yield Fault(where, repr(text), "a name on one line, without spaces around it", "Trim it.")
    elif kind == "labels" and BETWEEN_LABELS.search(text):
        allowed = "a name without spaces, commas and semicolons"
        yield Fault(where, repr(text), allowed, "Join the words by hyphens.")
    elif kind == "id" and len(text.split()) > 1:
        yield Fault(where, repr(text), "a name without spaces", "Join the words by hyphens.")
    elif kind == "labels" and not text:
        yield Fault(where, "nothing", "a label", "Label the vessel, or leave it out.")


def _date_faults(trial: Trial, today: dt.date | None) -> Iterator[Fault]:
    last = today or dt.date.today()
    if not dt.date(1900, 1, 1) <= trial.date <= last:
        allowed = f"a day from 1900 to today, {last.isoformat()}"
        yield Fault("date", trial.date.isoformat(), allowed, "Correct the date of the pour.")


def _age_faults(trial: Trial, today: dt.date | None) -> Iterator[Fault]:
    """Give the readings that would have been taken after today: only the day of the pour is known."""
    days = ((today or dt.date.today()) - trial.date).days + 1
    ages = [("demold", trial.demold, "min"), ("demold_first", trial.demold_first, "min")]
    ages += [(f"weighings.{k}.age", one.age, "d") for k, one in enumerate(trial.weighings, start=1)]
    ages += [(f"strengths.{k}.age", one.age, "min") for k, one in enumerate(trial.strengths, start=1)]
    for where, age, unit in ages:
        most = days * (_DAY if unit == "min" else 1.0)
        if age is not None and age >= most:
            allowed = f"less than {days} d: poured on {trial.date.isoformat()}, no piece is older today"
            repair = "Correct the day of the pour, or this age; enter a reading only once it was taken."
            shown = f"{age / _DAY:g} d" if unit == "min" else f"{age:g} d"
            yield Fault(where, shown, allowed, repair)


def _time_faults(trial: Trial, bad: Places) -> Iterator[Fault]:
    order = (
        ("initial_set", "final_set", "final set cannot come before initial set"),
        ("window_end", "final_set", "a mix cannot pour after final set"),
        ("initial_set", "demold", "nothing leaves the mold before it has set"),
        ("final_set", "demold", "nothing leaves the mold before it has set"),
        ("initial_set", "demold_first", "nothing leaves the mold before it has set"),
        ("final_set", "demold_first", "nothing leaves the mold before it has set"),
        ("demold_first", "demold", "castings are not taken out before they first could be"),
    )
    seen = set(bad)
    for first, second, reason in order:
        early, late = getattr(trial, first), getattr(trial, second)
        if early is None or late is None or first in bad or second in seen:
            continue
        if late < early:
            seen.add(second)
            allowed = f"{early:g} min ({first.replace('_', ' ')}) or later"
            yield Fault(second, f"{late:g} min", allowed, f"Check both times: {reason}.")


def _mass_faults(trial: Trial, bad: Places) -> Iterator[Fault]:
    yield from _too_heavy(trial, bad)
    weighings = [
        (number, weighing)
        for number, weighing in enumerate(trial.weighings, start=1)
        if not bad & {f"weighings.{number}.age", f"weighings.{number}.mass"}
    ]
    for (_, before), (number, after) in pairwise(weighings):
        if after.age <= before.age:
            allowed = f"later than {before.age:g} d"
            where = f"weighings.{number}.age"
            yield Fault(
                where, f"{after.age:g} d", allowed, "Give the weighings in order, each with its own day."
            )
    if weighings and weighings[-1][1].mass > weighings[0][1].mass * _SCALE_SLACK:
        first, (number, last) = weighings[0][1].mass, weighings[-1]
        where = f"weighings.{number}.mass"
        repair = "Check whether two pieces or two columns were mixed up: dry cannot be heavier than wet."
        yield Fault(where, f"{last.mass:g} g", f"at most the first mass, {first:g} g", repair)


def _too_heavy(trial: Trial, bad: Places) -> Iterator[Fault]:
    """Give the pieces that weigh more than was mixed."""
    if not trial.portions or trial.water is None:
        return
    if "water" in bad or any(place.startswith("portions.") for place in bad):
        return
    mixed = trial.powder_mass + trial.water
    for number, weighing in enumerate(trial.weighings, start=1):
        where = f"weighings.{number}.mass"
        if where not in bad and weighing.mass > mixed * _SCALE_SLACK:
            allowed = f"at most the {mixed:g} g that were mixed"
            yield Fault(where, f"{weighing.mass:g} g", allowed, "Check the mass of the piece and of the mix.")


def _strength_faults(trial: Trial, bad: Places) -> Iterator[Fault]:
    for number, strength in enumerate(trial.strengths, start=1):
        set_seen = None if "initial_set" in bad else trial.initial_set
        where = f"strengths.{number}.age"
        if where in bad or strength.age is None or set_seen is None:
            continue
        if strength.age < set_seen:
            allowed = f"{set_seen:g} min (initial set) or later"
            yield Fault(where, f"{strength.age:g} min", allowed, "Check the unit of the age.")
    for number, burn in enumerate(trial.burns, start=1):
        if burn.outer is None and burn.inner is None:
            yield Fault(f"burns.{number}", "no temperature", "an outer or inner wall temperature", "Add one.")


def _piece_faults(trial: Trial, bad: Places) -> Iterator[Fault]:
    counted = "cast" not in bad and not any(place.startswith("rejects.") for place in bad)
    rejected = sum(reject.count for reject in trial.rejects) if counted else 0
    if trial.cast is not None and counted and rejected > trial.cast:
        yield Fault("rejects", f"{rejected} castings", f"at most the {trial.cast} cast", "Count again.")
    if len(set(trial.labels)) < len(trial.labels):
        twice = sorted({label for label in trial.labels if trial.labels.count(label) > 1})
        yield Fault("labels", ", ".join(twice), "each label once", "Give every vessel its own label.")


class DoubtfulReadings(FileFaults):
    """Readings that can be, and seldom are: to be taken only when somebody says that they are right."""


def doubtful(trial: Trial) -> tuple[Fault, ...]:
    """Return what to ask about before `trial` is taken.

    Empty when nothing is odd; `where` is the field (``strengths.2.value``).

    Parameters
    ----------
    trial : Trial
        A record that `checks.trial_faults` lets pass [-].

    Examples
    --------
    >>> import datetime as dt
    >>> from optimizer.trials.records import Strength
    >>> [fault.where for fault in doubtful(Trial(dt.date(2026, 3, 2), strengths=(Strength(0.039),)))]
    ['strengths.1.value']
    """
    return (*_strengths(trial), *_water(trial))


def _strengths(trial: Trial) -> Iterator[Fault]:
    for number, one in enumerate(trial.strengths, start=1):
        if 0.0 < one.value < _WEAKEST:
            allowed = f"{_WEAKEST:g} MPa ({_WEAKEST / MPA_PER_PSI:.0f} psi) or more, as a rule"
            yield Fault(f"strengths.{number}.value", f"{one.value:.3g} MPa", allowed, RIGHT)


def _water(trial: Trial) -> Iterator[Fault]:
    if not trial.portions or not trial.powder_mass:
        return
    if not trial.water:
        if trial.cast:
            allowed = "the water weighed: without it the casting teaches nothing"
            yield Fault("water", "castings without water", allowed, RIGHT)
        return
    ratio = trial.water / trial.powder_mass
    if not _DRIEST <= ratio <= _WETTEST:
        shown = f"{trial.water:g} g to {trial.powder_mass:g} g of powder, a water ratio of {ratio:.3g}"
        yield Fault("water", shown, f"a water ratio of {_DRIEST:g} to {_WETTEST:g}, as a rule", RIGHT)
