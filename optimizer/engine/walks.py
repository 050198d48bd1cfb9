"""The walks of one problem, each made once: searches ask for the same walk from several sides."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.descent import descend
from optimizer.engine.polish import Candidate, Evaluator, Look
from optimizer.formulation import Case, RowLabel, backoff_vector
from optimizer.problem import Problem
from optimizer.solvers.relaxation import WarmLP

__all__ = ["Walks"]

Array = NDArray[np.float64]

_Room: TypeAlias = tuple[Case, tuple[int, ...], tuple[int, ...]]
"""Case, materials allowed, materials held at their least share."""


@dataclass(frozen=True)
class Walks:
    """Walks downhill under one set of shifts, remembered for as long as a search lasts.

    Attributes
    ----------
    problem : Problem
        What is asked.
    shifts : Mapping[RowLabel, float]
        Amount by which limit rows must be over-met.
    """

    problem: Problem
    shifts: Mapping[RowLabel, float]
    _backoffs: dict[Case, Array | None] = field(default_factory=dict, repr=False)
    _made: dict[tuple[_Room, bytes], tuple[float, Candidate]] = field(default_factory=dict, repr=False)
    _looks: dict[tuple[Case, tuple[int, ...], bytes], Look] = field(default_factory=dict, repr=False)
    _ends: dict[_Room, list[Candidate]] = field(default_factory=dict, repr=False)

    def backoff(self, case: Case) -> Array | None:
        """Return how far each curved row of a case must be over-met, shape (rows,); None for not at all."""
        if case not in self._backoffs:
            self._backoffs[case] = backoff_vector(self.problem, case, self.shifts)
        return self._backoffs[case]

    def down(
        self,
        case: Case,
        allowed: Iterable[int],
        start: Array,
        at_least: Iterable[int] = (),
        cutoff: float = np.inf,
        shared: Iterable[int] = (),
    ) -> Candidate:
        """Return where a walk ends; see `optimizer.engine.descent.descend`.

        A walk that was not broken off earlier than at `cutoff` is not made again, and one that comes upon
        the end of another walk in the same room ends there. Slopes at a start are looked at once for all
        walks from there that name the same materials as `shared`.
        """
        room = (case, tuple(sorted(set(allowed))), tuple(sorted(set(at_least))))
        key = (room, start.tobytes())
        if key in self._made and self._made[key][0] >= cutoff:
            return self._made[key][1]
        ends = self._ends.setdefault(room, [])
        _, free, own = room
        look = self._look(case, start, tuple(shared)) if shared else None
        end = descend(
            self.problem, case, free, start, self.backoff(case), own, cutoff, ends, look, self._program
        )
        self._made[key] = cutoff, end
        if end.feasible and cutoff == np.inf:
            ends.append(end)
        return end

    @cached_property
    def _program(self) -> WarmLP:
        """One linear program for all walks: opening another takes longer than solving it."""
        nothing = np.zeros(1)
        return WarmLP(nothing, nothing, nothing, np.zeros((0, 1)), np.zeros(0), np.zeros(0))

    def _look(self, case: Case, start: Array, materials: tuple[int, ...]) -> Look:
        key = (case, materials, start.tobytes())
        if key not in self._looks:
            free = np.unique([*materials, *self.problem.doses, len(start) - 1]).astype(np.intp)
            self._looks[key] = Evaluator(self.problem, case, free, self.backoff(case)).evaluate(start)
        return self._looks[key]
