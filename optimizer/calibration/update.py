"""The update itself: unknowns that begin as standard normal, readings with errors, and what follows.

The chain is not straight but nearly so over the spread of its figures: Gauss-Newton steps on the fitted
scale, each solved exactly, end at the most likely figures; the curvature there gives their spread
(Laplace's approximation). A bound counts by the moments it leaves, for the density it cuts off is lopsided,
and the middle of what is left lies further inside than its peak. Nothing here knows what a reading or a
parameter means.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.special import log_ndtr

from optimizer.calibration.outliers import Blocks, standardized, trust

__all__ = ["Bounds", "Measured", "Settled", "Slopes", "absorb", "pulls", "settle", "softened", "update"]

Array = NDArray[np.float64]

_STEPS: Final = 8
_FEW: Final = 3
_INNER: Final = 60
_CALM: Final = 20
_LONGEST_STEP: Final = 2.0
_SETTLED: Final = 1e-6
_INNER_SETTLED: Final = 1e-9
_NO_MATTER: Final = 0.02
"""Rise of minus twice the log likelihood that stops no step: slopes taken across edges are not exact [-]."""

_LEAST_CURVATURE: Final = 1e-8


@dataclass(frozen=True, eq=False)
class Measured:
    """What was read, row by row; rows of one block stand together.

    Attributes
    ----------
    value, error : Array
        Reading and lab error on the fitted scale.
    shared : Array
        Batch error of the row's block.
    side : Array
        0: measured; 1: at least `value`; -1: at most.
    blocks : Blocks
        Rows that share a batch error; a one-sided row is a block of its own.
    """

    value: Array
    error: Array
    shared: Array
    side: Array
    blocks: Blocks


@dataclass(frozen=True, eq=False)
class Slopes:
    """The readings as the chain expects them near one point.

    Attributes
    ----------
    level : Array
        Expected readings at the point, shape (rows,).
    design : Array
        Change of each per unknown, shape (rows, k).
    """

    level: Array
    design: Array


@dataclass(frozen=True, eq=False)
class Bounds:
    """One-sided rows as the measured rows that leave the same mean and spread.

    Attributes
    ----------
    rows : NDArray
        Positions of the one-sided rows.
    error, value : Array
        Error, infinite as long as a bound says nothing, and reading.
    """

    rows: NDArray[np.intp]
    error: Array
    value: Array


@dataclass(frozen=True, eq=False)
class Settled:
    """The unknowns after the update.

    Attributes
    ----------
    point, covariance : Array
        Most likely values, shape (k,), and covariance, shape (k, k).
    weights : Array
        Trust in each block.
    distance : Array
        Standard errors between each row and what all other blocks say.
    level, design : Array
        Expected readings and slopes at the point.
    bounds : Bounds
        The one-sided rows as measured ones.
    """

    point: Array
    covariance: Array
    weights: Array
    distance: Array
    level: Array
    design: Array
    bounds: Bounds


def absorb(information: Array, pull: Array, design: Array, value: Array) -> tuple[Array, Array]:
    """Return information matrix and vector after independent rows of unit error are taken in.

    Parameters
    ----------
    information, pull
        Inverse covariance, shape (k, k), and inverse covariance times mean, shape (k,), before.
    design, value
        Rows over their error: slopes, shape (rows, k), and readings, shape (rows,).

    Notes
    -----
    The conjugate normal update in information form: order and grouping of the rows do not matter.

    Examples
    --------
    >>> information, pull = absorb(np.eye(1), np.zeros(1), np.ones((3, 1)), np.full(3, 2.0))
    >>> float(pull[0] / information[0, 0])
    1.5
    """
    return information + design.T @ design, pull + design.T @ value


def update(measured: Measured, slopes: Callable[[Array], Slopes], unknowns: int) -> Settled:
    """Return the unknowns after the update.

    Parameters
    ----------
    measured
        Readings.
    slopes
        Expected readings and their slopes at a point of shape (unknowns,).
    unknowns
        How many; each is standard normal before the readings.
    """
    point = np.zeros(unknowns)
    here = slopes(point)
    weights, last = np.ones(len(measured.blocks.starts)), np.zeros(unknowns)
    one = np.flatnonzero(measured.side != 0)
    bounds = Bounds(one, np.full(len(one), np.inf), measured.value[one])
    for _ in range(_STEPS):
        found = settle(measured, here, point, weights, bounds, _FEW)
        step = found.point - point
        step *= min(1.0, _LONGEST_STEP / max(float(np.abs(step).max(initial=0.0)), 1e-12))
        if float(step @ last) < 0.0:  # to and fro across an edge of the chain
            step = step / 2.0
        weights, bounds, last = found.weights, found.bounds, step
        if float(np.abs(step).max(initial=0.0)) < _SETTLED:
            break
        point, here = _downhill(measured, slopes, (point, here), step, found)
    final = settle(measured, here, point, weights, bounds, _INNER)
    return replace(final, point=point, level=here.level, design=here.design)


def _downhill(
    measured: Measured,
    slopes: Callable[[Array], Slopes],
    start: tuple[Array, Slopes],
    step: Array,
    found: Settled,
) -> tuple[Array, Slopes]:
    """Take the step, or the half or quarter of it that makes the readings likelier."""
    before = _surprise(measured, start[1].level, start[0], found)
    point, here = start
    for _ in range(6):
        point = start[0] + step
        here = slopes(point)
        if _surprise(measured, here.level, point, found) <= before + _NO_MATTER:
            break
        step = step / 2.0
    return point, here


def _surprise(measured: Measured, level: Array, point: Array, found: Settled) -> float:
    """Return minus twice the log of prior times likelihood, up to a constant, bounds as they were found."""
    residual = (measured.value - level) / measured.error
    shared = measured.shared / measured.error
    residual[found.bounds.rows] = (found.bounds.value - level[found.bounds.rows]) / found.bounds.error
    white = _whitened(residual[:, None], shared, measured.blocks)[:, 0]
    return float(point @ point + found.weights[measured.blocks.of_row] @ white**2)


def settle(
    measured: Measured, here: Slopes, point: Array, weights: Array, bounds: Bounds, turns: int
) -> Settled:
    """Solve the update for readings that are straight in the unknowns, with trust found by repetition.

    Parameters
    ----------
    measured
        Readings.
    here, point
        Expected readings and slopes at `point`.
    weights
        Trust in each block to begin with.
    bounds
        One-sided rows to begin with.
    turns
        Most repetitions.

    Notes
    -----
    Each bound is taken as the measured row that leaves the mean and the spread which the bound leaves of what
    all other rows say (expectation propagation, Minka 2001, from memory).
    """
    offset = here.level - here.design @ point
    straight = _Straight(measured, here.design, offset)
    covariance, distance = np.eye(len(point)), np.zeros(len(offset))
    for turn in range(turns):
        moved, covariance, distance = straight.solved(bounds, weights)
        bounds = straight.matched(bounds, moved, covariance, weights)
        renewed = trust(measured.blocks.largest(np.abs(distance)))
        if turn >= _CALM:
            renewed = (renewed + weights) / 2.0
        change = max(float(np.abs(moved - point).max(initial=0.0)), float(np.abs(renewed - weights).max()))
        point, weights = moved, renewed
        if turn and change < _INNER_SETTLED:
            break
    level = offset + here.design @ point
    return Settled(point, covariance, weights, distance, level, here.design, bounds)


def pulls(measured: Measured, settled: Settled) -> Callable[[int], Array]:
    """Return a function that tells how far each reading has moved the expectation of a row.

    Parameters
    ----------
    measured
        Readings.
    settled
        The update they led to.

    Returns
    -------
    Callable[[int], Array]
        Row -> moves of its expectation, shape (rows,) [fitted scale]; together they are the whole move, and
        the row's own is never away from its reading.

    Notes
    -----
    The fit is straight in the readings at its end: ``X C X' R^-1 (value - expected before)``, whose columns
    are the parts of the single readings.
    """
    offset = settled.level - settled.design @ settled.point
    straight = _Straight(measured, settled.design, offset)
    rows, scaled = straight.taken(settled.bounds)
    trusted = settled.weights[measured.blocks.of_row]

    def moves(row: int) -> Array:
        along = trusted * (rows[:, :-1] @ (settled.covariance @ settled.design[row]))
        back = _whitened(along[:, None], straight.shared, measured.blocks)[:, 0]
        return np.asarray(back * scaled[:, -1])

    return moves


@dataclass(frozen=True, eq=False)
class _Straight:
    """Readings that are straight in the unknowns: ``offset + design @ point``."""

    measured: Measured
    design: Array
    offset: Array

    @cached_property
    def scaled(self) -> Array:
        """Slopes and readings over the lab error."""
        rows = np.column_stack([self.design, self.measured.value - self.offset])
        return np.asarray(rows / self.measured.error[:, None])

    @cached_property
    def shared(self) -> Array:
        return np.asarray(self.measured.shared / self.measured.error)

    @cached_property
    def white(self) -> Array:
        return _whitened(self.scaled, self.shared, self.measured.blocks)

    def taken(self, bounds: Bounds) -> tuple[Array, Array]:
        """Return the rows with independent errors, and over the lab error."""
        one, rows, scaled = bounds.rows, self.white, self.scaled
        if len(one):
            soft = np.column_stack([self.design[one], bounds.value - self.offset[one]])
            rows, scaled = rows.copy(), scaled.copy()
            rows[one] = scaled[one] = soft / bounds.error[:, None]
        return rows, scaled

    def matched(self, bounds: Bounds, point: Array, covariance: Array, weights: Array) -> Bounds:
        """Return the bounds renewed, where the unknowns with the bounds as they were are as given."""
        one, measured = bounds.rows, self.measured
        if not len(one):
            return bounds
        design = self.design[one]
        doubt = np.sum((design @ covariance) * design, axis=1)
        own = weights[measured.blocks.of_row[one]] / bounds.error**2
        doubt_of_others = doubt / np.maximum(1.0 - doubt * own, _LEAST_CURVATURE)
        level = self.offset[one] + design @ point
        level = level + doubt_of_others * own * (level - bounds.value)
        return Bounds(one, *softened(measured, level, np.sqrt(doubt_of_others), one))

    def solved(self, bounds: Bounds, weights: Array) -> tuple[Array, Array, Array]:
        """Return point, covariance and distances with the weights and bounds given."""
        blocks, one = self.measured.blocks, bounds.rows
        rows, scaled = self.taken(bounds)
        trusted = rows * np.sqrt(weights[blocks.of_row])[:, None]
        unknowns = self.design.shape[1]
        prior = np.eye(unknowns), np.zeros(unknowns)
        information, pull = absorb(*prior, trusted[:, :-1], trusted[:, -1])
        factor = cho_factor(information)
        point, covariance = cho_solve(factor, pull), cho_solve(factor, np.eye(unknowns))
        residual = scaled[:, -1] - scaled[:, :-1] @ point
        distance = standardized(scaled[:, :-1], residual, self.shared, covariance, weights, blocks)
        distance[one] = self._broken(one, self.offset[one] + self.design[one] @ point, covariance)
        return point, covariance, distance

    def _broken(self, one: NDArray[np.intp], level: Array, covariance: Array) -> Array:
        """Return by how much one-sided rows break their limit; within it nothing is off."""
        measured = self.measured
        doubt = np.sum((self.design[one] @ covariance) * self.design[one], axis=1)
        margin = measured.side[one] * (level - measured.value[one])
        return np.asarray(
            -measured.side[one] * np.minimum(margin / np.hypot(measured.error[one], np.sqrt(doubt)), 0.0)
        )


def softened(measured: Measured, level: Array, doubt: Array, one: NDArray[np.intp]) -> tuple[Array, Array]:
    """Return error and value of the measured rows that leave the moments which one-sided rows leave.

    Parameters
    ----------
    measured
        Readings.
    level, doubt
        Expected readings and their standard deviation without the row.
    one
        Positions of the one-sided rows.

    Notes
    -----
    With ``s^2 = error^2 + doubt^2`` the log of the normal integral of ``z = margin / s`` has slope ``m`` (the
    inverse Mills ratio) and curvature ``m (m + z)``; the moments follow from both.
    """
    side, spread = measured.side[one], np.hypot(measured.error[one], doubt)
    margin = side * (level - measured.value[one]) / spread
    mills = np.exp(-0.5 * margin**2 - 0.5 * np.log(2.0 * np.pi) - log_ndtr(margin))
    curvature = np.clip(mills * (mills + margin), _LEAST_CURVATURE, 1.0)
    error = np.sqrt(np.maximum(spread**2 / curvature - doubt**2, measured.error[one] ** 2))
    return error, level + side * spread * mills / curvature


def _whitened(rows: Array, shared: Array, blocks: Blocks) -> Array:
    """Return rows whose errors are independent and of size one, from rows over their lab error.

    The error of a block is ``I + s s'``; its inverse root is ``I - c s s'``.
    """
    length = blocks.sums(shared**2)
    with np.errstate(invalid="ignore", divide="ignore"):
        scale = np.where(length > 1e-12, (1.0 - 1.0 / np.sqrt(1.0 + length)) / length, 0.5)
    inner = blocks.sums(shared[:, None] * rows) * scale[:, None]
    return np.asarray(rows - shared[:, None] * inner[blocks.of_row])
