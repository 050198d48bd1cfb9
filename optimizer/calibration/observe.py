"""What the chain expects every reading of every trial to be, for many draws of the parameters at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.readings import Reading, Studio, Unused, readings_of
from optimizer.job import Candle, Job, Vessel
from optimizer.materials import Catalogue
from optimizer.properties.casting_heat import casting_peak
from optimizer.properties.service_heat import WallCase, flux_driven, wall_case
from optimizer.property_model.model import Model
from optimizer.property_model.predict import (
    PREDICTORS,
    Cast,
    Conditions,
    cast_of,
    coat_factor_of,
    conditions_of,
    setting_heat,
)
from optimizer.property_model.strength import (
    DAY,
    LONGEST,
    SPEC_TEMPERATURE,
    Clock,
    demold_time,
    dry_gain,
    dry_strength_at,
    flexural,
    wet_strength_at,
)
from optimizer.trials.records import Burn, Trial

__all__ = ["Evidence", "demold_times", "expected", "observe"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]

_LITER: Final = 1000.0
_LEAST: Final = 1e-6
_SAME: Final = 1e-10


@dataclass(frozen=True)
class Evidence:
    """The trials of a book as far as they can be used.

    Attributes
    ----------
    catalogue, studio : Catalogue, Studio
        Where figures come from, and where the trials were made.
    trials : tuple[Trial, ...]
        Trials used, by date and id.
    names : tuple[str, ...]
        Materials in them, in the catalogue's order.
    readings : tuple[Reading, ...]
        What they say.
    unused : tuple[Unused, ...]
        What could not be used.
    """

    catalogue: Catalogue
    studio: Studio
    trials: tuple[Trial, ...]
    names: tuple[str, ...]
    readings: tuple[Reading, ...]
    unused: tuple[Unused, ...]

    @cached_property
    def mixes(self) -> Array:
        """Powders and water as weighed, shape (trials, n + 1) [kg, any volume]."""
        out = np.zeros((len(self.trials), len(self.names) + 1))
        place = {name: k for k, name in enumerate(self.names)}
        for row, trial in zip(out, self.trials, strict=True):
            for portion in trial.portions:
                if portion.mass > 0.0:
                    row[place[portion.material]] += portion.mass / trial.powder_mass
            row[-1] = (trial.water or 0.0) / trial.powder_mass
        return out

    @cached_property
    def rooms(self) -> Array:
        """Room temperature of each trial [degC]."""
        return np.array(
            [
                SPEC_TEMPERATURE if trial.room_temperature is None else trial.room_temperature
                for trial in self.trials
            ]
        )

    @cached_property
    def volumes(self) -> Array:
        """Volume of one mold of each trial [L]; 1 where none is known."""
        return np.array([(trial.cavity_volume or _LITER) / _LITER for trial in self.trials])

    @cached_property
    def by_kind(self) -> dict[str, Places]:
        """Positions of the readings of each kind."""
        kinds = np.array([reading.kind for reading in self.readings])
        return {kind: np.flatnonzero(kinds == kind) for kind in KINDS if np.any(kinds == kind)}

    @cached_property
    def places(self) -> Places:
        """Trial of each reading."""
        return np.array([reading.place for reading in self.readings], dtype=np.intp)

    @cached_property
    def ages(self) -> Array:
        """Age at each reading [min]."""
        return np.array([reading.age for reading in self.readings])

    @cached_property
    def burns(self) -> tuple[tuple[WallCase, Places], ...]:
        """Each candle burned, and the positions of the readings taken beside it."""
        rows: dict[Candle, list[int]] = {}
        for place, reading in enumerate(self.readings):
            if reading.burn is not None:
                candle = _candle(reading.burn, self.studio.heat_of_combustion)
                rows.setdefault(candle, []).append(place)
        vessel = self.studio.vessel or Vessel(1.0)
        return tuple((wall_case(vessel, candle), np.array(places)) for candle, places in rows.items())

    @cached_property
    def conditions(self) -> Conditions:
        """Surroundings of the castings, each in the room its trial notes."""
        shop = replace(self.studio.shop, damp_service=False)
        conditions = conditions_of(Job("trials", "", (), self.studio.vessel or Vessel(1.0), shop=shop))
        return replace(conditions, temperature=self.rooms)


def _candle(burn: Burn, heat_of_combustion: float) -> Candle:
    plain = Candle()
    return Candle(
        wicks=burn.wicks,
        burn_rate=burn.burn_rate or plain.burn_rate,
        exposure=burn.exposure or plain.exposure,
        heat_of_combustion=heat_of_combustion,
        room=plain.room if burn.room is None else burn.room,
    )


def observe(trials: Iterable[Trial], catalogue: Catalogue, studio: Studio | None = None) -> Evidence:
    """Return what `trials` can teach.

    Parameters
    ----------
    trials
        Records, in any order.
    catalogue
        Materials and figures.
    studio
        Shop and vessel behind the trials; default: the defaults of a shop, and no vessel.
    """
    studio = studio or Studio()
    used, readings, unused = readings_of(trials, catalogue, studio)
    weighed = {p.material for trial in used for p in trial.portions if p.mass > 0.0}
    names = tuple(name for name in catalogue if name in weighed)
    return Evidence(catalogue, studio, used, names, readings, unused)


def expected(evidence: Evidence, model: Model) -> Array:
    """Return what each reading should be, on its fitted scale, shape (draws, readings).

    Parameters
    ----------
    evidence
        From `observe`.
    model
        The chain for `evidence.names` with draws of the parameters.
    """
    cast = cast_of(model, evidence.conditions, evidence.mixes)
    draws = np.shape(cast.fresh_density)[0]
    out = np.zeros((draws, len(evidence.readings)))
    for kind, rows in evidence.by_kind.items():
        where = evidence.places[rows]
        sheet = _Sheet(evidence, cast, rows, where)
        out[:, rows] = _EXPECTED[kind](sheet)
    return out


@dataclass(frozen=True)
class _Sheet:
    """What the readings of one kind are computed from."""

    evidence: Evidence
    cast: Cast
    rows: Places
    where: Places

    def at(self, values: Array) -> Array:
        """Pick the trials of the readings from values of shape (draws, trials), or of all trials alike."""
        return np.asarray(values if np.shape(values)[-1:] == (1,) else values[..., self.where])

    @cached_property
    def clocks(self) -> Clock:
        clock = self.cast.clock
        return Clock(*(self.at(getattr(clock, name)) for name in Clock.__dataclass_fields__))

    def departure(self, name: str) -> Array:
        """Return what the laws lack of a discrepancy, at each reading's casting, on its scale."""
        return self.at(self.cast.departure(name))

    @cached_property
    def kept(self) -> Array:
        """Share of the slurry's mass still in the casting as it leaves the mold [-]."""
        return self.at(1.0 - self.cast.mold_loss / self.cast.fresh_density)

    @property
    def volumes(self) -> Array:
        """What the molds hold [mL]; the vessel's own mold is as far off its stated volume as the vessel."""
        stated = self.evidence.volumes * _LITER
        vessel = self.evidence.studio.vessel
        own = vessel is not None and stated[self.where] == vessel.cavity_volume
        return np.asarray(stated[self.where] * self.cast.model["cavity"] ** own)

    @property
    def strength(self) -> Array:
        """Compressive strength, never dried, at the age of each reading [MPa]."""
        law = wet_strength_at(self.clocks, self.evidence.ages[self.rows])
        return np.asarray(law * np.exp(self.departure("strength")))

    @property
    def dry_strength(self) -> Array:
        ages = self.evidence.ages[self.rows] + DAY * self.cast.model["csa_gain_after_cure"]
        ln_ratio = self.at(dry_gain(self.cast.body)) + self.departure("strength")
        return dry_strength_at(self.clocks, ln_ratio, ages)


