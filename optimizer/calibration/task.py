"""The readings of a book as an update of unknowns: which parameters they depend on, and how steeply."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.calibration.bags import Effect, common_part, effects_of, own_parts
from optimizer.calibration.lab_errors import KINDS
from optimizer.calibration.observe import Evidence, demold_times, expected
from optimizer.calibration.outliers import Blocks
from optimizer.calibration.process import TaughtDiscrepancy, chosen_supports, unknown_name
from optimizer.calibration.readings import Reading
from optimizer.calibration.update import Measured, Slopes
from optimizer.chain.discrepancy import DISCREPANT, mix_coordinates
from optimizer.chain.model import compile_model
from optimizer.chain.parameters import ParameterSet, parameters_of

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
        moved = np.any(np.abs(self._sensitivity) > _FELT, axis=0)
        taught = tuple(name for name, felt in zip(DISCREPANT, moved, strict=True) if felt)
        return TaughtDiscrepancy(names, points[chosen_supports(points)], taught, names)

    @cached_property
    def _basis(self) -> Array:
        """How much each casting takes of the values at the supports, shape (trials, supports)."""
        return self.discrepancy.basis(mix_coordinates(self.evidence.mixes))

    @cached_property
    def _sensitivity(self) -> Array:
        """Change of each reading per standard deviation of each discrepancy, shape (rows, discrepancies)."""
        count = len(DISCREPANT)
        moves = _STEP * np.concatenate([np.eye(count), -np.eye(count)])
        centers = np.broadcast_to(self.common.centers, (2 * count, len(self.common)))
        model = compile_model(self.evidence.catalogue, self.evidence.names, self.common, centers, moves)
        values = expected(self.evidence, model)[:, self.order]
        return np.asarray((values[:count] - values[count:]).T / (2.0 * _STEP))

    @cached_property
    def _unsupported(self) -> Array:
        """What the processes may be off at each reading beside their supports, as a batch error."""
        left = np.maximum(1.0 - np.sum(self._basis**2, axis=1), 0.0)[self.where]
        return np.asarray(np.sqrt(left * np.sum(self._sensitivity**2, axis=1)))

    @cached_property
    def _steady(self) -> Array:
        """Slopes of the unknowns that stay the same wherever the figures are: bars and processes."""
        bars = np.array([_BAR if reading.kind in _BENT else 0.0 for reading in self.readings])
        places = [DISCREPANT.index(name) for name in self.discrepancy.taught]
        there = self._basis[self.where]
        return np.column_stack([bars, *(self._sensitivity[:, [k]] * there for k in places)])

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
        return self._linear(self.common.centers, np.arange(0))[0]

    @cached_property
    def _from_prior(self) -> Array:
        """Slopes with the shipped figures over all parameters; zero where a parameter is exact."""
        live = np.flatnonzero(self.common.spreads > 0.0)
        out = np.zeros((len(self.readings), len(self.common)))
        out[:, live] = self._linear(self.common.centers, live)[1]
        return out

    @cached_property
    def active(self) -> Places:
        """Parameters that any reading depends on."""
        return np.flatnonzero(np.any(np.abs(self._from_prior) > _FELT, axis=0))

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
        level, design = self._linear(self.fitted(point), self.active)
        bags = [self._column(placed, design) for placed in self.effects]
        whole = np.column_stack([design, *bags, self._steady])
        return Slopes(level + whole[:, count:] @ point[count:], whole)

    def demold_times(self, point: Array) -> Array:
        """Return when castings of each trial can first leave their molds, unknowns at `point` [min]."""
        center = self.fitted(point)[None, :]
        model = compile_model(self.evidence.catalogue, self.evidence.names, self.common, center)
        model = replace(model, discrepancy=self.discrepancy.at(self.processes(point)))
        return np.asarray(demold_times(self.evidence, model)[0])

    def _linear(self, center: Array, moved: Places) -> tuple[Array, Array]:
        shifts = np.zeros((len(moved), len(center)))
        shifts[np.arange(len(moved)), moved] = _STEP * self.common.spreads[moved]
        points = np.concatenate([center[None, :], center + shifts, center - shifts])
        model = compile_model(self.evidence.catalogue, self.evidence.names, self.common, points)
        values = expected(self.evidence, model)[:, self.order]
        up, down = values[1 : len(moved) + 1], values[len(moved) + 1 :]
        return values[0], (up - down).T / (2.0 * _STEP)
