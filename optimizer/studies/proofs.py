"""The proof of an answer, as the record that answers carry."""

from __future__ import annotations

from collections.abc import Mapping

from optimizer.certificate import certify_bound
from optimizer.engine.polish import Candidate
from optimizer.formulation import RowLabel
from optimizer.problem import Problem
from optimizer.solution import Proof

__all__ = ["prove"]


def prove(
    problem: Problem,
    best: Candidate | None,
    shifts: Mapping[RowLabel, float],
    seconds: float,
    most_nodes: int = 400,
) -> tuple[Proof | None, Candidate | None]:
    """Return how near the best known is to the best there is, and a better one if the proof met one.

    Parameters
    ----------
    problem
        What is asked.
    best
        Best blend known; None asks whether there is one at all.
    shifts
        Over-meeting of limit rows for a confidence above one half.
    seconds
        Time allowed [s]; 0 leaves the proof out.
    most_nodes
        Parts looked at before the proof stops.
    """
    if seconds <= 0.0:
        return None, None
    known = certify_bound(problem, best, time_limit=seconds, shifts=shifts, most_nodes=most_nodes)
    proof = Proof(
        proved=known.proved,
        bound=known.bound,
        gap=known.gap,
        seconds=known.seconds,
        finished=known.finished,
        infeasible=known.infeasible,
        unused=known.unused,
    )
    return proof, known.incumbent
