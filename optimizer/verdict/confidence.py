"""How far limits must be over-met at a mix for all of them to hold together with the job's confidence.

The draws are those of solvers; what is printed of the answer comes from others (`optimizer.verdict.assess`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.predict import cast_of
from optimizer.formulation import RowLabel
from optimizer.limit_rows import limit_rows
from optimizer.problem import Problem
from optimizer.shop import Limit
from optimizer.verdict.assess import is_open, joint_probability

__all__ = ["Doubt"]

Array = NDArray[np.float64]

_HALVINGS = 30


@dataclass(frozen=True)
class Doubt:
    """What is not known of a problem, asked at many mixes."""

    problem: Problem

    def joint_probability(self, mix: Array) -> float:
        """Return the chance in the draws of solvers that a mix [kg/L] holds all limits of the job."""
        return joint_probability(self.problem, mix, self.problem.samples.search)

    def shifts(self, limits: tuple[Limit, ...], mix: Array, confidence: float) -> dict[RowLabel, float]:
        """Return how far each row must be over-met at `mix` [row units].

        Every row takes the same share of its draws as its reserve, so large a share that all rows together
        stay within their reserves with `confidence`. Limits that are open, and cost, have none.
        """
        problem, samples = self.problem, self.problem.samples.search
        labels, best, drawn = [], [], []
        center = cast_of(problem.model, problem.bench, mix[None, :])
        cast = samples.cast(problem.bench, mix[None, :])
        for limit in limits:
            if limit.property == "cost" or is_open(problem, limit):
                continue
            pairs = zip(limit_rows(limit, center), limit_rows(limit, cast), strict=True)
            for part, (one, many) in enumerate(pairs):
                labels.append(RowLabel(limit, part))
                best.append(float(np.ravel(one)[0]))
                drawn.append(np.broadcast_to(many, (len(samples), 1))[:, 0])
        if not labels:
            return {}
        departures = np.stack(drawn, axis=1) - np.array(best)
        return dict(zip(labels, map(float, _reserves(departures, confidence)), strict=True))


def _reserves(departures: Array, confidence: float) -> Array:
    """Return the reserve of each row, shape (rows,), from its departures, shape (draws, rows)."""
    ascending = np.sort(departures, axis=0)
    low, high = 0.0, 1.0  # share of the draws below the reserve of each row
    for _ in range(_HALVINGS):
        share = 0.5 * (low + high)
        reserves = -_points(ascending, share)
        within = float((departures >= -reserves).all(axis=1).mean())
        low, high = (share, high) if within >= confidence else (low, share)
    return np.asarray(np.maximum(-_points(ascending, low), 0.0))


def _points(ascending: Array, share: float) -> Array:
    """Return the point of each column that `share` of its draws lie below."""
    place = min(int(share * len(ascending)), len(ascending) - 1)
    return np.asarray(ascending[place])