def _log(values: Array) -> Array:
    return np.asarray(np.log(np.maximum(values, _LEAST)))


def _demolded(sheet: _Sheet) -> Array:
    mass = sheet.at(sheet.cast.fresh_density) * sheet.kept * sheet.volumes
    return _log(mass) + sheet.departure("mass")


def _dry(sheet: _Sheet) -> Array:
    return _log(sheet.at(sheet.cast.dry_density) * sheet.volumes) + sheet.departure("mass")


def _dry_share(sheet: _Sheet) -> Array:
    return _log(sheet.at(sheet.cast.dry_density) / (sheet.at(sheet.cast.fresh_density) * sheet.kept))


def _window(sheet: _Sheet) -> Array:
    """Return the end of pouring, which is initial set: both are told from powder meeting water."""
    return _log(sheet.clocks.initial)


def _sealed(sheet: _Sheet) -> Array:
    """Return the absorption that as many coats as at the edge read would have to seal, at the stated factor.

    What a coat leaves is not known either: ``absorption x factor^coats`` is what is held against the target,
    and so a count of coats beside a soaked piece teaches the factor.
    """
    shop = sheet.evidence.studio.shop
    edges = np.array([sheet.evidence.readings[row].value for row in sheet.rows])
    coats = np.log(shop.target_absorption / edges) / np.log(shop.coat_factor)
    factor = sheet.at(coat_factor_of(sheet.cast)) / shop.coat_factor
    return np.asarray(_log(sheet.at(sheet.cast.absorption)) + coats * _log(factor))


