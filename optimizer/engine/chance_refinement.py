"""The surest blend, refined: the joint chance itself is climbed, its draws cast anew at every mix looked at.

Walks freeze the departures of their draws, so that their slopes leave out how spreads change with the mix; on
the flat top of a chance that leads points aside. Here the smoothed chance has its whole slope, in draws of
its own, and a smooth solve from each end of the walks finds the top of its set of materials.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.candidate import TRACE, Candidate
from optimizer.engine.chance_constraints import HOLDS, ChanceBlend
from optimizer.engine.chance_rows import ChanceQuestion, ChanceTable
from optimizer.engine.nlp_refinement import rows_of_support
from optimizer.property_model.predict import cast_of
from optimizer.property_model.samples import DrawSet, samples_of
from optimizer.solvers.nonlinear import minimize_smooth
from optimizer.solvers.smooth import SmoothProblem

__all__ = ["refined_surest"]

Array = NDArray[np.float64]
Look = tuple[float, Array, Array, Array]

_DRAWS: Final = DrawSet(1024, 5)
"""Draws of its own: neither the walks nor what is printed has seen them."""

_WIDTH: Final = 0.02
"""Smoothing of the rows [row units]."""

_STEP: Final = 1e-4
"""Step of a slope [kg/L]."""

_STARTS, _ITERATIONS, _LOOKS = 4, 15, 40
_MOST_MASS, _LEAST_WATER = 4.0, 0.02
_LEAST_CHANCE: Final = 1e-12


def refined_surest(question: ChanceQuestion, found: ChanceBlend) -> ChanceBlend:
    """Return the surest blend to which smooth solves lead from where walks ended, or `found` itself.

    Parameters
    ----------
    question
        What is asked.
    found
        The surest blend of walks, with the others they ended at; its chance and theirs are counted anew.
    """
    table = ChanceTable([question])
    problem = question.problem
    table.samples = samples_of(problem.catalogue, problem.names, problem.parameters, _DRAWS)
    met = (found.candidate, *found.near)
    tops = [each for start in _distinct(table, met) for each in (start, _climbed(table, start))]
    ranked = sorted((_counted(table, each) for each in tops), key=lambda each: -each.chance)
    return ChanceBlend(ranked[0].candidate, ranked[0].chance, met)


def _distinct(table: ChanceTable, blends: Iterable[Candidate]) -> list[Candidate]:
    """Return the first blends of different solids and doses."""
    out: dict[tuple[object, ...], Candidate] = {}
    for blend in blends:
        out.setdefault((blend.support, _task(table, blend)), blend)
    return list(out.values())[:_STARTS]


def _task(table: ChanceTable, blend: Candidate) -> int:
    return next(t for t, case in enumerate(table.cases) if case.doses == blend.case.doses)


def _climbed(table: ChanceTable, start: Candidate) -> Candidate:
    """Return the mix of the same materials where the climb of the chance ends."""
    task, support = _task(table, start), [k for k in start.support if k in table.solids]
    free = np.unique([*support, *table.doses, table.count]).astype(np.intp)
    matrix, row_lower, row_upper = rows_of_support(table.problem, table.cases[task], support)
    lower, upper = np.zeros(table.count + 1), np.zeros(table.count + 1)
    lower[-1], upper[free] = _LEAST_WATER, _MOST_MASS
    slopes = _Slopes(table, task, free)
    smooth = SmoothProblem(slopes.value, lower, upper, matrix, row_lower, row_upper, slopes.rows)
    mix = minimize_smooth(smooth, start.mix, max_iterations=_ITERATIONS, max_evaluations=_LOOKS).x
    return Candidate(table.cases[task], np.where(mix <= TRACE, 0.0, mix), start.value, start.violation)


def _counted(table: ChanceTable, blend: Candidate) -> ChanceBlend:
    """Return a blend with its chance in whole draws, none where it breaks a row held at best values."""
    task = np.array([_task(table, blend)], np.intp)
    value, broken, chance = (float(each[0]) for each in table.judged_at(task, blend.mix[None, :]))
    known = Candidate(blend.case, blend.mix, value, broken)
    return ChanceBlend(known, chance if broken <= HOLDS else 0.0)


@dataclass
class _Slopes:
    """Less the logarithm of the smoothed chance, and the rows held at best values, with their slopes."""

    table: ChanceTable
    task: int
    free: NDArray[np.intp]
    _last: dict[bytes, Look] = field(default_factory=dict)

    def value(self, mix: Array) -> tuple[float, Array]:
        value, gradient, _, _ = self._at(mix)
        return value, gradient

    def rows(self, mix: Array) -> tuple[Array, Array]:
        _, _, rows, jacobian = self._at(mix)
        return rows, jacobian

    def _at(self, mix: Array) -> Look:
        key = mix.tobytes()
        if key not in self._last:
            self._last = {key: self._look(mix)}
        return self._last[key]

    def _look(self, mix: Array) -> Look:
        table, count = self.table, len(self.free)
        mixes = np.repeat(mix[None, :], count + 1, axis=0)
        mixes[np.arange(count), self.free] += _STEP
        task = np.full(count + 1, self.task, np.intp)
        with np.errstate(all="ignore"):
            cast = cast_of(table.problem.model, table.problem.conditions, mixes)
            held = table.rows_of_cast(cast, task)[1]
            values = -np.log(np.maximum(table.smooth_chance(mixes, task, _WIDTH), _LEAST_CHANCE))
        gradient, jacobian = np.zeros(len(mix)), np.zeros((held.shape[1], len(mix)))
        gradient[self.free] = (values[:-1] - values[-1]) / _STEP
        jacobian[:, self.free] = ((held[:-1] - held[-1]) / _STEP).T
        return float(values[-1]), gradient, held[-1], jacobian
