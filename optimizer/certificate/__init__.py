"""A proved bound beside every answer: how much better any blend of this model could be."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from dataclasses import dataclass

from optimizer.certificate.prove import Bounding
from optimizer.engine.polish import Candidate
from optimizer.formulation import RowLabel
from optimizer.problem import Problem

__all__ = ["Certificate", "certify_bound"]


@dataclass(frozen=True)
class Certificate:
    """What is proved of an objective that is made small.

    Attributes
    ----------
    proved : bool
        True when the gap asked for was reached, or infeasibility is proved.
    bound : float
        No mix of this model that meets the limits lies below [objective's unit].
    gap : float
        Distance of the best mix known to the bound over its value [-].
    seconds : float
        Time spent [s].
    nodes, cases : int
        Parts of the search looked at, and choices of steps there were.
    infeasible : bool
        True when it is proved that no mix meets the limits.
    finished : bool
        False when time or the node budget ended the search.
    unused : tuple[str, ...]
        Limits the proof left out; the bound holds without them.
    incumbent : Candidate | None
        Best mix known, possibly better than the one given.
    """

    proved: bool
    bound: float
    gap: float
    seconds: float
    nodes: int
    cases: int
    infeasible: bool
    finished: bool
    unused: tuple[str, ...]
    incumbent: Candidate | None


def certify_bound(
    problem: Problem,
    incumbent: Candidate | None,
    *,
    gap: float = 1e-3,
    time_limit: float = 0.5,
    shifts: Mapping[RowLabel, float] | None = None,
    most_nodes: int = 400,
) -> Certificate:
    """Prove how far below the incumbent any mix of the model could lie.

    Parameters
    ----------
    problem
        What is asked.
    incumbent
        Best mix known; None asks whether there is one at all.
    gap
        Share of the objective to prove [-].
    time_limit
        Time allowed [s]; the bound reached by then is reported.
    shifts
        Over-meeting of limit rows for a confidence above one half.
    most_nodes
        Parts looked at before the search stops, the same on every machine.

    Returns
    -------
    Certificate
        Claims nothing beyond the model: a proof about plaster takes a cast.
    """
    start = time.perf_counter()
    if incumbent is not None and not incumbent.feasible:
        incumbent = None
    found = Bounding(problem, incumbent, gap, start + time_limit, shifts or {}, most_nodes).run()
    best = found.best
    infeasible = found.finished and best is None and math.isinf(found.bound)
    bound = found.bound if best is None else min(found.bound, best.value)
    reached = math.inf if best is None else (best.value - bound) / max(abs(best.value), 1e-12)
    return Certificate(
        proved=infeasible or reached <= gap * (1 + 1e-9),
        bound=bound,
        gap=reached,
        seconds=time.perf_counter() - start,
        nodes=found.nodes,
        cases=found.cases,
        infeasible=infeasible,
        finished=found.finished,
        unused=tuple(f"{x.property} {x.sense} {x.bound:g}" for x in found.unused),
        incumbent=best,
    )
