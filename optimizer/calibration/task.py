"""The readings of a book as an update of unknowns: which parameters they depend on, and how steeply."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.calibration.bags import Effect, common_part, effects_of, own_parts
from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.observe import Evidence, demold_times, expected
from optimizer.calibration.outliers import Blocks
from optimizer.calibration.process import TaughtDiscrepancy, chosen_supports, unknown_name
from optimizer.calibration.readings import Reading
from optimizer.calibration.update import Measured, Slopes
from optimizer.property_model.model import compile_model
from optimizer.property_model.parameters import (
    DISCREPANT,
    PRIOR_SPREADS,
    Discrepancy,
    NoTrials,
    ParameterSet,
    mix_coordinates,
    parameters_of,
)

__all__ = ["Placed", "Task"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]

_STEP: Final = 0.5
"""Move of a parameter to each side for a slope, over its spread [-]: the chain has edges (least pores, the
knee of sulfate), and a slope across an edge says more about the doubt there than that of one side."""


_BAR: Final = 0.08
"""How far all bent bars of a studio may be off together [of the log]: how they are made and laid."""

_FELT: Final = 1e-9
"""Change of a reading that counts as one [of the log, or its unit]."""

_BENT: Final = ("wet_flexural", "dry_flexural")


@dataclass(frozen=True, eq=False)
class Placed:
    """An effect on an active parameter.

    Attributes
    ----------
    effect : Effect
        What is shifted, and in which trials.
    column : int
        Position of the parameter among the active ones.
    ratio : float
        Spread of the effect over that of the parameter's common part [-].
    """

    effect: Effect
    column: int
    ratio: float


@dataclass(frozen=True)
class Task:
    """The evidence as an update of unknowns: active parameters, bags, bent bars, then the processes.

    Attributes
    ----------
    evidence : Evidence
        Trials and their readings.
    """

    evidence: Evidence

    @cached_property
    def prior(self) -> ParameterSet:
        """The parameters as shipped."""
        return parameters_of(self.evidence.catalogue, self.evidence.names)

    @cached_property
    def all_effects(self) -> tuple[Effect, ...]:
        """What bags have of their own."""
        return effects_of(self.evidence.trials, self.evidence.catalogue)

    @cached_property
    def common(self) -> ParameterSet:
        """The parameters without what bags and blends have of their own."""
        return common_part(self.prior, own_parts(self.all_effects))

    @cached_property
    def readings(self) -> tuple[Reading, ...]:
        """The readings, block by block."""
        return tuple(self.evidence.readings[row] for row in self.order)

    @cached_property
    def _keys(self) -> list[tuple[int, str, int]]:
        return [
            (reading.place, KINDS[reading.kind].group, row if reading.side else -1)
            for row, reading in enumerate(self.evidence.readings)
        ]

    @cached_property
    def order(self) -> Places:
        """Positions of the readings in the evidence, block by block."""
        return np.array(sorted(range(len(self._keys)), key=lambda row: self._keys[row]), dtype=np.intp)

    @cached_property
    def where(self) -> Places:
        """Trial of each reading."""
        return np.array([reading.place for reading in self.readings], dtype=np.intp)

    @cached_property
    def measured(self) -> Measured:
        """The readings with their errors."""
        keys = [self._keys[row] for row in self.order]
        starts = [row for row, key in enumerate(keys) if row == 0 or key != keys[row - 1]]
        side = np.array([reading.side for reading in self.readings])
        error = np.array([reading.error for reading in self.readings])
        batch = np.hypot([KINDS[reading.kind].batch for reading in self.readings], self._unsupported)
        return Measured(
            value=np.array([reading.fitted for reading in self.readings]),
            error=np.where(side == 0, error, np.hypot(error, batch)),
            shared=np.where(side == 0, batch, 0.0),
            side=side,
            blocks=Blocks(np.array(starts), np.diff([*starts, len(keys)])),
        )

    @cached_property
    def discrepancy(self) -> TaughtDiscrepancy:
        """The processes of what the laws lack, their values still open."""
        names, points = self.evidence.names, mix_coordinates(self.evidence.mixes)
        felt = dict(zip(DISCREPANT, np.any(np.abs(self._from_prior[1]) > _FELT, axis=0), strict=True))
        # where final set comes after the strength needed, the strength is not felt there, but may be later on
        felt["demold_time"] |= "demold" in self.evidence.by_kind
        taught = tuple(name for name, moves in felt.items() if moves)
        return TaughtDiscrepancy(names, points[chosen_supports(points)], taught, names)

    @cached_property
    def _basis(self) -> Array:
        """How much each casting takes of the values at the supports, shape (trials, supports)."""
        return self.discrepancy.basis(mix_coordinates(self.evidence.mixes))

    @cached_property
    def _unsupported(self) -> Array:
        """What the processes may be off at each reading beside their supports, as a batch error."""
        left = np.maximum(1.0 - np.sum(self._basis**2, axis=1), 0.0)[self.where]
        return np.asarray(np.sqrt(left * np.sum(self._from_prior[1] ** 2, axis=1)))

    @cached_property
    def _bars(self) -> Array:
        """Slopes of what all bent bars are off together."""
        return np.array([_BAR if reading.kind in _BENT else 0.0 for reading in self.readings])

    def _of_processes(self, slopes: Array) -> Array:
        """Return slopes over the processes' values from those over the discrepancies at each casting."""
        places = [DISCREPANT.index(name) for name in self.discrepancy.taught]
        there = self._basis[self.where]
        return np.column_stack([np.zeros((len(there), 0)), *(slopes[:, [k]] * there for k in places)])

    @property
    def first_process(self) -> int:
        """Position of the first value of a process among the unknowns."""
        return len(self.active) + len(self.effects) + 1

    def processes(self, point: Array) -> dict[str, Array]:
        """Return the values of the processes at the unknowns `point`, by the name of their parameter."""
        count = len(self.discrepancy.supports)
        names = [unknown_name(name, k) for name in self.discrepancy.taught for k in range(count)]
        return dict(zip(names, point[self.first_process :], strict=True))

    def _column(self, placed: Placed, design: Array) -> Array:
        return np.asarray(placed.ratio * placed.effect.shares[self.where] * design[:, placed.column])

    @cached_property
    def at_prior(self) -> Array:
        """Expected readings with the shipped figures."""
        return self._from_prior[2]

    @cached_property
    def _from_prior(self) -> tuple[Array, Array, Array]:
        """Slopes with the shipped figures over all parameters (zero where one is exact) and discrepancies.

        Last the readings expected with them.
        """
        live = np.flatnonzero(self.common.spreads > 0.0)
        out = np.zeros((len(self.readings), len(self.common)))
        level, out[:, live], departures = self._linear(self.common.centers, live, NoTrials())
        return out, departures, level

    @cached_property
    def active(self) -> Places:
        """Parameters that any reading depends on."""
        return np.flatnonzero(np.any(np.abs(self._from_prior[0]) > _FELT, axis=0))

    @cached_property
    def effects(self) -> tuple[Placed, ...]:
        """Effects whose parameter any reading depends on."""
        column = {self.prior.names[k]: position for position, k in enumerate(self.active)}
        own = own_parts(self.all_effects)
        spread = {item.name: item.spread for item in self.common}
        return tuple(
            Placed(effect, column[effect.parameter], own[effect.parameter] / spread[effect.parameter])
            for effect in self.all_effects
            if effect.parameter in column
        )

    @property
    def unknowns(self) -> int:
        """How many there are."""
        return self.first_process + len(self.discrepancy.taught) * len(self.discrepancy.supports)

    def fitted(self, point: Array) -> Array:
        """Return the parameters on the fitted scale at the unknowns `point`."""
        out = self.common.centers
        out[self.active] += self.common.spreads[self.active] * point[: len(self.active)]
        return out

    def slopes(self, point: Array) -> Slopes:
        """Return expected readings and slopes at `point`."""
        count = len(self.active)
        taught = self.discrepancy.at(self.processes(point))
        level, design, departures = self._linear(self.fitted(point), self.active, taught)
        bags = [self._column(placed, design) for placed in self.effects]
        apart = np.column_stack([*bags, self._bars])
        level = level + apart @ point[count : self.first_process]
        return Slopes(level, np.column_stack([design, apart, self._of_processes(departures)]))

    def demold_times(self, point: Array) -> Array:
        """Return when castings of each trial can first leave their molds, unknowns at `point` [min]."""
        center = self.fitted(point)[None, :]
        model = compile_model(self.evidence.catalogue, self.evidence.names, self.common, center)
        model = replace(model, discrepancy=self.discrepancy.at(self.processes(point)))
        return np.asarray(demold_times(self.evidence, model)[0])

    def _linear(self, center: Array, moved: Places, taught: Discrepancy) -> tuple[Array, Array, Array]:
        """Return expected readings, and their slopes over parameters and discrepancies, per spread."""
        count, others = len(moved), len(DISCREPANT)
        moves = np.zeros((count + others, len(center) + others))
        moves[np.arange(count), moved] = _STEP
        moves[count:, len(center) :] = _STEP * np.eye(others)
        points = np.concatenate([np.zeros((1, moves.shape[1])), moves, -moves])
        fitted = center + self.common.spreads * points[:, : len(center)]
        model = compile_model(
            self.evidence.catalogue, self.evidence.names, self.common, fitted, points[:, len(center) :]
        )
        values = expected(self.evidence, replace(model, discrepancy=_Movable(taught)))[:, self.order]
        up, down = np.split(values[1:], 2)
        slopes = (up - down).T / (2.0 * _STEP)
        return values[0], slopes[:, :count], slopes[:, count:]


@dataclass(frozen=True)
class _Movable:
    """A discrepancy that can be moved by its whole prior spread also where casts have taught it."""

    inner: Discrepancy

    def mean(self, name: str, z: Array) -> Array:
        return self.inner.mean(name, z)

    def sd(self, name: str, z: Array) -> Array:
        return np.full(z.shape[:-1], PRIOR_SPREADS[name])

    def over(self, names: Sequence[str]) -> Discrepancy:
        return replace(self, inner=self.inner.over(names))

    def at(self, parameters: Mapping[str, Array]) -> Discrepancy:
        return replace(self, inner=self.inner.at(parameters))

    def casts(self, names: tuple[str, ...]) -> Array:
        return self.inner.casts(names)
