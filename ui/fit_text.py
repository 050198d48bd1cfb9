"""A fit to trials in words and digits: what was expected and read, which readings count, what to cast."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from optimizer.calibration.fit import Fit, Seen
from optimizer.calibration.leave_out import LeftOut, Unexplained
from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.next_trial import NextTrial
from optimizer.calibration.readings import Reading, Studio, readings_of
from optimizer.calibration.record import Flagged
from optimizer.job import Job, Vessel
from optimizer.materials import Catalogue
from optimizer.nomenclature import QUANTITIES
from optimizer.studies.check import weighing_order
from optimizer.trials.records import Trial
from optimizer.units import System, show, show_amount
from ui.terminal import Block, heading, sentence, table
from ui.unit_text import prose_in
from ui.words import blend_words, bound_words, grams_words, label_of

_LISTED = 12

NOTES = (
    "* further off than before; ! does not fit the other trials and hardly counts; \u2264 an upper bound: "
    "taken out by then, perhaps ready earlier, and met when the castings were expected to be strong enough."
)
"""What the marks of a row mean."""


LEFT_OUT_HEADS = ("reading", "readings", "before", "now", "held before", "held now", "")
"""Heads of the table of `left_out_row`."""

_READINGS: Final = ("mass", "strength", "hottest while setting", "test burn")
"""What a reason begins with that is about one reading; others are about the whole trial."""

_PIECES: Final = 3
"""Molds' worth of slurry: one vessel, and test bars or cubes of twice its volume."""

_HOW: Final[Mapping[str, str]] = {
    "fresh_density": "weigh a cup of known volume full of slurry (trials measure density)",
    "demolded_mass": "weigh one piece as it leaves the mold",
    "dry_share": "weigh the same piece daily until it is dry (trials measure drying)",
    "initial_set": "note when a needle or fingernail no longer goes through",
    "final_set": "note when it no longer leaves a mark",
    "wet_strength": "crush a cube or break bars, {early} old and never dried (trials measure bar)",
    "dry_strength": "crush a cube or break bars, once dry (trials measure bar)",
    "demold": "try, until a casting leaves its mold whole",
    "absorption": "soak a dry piece for a day, wipe and weigh it (trials measure soak)",
    "whiteness": "photograph the dry face beside a white card (trials measure whiteness)",
}
_HOURS: Final = 120.0
_SHOWN: Final = 0.005
_OTHERS: Final = 8
"""Other casts shown [count]."""
_UNTOLD: Final = 0.98
"""A doubt that falls by less than this is said to stay [-]."""


@dataclass(frozen=True)
class SeenRow:
    """One reading as shown.

    Attributes
    ----------
    trial, reading : str
        Which.
    before, after, seen : str
        Expected with the shipped and the fitted figures, and read; with units.
    mark : str
        ``*`` made worse by the fit, ``!`` flagged.
    bound : bool
        True where a time out of the mold is an upper bound only.
    """

    trial: str
    reading: str
    before: str
    after: str
    seen: str
    mark: str
    bound: bool = False


def seen_rows(fit: Fit, units: System) -> tuple[SeenRow, ...]:
    """Return every reading used, trial by trial."""
    order = list(KINDS)
    rows = sorted(fit.seen, key=lambda one: (one.reading.place, order.index(one.reading.kind)))
    return tuple(seen_row(one, units) for one in rows)


def seen_row(one: Seen, units: System) -> SeenRow:
    """Return one reading as shown."""
    reading = one.reading
    quantity = KINDS[reading.kind].quantity
    before, after, seen = (
        _value(value * reading.whole, quantity, units) for value in (one.before, one.after, reading.value)
    )
    if reading.kind == "demold":
        seen = f"out at {seen}" if reading.side else f"first out at {seen}"
    elif reading.side:
        seen = f"{'at least' if reading.side > 0 else 'at most'} {seen}"
    mark = "!" if one.flagged else "*" if one.worse else ""
    bound = reading.kind == "demold" and reading.side != 0
    return SeenRow(reading.trial, _reading_words(one), before, after, seen, mark, bound)


def flagged_words(one: Flagged, units: System) -> str:
    """Return what to do about a reading that does not fit the others, the reading with its unit.

    Examples
    --------
    >>> flagged_words(Flagged("2026-03-02-a", "end of pouring", 11.0, 4.2), "metric")[:44]
    'Trial 2026-03-02-a: end of pouring of 11 min'
    """
    value = _value(one.value, one.quantity, units) if one.quantity else f"{one.value:.4g}"
    return (
        f"Trial {one.trial}: {one.reading} of {value} does not fit all the others; it is kept, and hardly "
        "used. Look it up before you trust either."
    )


