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
) -> Certificate:
    start = time.perf_counter()
    if incumbent is not None and not incumbent.feasible:
        incumbent = None
    found = Bounding(problem, incumbent, gap, start + time_limit, shifts or {}).run()
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
