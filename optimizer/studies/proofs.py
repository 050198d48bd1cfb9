"""The proof of an answer, as the record that answers carry."""

from __future__ import annotations

from dataclasses import replace

from optimizer.certificate import certify_bound
from optimizer.engine.candidate import Candidate
from optimizer.engine.grid_search import GridSearch
from optimizer.engine.search_state import Found, Question
from optimizer.engine.swap_search import best_mixes
from optimizer.problem import Problem
from optimizer.solution import Proof

FIRST_PARTS = 30
"""Parts of a proof in which a better blend is looked for, whatever time they take."""

PATIENT_SECONDS = 30.0
"""Time in which those parts end on any machine [s]."""


def sought(question: Question, grid: GridSearch | None = None) -> Found:
    """Return the answer of a search at best values, or what the first parts of a proof lead to.

    They are asked where the search met no blend, before that is said. These parts are counted, not timed,
    so that the same problem has the same answer on any machine.
    """
    found = best_mixes([question], grid)[0]
    if found.holds or found.best is None:
        return found
    met = prove(question.problem, None, PATIENT_SECONDS, FIRST_PARTS)[1]
    if met is None or not met.feasible:
        return found
    return best_mixes([replace(question, known=(met,))], grid)[0]


def prove(
    problem: Problem,
    best: Candidate | None,
    seconds: float,
    most_nodes: int = 400,
) -> tuple[Proof | None, Candidate | None]:
    """Return how near the best known is to the best there is, and a better one if the proof met one.

    Parameters
    ----------
    best
        Best blend known; None asks whether there is one at all.
    seconds
        Time allowed [s]; 0 leaves the proof out.
    most_nodes
        Parts looked at before the proof stops.
    """
    if seconds <= 0.0:
        return None, None
    known = certify_bound(problem, best, time_limit=seconds, most_nodes=most_nodes)
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