def _left_mold(sheet: _Sheet) -> Array:
    """First time out of the mold, as `demold_time` predicts it [ln min].

    Where the chain expects "never" it goes on with what the strength after the longest time is short of, so
    that a reading still pulls.
    """
    need = sheet.at(sheet.cast.demold_need)
    ready = demold_time(sheet.clocks, need, later=np.exp(sheet.departure("demold_time")))
    never = ~np.isfinite(ready)
    time = np.log(np.where(never, LONGEST, ready))
    if np.any(never):
        short = _log(need) - _log(wet_strength_at(sheet.clocks, LONGEST))
        time = np.where(never, time + np.maximum(short, 0.0), time)
    return np.asarray(time)


def _flexural(sheet: _Sheet, compressive: Array) -> Array:
    return _log(flexural(sheet.cast.model, compressive, sheet.at(sheet.cast.body.gypsum_share)))


def _wall(face: int) -> Callable[[_Sheet], Array]:
    # A burn test replaces the pool-driven guess, so only the share of the flame that it shows is learned.
    def walls(sheet: _Sheet) -> Array:
        conductivity = sheet.at(sheet.cast.conductivity)
        out = np.zeros(conductivity.shape)
        for case, burned in sheet.evidence.burns:
            here = np.flatnonzero(np.isin(sheet.rows, burned))
            faces = flux_driven(case, conductivity[:, here], sheet.cast.model["flame_share"])
            out[:, here] = faces[face]
        return np.asarray(out + sheet.departure("heat"))

    return walls


def _peak(sheet: _Sheet) -> Array:
    """Return the highest temperature while setting, in the room of each trial [degC]."""
    mold = sheet.evidence.conditions.mold
    shape = sheet.clocks.initial.shape
    clock = sheet.cast.clock
    heat = np.stack([np.broadcast_to(one, clock.initial.shape) for one in setting_heat(sheet.cast, clock)])
    heat = np.broadcast_to(sheet.at(heat), (len(heat), *shape))
    # most parameters leave the heat of most trials alone: what equals the first draw is computed once
    moved = np.any(heat != heat[:, :1], axis=0)
    moved[0] = True
    peak = np.empty(shape)
    peak[moved] = casting_peak(mold, *heat[:, moved])[0]
    peak = np.where(moved, peak, peak[0])
    # all else equal, the whole curve lies as much higher as the room is warmer
    return np.asarray(peak + sheet.evidence.rooms[sheet.where] - mold.room)


def demold_times(evidence: Evidence, model: Model) -> Array:
    """Return when the castings of each trial can first leave their molds [min], shape (draws, trials).

    Parameters
    ----------
    evidence
        From `observe`.
    model
        The chain for `evidence.names` with draws of the parameters.
    """
    cast = cast_of(model, evidence.conditions, evidence.mixes)
    return demold_time(cast.clock, cast.demold_need, later=np.exp(cast.departure("demold_time")))


_EXPECTED: Final[dict[str, Callable[[_Sheet], Array]]] = {
    "fresh_density": lambda sheet: _log(sheet.at(sheet.cast.fresh_density)),
    "demolded_mass": _demolded,
    "dry_mass": _dry,
    "dry_share": _dry_share,
    "initial_set": lambda sheet: _log(sheet.clocks.initial),
    "final_set": lambda sheet: _log(sheet.clocks.final),
    "window_end": _window,
    "demold": _left_mold,
    "wet_strength": lambda sheet: _log(sheet.strength),
    "dry_strength": lambda sheet: _log(sheet.dry_strength),
    "wet_flexural": lambda sheet: _flexural(sheet, sheet.strength),
    "dry_flexural": lambda sheet: _flexural(sheet, sheet.dry_strength),
    "whiteness": lambda sheet: sheet.at(PREDICTORS["whiteness"](sheet.cast)),
    "absorption": lambda sheet: _log(sheet.at(sheet.cast.absorption)),
    "coats": _sealed,
    "casting_peak": _peak,
    "outer_wall": _wall(0),
    "inner_wall": _wall(1),
}
