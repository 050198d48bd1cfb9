"""The proof of an answer, as the record that answers carry."""

from __future__ import annotations

from collections.abc import Mapping

from optimizer.certificate import certify_bound
from optimizer.engine.polish import Candidate
from optimizer.engine.search import Search
from optimizer.formulation import RowLabel
from optimizer.problem import Problem
from optimizer.solution import Proof

__all__ = ["FIRST_PARTS", "PATIENT_SECONDS", "prove", "sought"]

FIRST_PARTS = 30
"""Parts of a proof in which a better blend is looked for, whatever time they take."""

_EVEN = 0.5

PATIENT_SECONDS = 30.0
"""Time in which those parts end on any machine [s]."""


def sought(search: Search) -> Candidate | None:
    """Return the best candidate of a search, or what the first parts of a proof lead to where that is better.

    They are asked where the search met no blend, or only just none of cheaper steps; the latter at even odds
    alone, for with a higher confidence this answer is only where the search begins. These parts are counted,
    not timed, so that the same problem has the same answer on any machine.
    """
    best = search.run()
    sure = not search.doubtful or search.problem.job.confidence > _EVEN
    if best is None or (best.feasible and sure):
        return best
    known = best if best.feasible else None
    met = prove(search.problem, known, search.shifts, PATIENT_SECONDS, FIRST_PARTS)[1]
    return best if met is None or met.rank() >= best.rank() else search.run_from(met)


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
