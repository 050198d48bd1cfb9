"""The cast to make next: what to weigh, what to measure, and what it is good for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.next_trial import NextTrial
from optimizer.job import Job
from optimizer.materials import Catalogue
from optimizer.nomenclature import QUANTITIES
from optimizer.studies.check import weighing_order
from optimizer.units import System, show_amount
from ui.terminal import Block, heading, sentence, table
from ui.unit_text import prose_in
from ui.words import blend_words, bound_words, grams_words, label_of

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