def _value(value: float, quantity: str, units: System) -> str:
    return show(value, quantity, units) if math.isfinite(value) else "never"


def _reading_words(one: Seen) -> str:
    age = one.reading.age
    words = KINDS[one.reading.kind].words
    timed = one.reading.kind.startswith("wet_") and math.isfinite(age)
    return f"{words}, {show_amount(age / 60.0, 'h', 2)} old" if timed else words


def moved_words(fit: Fit, units: System) -> tuple[str, ...]:
    """Return why rows moved away from what was seen, and what "never" means, a sentence for each row."""
    told = [words for one in fit.seen if (words := _moved(one, units))]
    left = len(told) - _LISTED
    return (*told[:_LISTED], *([f"And {left} more readings."] if left > 0 else []))


def _moved(one: Seen, units: System) -> str:
    parts = []
    if one.reading.kind == "demold" and not math.isfinite(max(one.before, one.after)):
        before, after = (f"{math.floor(1000.0 * share) / 10.0:g} %" for share in one.enough)
        parts.append(
            f'"never" counts against the figures: they expect at most {before} of the strength asked before '
            f"the fit and {after} after it"
        )
    if one.worse and one.pulled:
        pulling = " and ".join(f"{KINDS[pull.kind].words} of {pull.trial}" for pull in one.pulled)
        bound = "an upper bound that the prediction misses; " if one.reading.side else ""
        parts.append(f"{bound}moved further off, pulled by {pulling}")
    if not parts:
        return ""
    return f"{one.reading.trial}, {_reading_words(one)}: {'; '.join(parts)}."


def worse_words(fit: Fit) -> str:
    """Return how many readings the fit took further off; empty when none."""
    worse = [one for one in fit.seen if one.worse and not one.flagged]
    if not worse:
        return ""
    kinds = ", ".join(dict.fromkeys(KINDS[one.reading.kind].words for one in worse))
    return (
        f"{len(worse)} of {len(fit.seen)} readings are further off than before ({kinds}): the "
        "figures cannot meet all readings at once."
    )


def left_out_row(one: LeftOut) -> tuple[str, ...]:
    """Return how well one kind of reading is predicted from all other casts, under `LEFT_OUT_HEADS`."""
    kind = KINDS[one.kind]
    sizes = (f"{100.0 * x:.1f} %" if kind.log else f"{x:.1f}" for x in (one.before, one.after))
    shares = (f"{100.0 * x:.0f} %" for x in (one.inside_before, one.inside_after))
    return kind.words, str(one.readings), *sizes, *shares, "" if one.better else "no better"


def left_out_words(fit: Fit) -> str:
    """Return whether the fit predicts casts it has not seen better than the shipped figures do."""
    better = sum(one.better for one in fit.left_out)
    return (
        f"The fit predicts a cast it has not seen better in {better} of {len(fit.left_out)} kinds of "
        "reading. Held: readings within the stated range, which should hold 90 %."
    )


def unexplained_words(one: Unexplained) -> str:
    """Return that nothing explains a cast, and what to look for."""
    rare = "less than one in a million" if one.chance < 1e-6 else f"1 in {1.0 / one.chance:,.0f}"
    return (
        f"Trial {one.trial}: its readings together are too odd for the other casts ({rare}). Look for a bag, "
        "a weighing or a reading that was mixed up, or cast it again."
    )


@dataclass(frozen=True)
class Counts:
    """What a fit takes of one trial.

    Attributes
    ----------
    taken : tuple[str, ...]
        Readings that count, in words.
    lacking : tuple[str, ...]
        What to note, or to do, for the readings that do not.
    """

    taken: tuple[str, ...]
    lacking: tuple[str, ...]

    @property
    def taken_words(self) -> str:
        """What counts, as one sentence."""
        return (
            f"The fit takes: {', '.join(self.taken)}." if self.taken else "The fit takes nothing of it yet."
        )

    @property
    def lacking_words(self) -> str:
        """What does not count and why, as one sentence; empty where everything does."""
        return f"Noted, but the fit leaves it out: {'; '.join(self.lacking)}." if self.lacking else ""

    @property
    def left_out(self) -> str:
        """Which readings do not count, in a few words; the whole trial where it lacks a mix."""
        names = (reason.partition(":")[0] for reason in self.lacking)
        return ", ".join(dict.fromkeys(name if name in _READINGS else "all of it" for name in names))


