"""Meet limits with a stated chance: how unsure each row is at a mix, and how far to back off.

Each limit is held at its own chance. Spreads of rows are summed up (`optimizer.chain.moments`); only strength
at the age of a demold limit is drawn (`optimizer.chain.ages`), for its chance, its reserve and the printed
range alike. Heat limits without a burn test are judged at best values: their estimate spreads wider than any
confidence could meet, and the report says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.model import compile_model
from optimizer.chain.moments import Moments
from optimizer.chain.predict import Cast, cast_of
from optimizer.chain.spreads import Around, Moves, moves_of
from optimizer.formulation import RowLabel
from optimizer.limit_rows import limit_rows
from optimizer.problem import Problem
from optimizer.shop import Limit

__all__ = ["Doubt", "doubt_of", "nominal_only"]

Array = NDArray[np.float64]

_MET, _ROUNDED = 1e-6, 1e-9
"""What a row may miss by and be met: where nothing is unsure of it, and where something is [row units]."""

_BURN_PROPERTIES = ("heat_margin", "outer_wall_temperature", "inner_wall_temperature")


def nominal_only(problem: Problem, limit: Limit) -> bool:
    """Return True when a limit is judged at best values: heat in use without a burn test, and money."""
    candle = problem.job.candle
    burned = candle is not None and candle.measured_outer is not None
    return limit.property == "cost" or (limit.property in _BURN_PROPERTIES and not burned)


@dataclass(frozen=True)
class Doubt:
    """The uncertainty of a problem, compiled once and asked at many mixes."""

    problem: Problem

    @cached_property
    def moves(self) -> Moves:
        """The chain with each parameter moved."""
        return moves_of(self.problem.catalogue, self.problem.names, self.problem.parameters)

    def around(self, cast: Cast) -> Around:
        """Return the one mix of `cast` with each parameter moved."""
        return Around(self.moves, cast)

    def spreads(self, limits: tuple[Limit, ...], mix: Array) -> dict[RowLabel, float]:
        """Return the standard deviation of each row of `limits` at one mix [row units]."""
        return {
            label: float(spread.width)
            for label, (_, spread) in self._spreads(limits, self.around(self._cast(mix))).items()
        }

    def _cast(self, mix: Array) -> Cast:
        return cast_of(self.problem.model, self.problem.bench, mix[None, :])

    def _spreads(self, limits: tuple[Limit, ...], around: Around) -> dict[RowLabel, tuple[float, Moments]]:
        """Return each row of `limits` at its best value, and how it is spread about it."""
        out: dict[RowLabel, tuple[float, Moments]] = {}
        for limit in limits:
            if nominal_only(self.problem, limit):
                continue
            pairs = zip(limit_rows(limit, around.center), limit_rows(limit, around.moved), strict=True)
            for part, (best, moved) in enumerate(pairs):
                row = float(np.ravel(best)[0])
                out[RowLabel(limit, part)] = row, around.moments(np.array(row), around.column(moved))
        return out

    def probabilities(self, limits: tuple[Limit, ...], around: Around) -> dict[Limit, float]:
        """Return the chance that one mix meets each limit; 0 or 1 where judged at best, none for money."""
        spreads = self._spreads(limits, around)
        out: dict[Limit, float] = {}
        for limit in limits:
            if limit.property == "cost":
                continue
            if nominal_only(self.problem, limit):
                rows = limit_rows(limit, around.center)
                out[limit] = float(all(float(np.ravel(row)[0]) >= -_MET for row in rows))
                continue
            chances = [
                _chance(row, spread) for label, (row, spread) in spreads.items() if label.limit == limit
            ]
            if _drawn(limit):
                chances[0] = around.ages.chance(limit.bound)
            out[limit] = min(chances)
        return out

    def joint_probability(
        self, limits: tuple[Limit, ...], mix: Array, count: int = 400, seed: int = 7
    ) -> float:
        """Return the chance that all limits hold together, by sampling the parameters.

        Limits judged at best values do not enter. Same seed, same draws, same answer.
        """
        met = self._met_in_draws(limits, mix, count, seed)
        return float(np.logical_and.reduce(list(met.values())).mean()) if met else 1.0

    def sampled_chances(
        self, limits: tuple[Limit, ...], mix: Array, count: int = 400, seed: int = 7
    ) -> dict[Limit, float]:
        """Return the chance of each limit that is not judged at best values, by sampling the parameters."""
        met = self._met_in_draws(limits, mix, count, seed)
        return {limit: float(held.mean()) for limit, held in met.items()}

    def _met_in_draws(
        self, limits: tuple[Limit, ...], mix: Array, count: int, seed: int
    ) -> dict[Limit, NDArray[np.bool_]]:
        held = [limit for limit in limits if not nominal_only(self.problem, limit)]
        if not held:
            return {}
        problem = self.problem
        draws = problem.parameters.draws(count, seed)
        model = compile_model(problem.catalogue, problem.names, problem.parameters, draws)
        drawn = cast_of(model, problem.bench, mix[None, :])
        out = {}
        for limit in held:
            rows = [np.broadcast_to(row, (count, 1))[:, 0] >= -1e-9 for row in limit_rows(limit, drawn)]
            out[limit] = np.asarray(np.logical_and.reduce(rows))
        return out

    def shifts(self, limits: tuple[Limit, ...], mix: Array, confidence: float) -> dict[RowLabel, float]:
        """Return how far each row must be over-met at `mix` to hold with `confidence`."""
        around = self.around(self._cast(mix))
        out = {
            label: max(0.0, -float(spread.point(1.0 - confidence)))
            for label, (_, spread) in self._spreads(limits, around).items()
        }
        for label in out:
            if _drawn(label.limit) and label.part == 0:
                out[label] = around.ages.reserve(label.limit.bound, confidence)
        return out


def _drawn(limit: Limit) -> bool:
    """Return True when the first row of a limit, strength at an age, is drawn and not linearized."""
    return (limit.property, limit.sense) == ("demold_time", "<=")


def _chance(row: float, spread: Moments) -> float:
    if float(spread.width) <= 0.0:
        return float(row >= -_MET)
    return float(spread.chance_above(-(row + _ROUNDED)))


def doubt_of(problem: Problem) -> Doubt:
    """Return the uncertainty of a problem."""
    return Doubt(problem)
