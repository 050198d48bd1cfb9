"""Whether a fit predicts: each cast held against what all other casts say of it.

A fit agrees with the readings it was made from; only readings it has not seen show how good it is. The cast
is taken out by the matrix inversion lemma, so that a book of hundreds is fitted once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.task import Task
from optimizer.calibration.update import Measured, Settled

__all__ = ["LeftOut", "Unexplained", "left_out", "unexplained"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]

_Z90: Final = 1.6449
_RARE: Final = 1e-3
"""Chance below which nothing explains a cast [-]."""


@dataclass(frozen=True)
class LeftOut:
    """How well the readings of one kind are predicted from all other casts.

    Attributes
    ----------
    kind : str
        Key of `optimizer.calibration.measurement_errors.KINDS`.
    readings : int
        How many [count].
    before, after : float
        Root mean square error with the shipped figures, and fitted to all other casts [of the log, or the
        unit].
    inside_before, inside_after : float
        Share of them within the 90 % range that was stated [fraction].
    """

    kind: str
    readings: int
    before: float
    after: float
    inside_before: float
    inside_after: float

    @property
    def better(self) -> bool:
        """True when the fit predicts a cast it has not seen better than the shipped figures do."""
        return self.after < self.before


@dataclass(frozen=True)
class Unexplained:
    """A cast whose readings together neither figures nor discrepancy explain.

    Attributes
    ----------
    trial : str
        Id of the trial.
    chance : float
        Chance of readings as odd or odder [-].
    """

    trial: str
    chance: float


def left_out(task: Task, settled: Settled) -> tuple[LeftOut, ...]:
    """Return for each kind of reading how well casts are predicted from all others; bounds are left out."""
    before, after = _predictions(task, settled)
    kinds = np.array([reading.kind for reading in task.readings])
    two_sided = task.measured.side == 0
    return tuple(
        LeftOut(
            kind,
            int(rows.sum()),
            *(float(np.sqrt(np.mean(each.error[rows] ** 2))) for each in (before, after)),
            *(float(np.mean(np.abs(each.off[rows]) < _Z90)) for each in (before, after)),
        )
        for kind in KINDS
        if np.any(rows := (kinds == kind) & two_sided)
    )


def unexplained(task: Task, settled: Settled) -> tuple[Unexplained, ...]:
    """Return the casts that all other casts, the figures' ranges and the discrepancy leave unexplained."""
    _, after = _predictions(task, settled)
    return tuple(
        Unexplained(trial.id, chance)
        for trial, chance in zip(task.evidence.trials, after.chances, strict=True)
        if chance < _RARE
    )


@dataclass(frozen=True, eq=False)
class _Predictions:
    """Readings less what is predicted, its standard deviation, and how odd each cast is as a whole."""

    error: Array
    spread: Array
    chances: tuple[float, ...]

    @cached_property
    def off(self) -> Array:
        return np.asarray(self.error / self.spread)


def _predictions(task: Task, settled: Settled) -> tuple[_Predictions, _Predictions]:
    measured, first = task.measured, task.slopes(np.zeros(task.unknowns))
    nothing = np.zeros((task.unknowns, task.unknowns))
    prior = _collected(measured, _each(task, first.level, first.design, nothing, settled, prior=True))
    told = _each(task, settled.level, settled.design, settled.covariance, settled, prior=False)
    return prior, _collected(measured, told)


def _collected(measured: Measured, parts: Iterator[tuple[Places, Array, Array]]) -> _Predictions:
    error, spread = np.zeros(len(measured.value)), np.ones(len(measured.value))
    chances = []
    for rows, off, covariance in parts:
        error[rows], spread[rows] = off, np.sqrt(np.diag(covariance))
        seen = measured.side[rows] == 0
        odd = off[seen] @ np.linalg.solve(covariance[np.ix_(seen, seen)], off[seen]) if seen.any() else 0.0
        chances.append(float(chi2.sf(odd, max(int(seen.sum()), 1))))
    return _Predictions(error, spread, tuple(chances))


def _each(
    task: Task, level: Array, design: Array, covariance: Array, settled: Settled, *, prior: bool
) -> Iterator[tuple[Places, Array, Array]]:
    """Give for each cast its rows, readings less prediction without it, and the covariance of that."""
    measured = task.measured
    value, error = measured.value.copy(), measured.error.copy()
    error[settled.bounds.rows], value[settled.bounds.rows] = settled.bounds.error, settled.bounds.value
    blocks, trust = measured.blocks.of_row, settled.weights[measured.blocks.of_row]
    for place in range(len(task.evidence.trials)):
        rows = np.flatnonzero(task.where == place)
        same = blocks[rows][:, None] == blocks[rows]
        own = np.diag(error[rows] ** 2) + same * np.outer(measured.shared[rows], measured.shared[rows])
        here, off = design[rows], value[rows] - level[rows]
        if prior:
            yield rows, off, own + here @ here.T
            continue
        inside = here @ covariance @ here.T
        trusted = own / np.sqrt(np.outer(trust[rows], trust[rows]))
        gain = np.linalg.solve(trusted - inside, np.column_stack([off, inside]))
        yield rows, off + inside @ gain[:, 0], own + inside + inside @ gain[:, 1:]