def counts_of(trial: Trial, catalogue: Catalogue, studio: Studio | None = None) -> Counts:
    """Return what a fit takes of a trial.

    Parameters
    ----------
    trial : Trial
        As noted, in the book or not yet.
    studio : Studio | None
        Where it was cast; None: as in a fit that names a job.

    Examples
    --------
    >>> import datetime as dt
    >>> from optimizer.specs import load_catalogue
    >>> from optimizer.trials.records import Portion, Strength
    >>> strength = Strength(36.0, 1440.0)
    >>> plain = Trial(dt.date(2026, 3, 2), portions=(Portion("gypsum_cement", 300.0),), water=105.0)
    >>> found = counts_of(replace(plain, demold=58.0, strengths=(strength,)), load_catalogue())
    >>> found.taken
    ('time out of the mold (an upper bound)',)
    >>> found.lacking
    ('strength: note whether the piece tested was wet or dry',)
    >>> found.left_out
    'strength'
    """
    studio = Studio(vessel=Vessel(trial.cavity_volume or 200.0)) if studio is None else studio
    _, readings, unused = readings_of([replace(trial, id=trial.id or "new")], catalogue, studio)
    return Counts(
        tuple(dict.fromkeys(map(_words, readings))), tuple(dict.fromkeys(one.reason for one in unused))
    )


def _words(reading: Reading) -> str:
    if reading.kind == "demold":
        return "time out of the mold (an upper bound)" if reading.side else "first time out of the mold"
    return KINDS[reading.kind].words


def test_volume(job: Job) -> float:
    """Return the slurry a trial takes, waste in [mL]."""
    return _PIECES * job.vessel.cavity_volume * (1.0 + job.shop.waste)


def next_sentence(found: NextTrial, catalogue: Catalogue, units: System) -> str:
    """Return what to cast and why, with trade names."""
    labels = {name: label_of(name, catalogue) for name in found.cast.blend}
    return prose_in(found.sentence(labels), units)


def weigh_rows(
    weighed: Mapping[str, float], job: Job, catalogue: Catalogue, units: System
) -> list[tuple[str, str]]:
    """Return each material with its mass as the scale shows it."""
    rows = []
    for name in weighing_order(weighed, catalogue):
        role = "water" if name == "water" else catalogue[name].role
        step = job.shop.weigh_step if role in ("binder", "filler", "water") else job.shop.dose_step
        rows.append((label_of(name, catalogue), grams_words(weighed[name], step, units)))
    return rows


def measure_rows(found: NextTrial) -> list[tuple[str, str, str]]:
    """Return what to measure, how, and the part of the doubt it would take off alone; most first."""
    return [
        (KINDS[kind].words, _HOW.get(kind, "").format(early=_age(found.early)), f"{100.0 * share:.0f} %")
        for kind, share in found.alone.items()
        if share > _SHOWN
    ]


def fall_rows(found: NextTrial, units: System) -> list[tuple[str, str, str]]:
    """Return each limit with its doubt now and after; one the trial says nothing about stays the same."""
    rows: dict[str, tuple[str, str, str]] = {}
    for fall in found.falls:  # a limit with two questions behind it: the one whose doubt weighs more
        now, then = fall.sizes()
        told = fall.after < _UNTOLD * fall.before
        words = f"{QUANTITIES[fall.limit.property].label} {bound_words(fall.limit, units)}"
        first, last = (now, then) if told else (fall.size(), "the same")
        rows.setdefault(words, (words, prose_in(first, units), prose_in(last, units)))
    return list(rows.values())


def _age(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < _HOURS else f"{minutes / 60.0:.0f} h"


def next_blocks(
    found: NextTrial, weighed: Mapping[str, float], job: Job, catalogue: Catalogue, units: System
) -> Iterator[Block]:
    """Give the next cast as text."""
    yield sentence(next_sentence(found, catalogue, units))
    volume = show_amount(test_volume(job), "mL", 3, units)
    yield heading(f"Weigh, for one vessel and test pieces of twice its volume ({volume}, waste in)")
    yield table(("", ""), weigh_rows(weighed, job, catalogue, units), (1,))
    yield heading("Measure, with what each would take off the open doubt alone")
    yield table(("reading", "how", "takes off"), measure_rows(found), (2,))
    yield heading("How far the doubt falls (one standard error)")
    yield table(("limit", "now", "after"), fall_rows(found, units), (1, 2))
    if found.others:
        yield heading("Other casts, with the part of the open doubt they would take off")
        casts = [
            (cast.name, blend_words(cast.blend, catalogue), f"{100.0 * share:.0f} %")
            for cast, share in found.others[:_OTHERS]
        ]
        yield table(("cast", "of", "takes off"), casts, (2,))
