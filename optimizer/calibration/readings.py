"""Trials as readings: what each one says, how far it may be off, and what could not be used and why."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from optimizer.calibration.measurement_errors import KINDS, STATED_LEAST, STRENGTH_ERRORS
from optimizer.job import Job, Shop, Vessel
from optimizer.materials import Catalogue
from optimizer.properties.drying import coat_edges
from optimizer.trials.drying_watch import constant_since
from optimizer.trials.records import Burn, Strength, Trial, Weighing
from optimizer.trials.usable_readings import strength_missing

__all__ = ["Reading", "Studio", "Unused", "readings_of", "studio_of"]

_AT_DEMOLDING = 1.0 / 24.0
"""A weighing within an hour of demolding is the mass out of the mold [d]."""

_SIDES = {"=": 0, ">=": 1, "<=": -1}


@dataclass(frozen=True)
class Studio:
    """Where the trials were made, as far as they do not say it themselves.

    Attributes
    ----------
    shop : Shop
        Room, mixing and damp cure where a trial notes none.
    vessel : Vessel | None
        Vessel that was burned; None: walls read in test burns teach nothing.
    heat_of_combustion : float
        Of the wax burned [kJ/g].
    """

    shop: Shop = field(default_factory=Shop)
    vessel: Vessel | None = None
    heat_of_combustion: float = 43.0


def studio_of(job: Job) -> Studio:
    """Return the studio a job stands for: its shop, its vessel and the wax of its candle."""
    studio = Studio(job.shop, job.vessel)
    return studio if job.candle is None else replace(studio, heat_of_combustion=job.candle.heat_of_combustion)


@dataclass(frozen=True)
class Reading:
    """One figure read off one trial.

    Attributes
    ----------
    trial : str
        Id of the trial.
    place : int
        Position of the trial among those used.
    kind : str
        Key of `optimizer.calibration.measurement_errors.KINDS`.
    value : float
        What was read [unit of the kind's quantity].
    error : float
        Lab error [of the log, or the unit].
    side : int
        0: measured; 1: at least this; -1: at most this.
    age : float
        Age at a test of strength [min]; nan where it has none.
    burn : Burn | None
        The test burn a wall was read in.
    whole : float
        What the value is a share of: the mass out of the mold [g], for a dry mass over it.
    """

    trial: str
    place: int
    kind: str
    value: float
    error: float
    side: int = 0
    age: float = math.nan
    burn: Burn | None = None
    whole: float = 1.0

    @property
    def fitted(self) -> float:
        """The reading on the scale its error is on."""
        return math.log(self.value) if KINDS[self.kind].log else self.value


@dataclass(frozen=True)
class Unused:
    """A trial, or a reading of it, that cannot be used.

    Attributes
    ----------
    trial : str
        Id of the trial.
    reason : str
        Why, as what to note next time.
    """

    trial: str
    reason: str


def readings_of(
    trials: Iterable[Trial], catalogue: Catalogue, studio: Studio
) -> tuple[tuple[Trial, ...], tuple[Reading, ...], tuple[Unused, ...]]:
    """Return the trials that can be used, their readings, and what cannot be used.

    Trials are put in order of date and id, so that the order of entry never shows.
    """
    used: list[Trial] = []
    readings: list[Reading] = []
    unused: list[Unused] = []
    for trial in sorted(trials, key=lambda one: (one.date, one.id)):
        reason = _mix_fault(trial, catalogue)
        found = [] if reason else list(_readings(trial, len(used), studio))
        reasons = [reason] if reason else list(_reasons(trial, studio))
        unused.extend(Unused(trial.id, text) for text in reasons)
        if found:
            used.append(trial)
            readings.extend(found)
        elif not reasons:
            unused.append(Unused(trial.id, "nothing was measured"))
    return tuple(used), tuple(readings), tuple(unused)


def _mix_fault(trial: Trial, catalogue: Catalogue) -> str:
    if not trial.powder_mass:
        return "weigh the powders: without them no blend is known"
    if not trial.water:
        return "weigh the water: without it no water ratio is known"
    unknown = [p.material for p in trial.portions if p.material not in catalogue.materials]
    if unknown:
        return f"no spec file for {', '.join(sorted(set(unknown)))}"
    if not any(p.mass > 0.0 and catalogue[p.material].role == "binder" for p in trial.portions):
        return "no binder was weighed"
    return ""


def _readings(trial: Trial, place: int, studio: Studio) -> Iterator[Reading]:
    for kind, value in (
        ("fresh_density", trial.fresh_density),
        ("initial_set", trial.initial_set),
        ("final_set", trial.final_set),
        ("window_end", trial.window_end),
    ):
        if value:
            yield Reading(trial.id, place, kind, value, KINDS[kind].error_of(value))
    if trial.demold_first:
        # Tried until it came out whole: strong enough just then.
        first = trial.demold_first
        yield Reading(trial.id, place, "demold", first, KINDS["demold"].error, 0, first)
    elif trial.demold:
        # A casting may wait in its mold: it could leave by then, and perhaps long before.
        yield Reading(trial.id, place, "demold", trial.demold, KINDS["demold"].error, -1, trial.demold)
    yield from _masses(trial, place)
    if trial.whiteness:
        error = trial.whiteness_error or KINDS["whiteness"].error
        yield Reading(trial.id, place, "whiteness", trial.whiteness, error)
    yield from _sealing(trial, place, studio.shop)
    if trial.casting_peak is not None and studio.vessel is not None:
        yield Reading(trial.id, place, "casting_peak", trial.casting_peak, KINDS["casting_peak"].error)
    for strength in trial.strengths:
        if not _strength_fault(strength):
            yield _strength(trial, place, strength, studio)
    for burn in trial.burns:
        yield from _walls(trial, place, burn, studio)


def _masses(trial: Trial, place: int) -> Iterator[Reading]:
    """Give mass out of the mold, and dry mass as its share of that where both were weighed."""
    first = trial.weighings[0] if trial.weighings and trial.weighings[0].age <= _AT_DEMOLDING else None
    dry = _dry_mass(trial.weighings, (trial.damp_cure or 0.0) / 1440.0)
    if first is not None and trial.cavity_volume:
        yield Reading(
            trial.id, place, "demolded_mass", first.mass, KINDS["demolded_mass"].error_of(first.mass)
        )
    if dry is None:
        return
    if first is not None:
        error = KINDS["dry_share"].error
        yield Reading(trial.id, place, "dry_share", dry / first.mass, error, whole=first.mass)
    elif trial.cavity_volume:
        yield Reading(trial.id, place, "dry_mass", dry, KINDS["dry_mass"].error_of(dry))


def _dry_mass(weighings: Sequence[Weighing], after: float) -> float | None:
    since = constant_since(weighings, after)
    if since is None:
        return None
    masses = [weighing.mass for weighing in weighings if weighing.age >= since]
    return math.fsum(masses) / len(masses)


def _sealing(trial: Trial, place: int, shop: Shop) -> Iterator[Reading]:
    """Give the absorption soaked, and the range of it that the coats it took leave."""
    if trial.absorption:
        stated = trial.absorption_error
        error = max(stated / trial.absorption, STATED_LEAST) if stated else KINDS["absorption"].error
        yield Reading(trial.id, place, "absorption", trial.absorption, error)
    if trial.coats is None:
        return
    edges = coat_edges(shop.target_absorption, shop.coat_factor, trial.coats)
    error = KINDS["coats"].error
    yield Reading(trial.id, place, "coats", float(edges[-1]), error, -1)
    if len(edges) > 1 and edges[-1] > edges[-2]:
        yield Reading(trial.id, place, "coats", float(edges[-2]), error, 1)


def _strength(trial: Trial, place: int, strength: Strength, studio: Studio) -> Reading:
    kind = f"{strength.state}_{'flexural' if strength.kind == 'flexural' else 'strength'}"
    error = STRENGTH_ERRORS[strength.method]
    if strength.error:
        error = max(strength.error / strength.value, STATED_LEAST)
    age = math.inf if strength.age is None else strength.age
    if strength.state == "dry":
        # What had not reacted when drying began never will.
        damp = studio.shop.damp_cure if trial.damp_cure is None else trial.damp_cure
        age = min(age, damp)
    return Reading(trial.id, place, kind, strength.value, error, _SIDES[strength.sense], age)


def _walls(trial: Trial, place: int, burn: Burn, studio: Studio) -> Iterator[Reading]:
    if studio.vessel is None or not burn.burn_rate:
        return
    for kind, value in (("outer_wall", burn.outer), ("inner_wall", burn.inner)):
        if value is not None:
            error = (burn.error if kind == "outer_wall" else None) or KINDS[kind].error
            yield Reading(trial.id, place, kind, value, error, burn=burn)


def _reasons(trial: Trial, studio: Studio) -> Iterator[str]:
    yield from dict.fromkeys(filter(None, map(_strength_fault, trial.strengths)))
    yield from _mass_reasons(trial)
    if trial.casting_peak is not None and studio.vessel is None:
        yield "hottest while setting: name the job whose vessel was cast; how hot it sets depends on its wall"
    if trial.burns and studio.vessel is None:
        yield "test burn: name the job whose vessel was burned"
    if any(not burn.burn_rate for burn in trial.burns):
        yield "test burn: weigh the wax burned per hour"


def _mass_reasons(trial: Trial) -> Iterator[str]:
    if not trial.weighings:
        return
    first, last = trial.weighings[0].age <= _AT_DEMOLDING, trial.weighings[-1].age > _AT_DEMOLDING
    dry = _dry_mass(trial.weighings, (trial.damp_cure or 0.0) / 1440.0)
    if not trial.cavity_volume and not (first and dry is not None):
        yield "mass: measure what one mold holds; a mass alone says little"
    if last and dry is None:
        yield "mass: weigh again a day or more later; it is dry once it loses less than 0.1 % a day"


def _strength_fault(strength: Strength) -> str:
    if not strength.value:
        return "strength: 0 MPa says nothing; note when it was tested too early"
    missing = strength_missing(strength)
    return f"strength: note {missing}" if missing else ""
