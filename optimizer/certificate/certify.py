"""From a problem and the best mix known to a certificate."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace

from optimizer.certificate.assemble import has_goal
from optimizer.certificate.prove import Bounding, Found
from optimizer.engine.candidate import Candidate
from optimizer.formulation import RowLabel
from optimizer.job import Limit
from optimizer.problem import Problem, row_scale
from optimizer.property_model.parameters import NoTrials

__all__ = ["Certificate", "certify_bound"]

_COARSE = (0.1, 0.01)
"""Steps proved on the way to the gap asked for, so that a stop leaves some bound [-]."""

_MOST_TARGETS = 12
_TINY = 1e-12


@dataclass(frozen=True)
class Certificate:
    """What is proved of the best answer.

    Attributes
    ----------
    proved : bool
        True when the gap asked for was reached, or infeasibility is proved.
    bound : float
        No mix of this model that meets the limits does better [objective's unit]; infinite where nothing is
        proved (on the better side) or where there is no mix.
    gap : float
        Distance of the best mix known to the bound over its value [-].
    seconds : float
        Time spent [s].
    nodes, cases : int
        Parts of the search looked at, and choices of steps there were.
    infeasible : bool
        True when it is proved that no mix meets the limits.
    finished : bool
        False when time, the node budget or the user ended the search.
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


@dataclass(frozen=True)
class _Search:
    """What all searches of one certificate share."""

    gap: float
    deadline: float
    shifts: Mapping[RowLabel, float]
    most_nodes: int

    def run(self, problem: Problem, known: Candidate | None, *, feasibility: bool = False) -> Found:
        """Return what one search proves."""
        return Bounding(
            problem, known, self.gap, self.deadline, self.shifts, self.most_nodes, feasibility
        ).run()


def certify_bound(
    problem: Problem,
    incumbent: Candidate | None,
    *,
    gap: float = 1e-3,
    time_limit: float = 0.5,
    shifts: Mapping[RowLabel, float] | None = None,
    most_nodes: int = 400,
) -> Certificate:
    """Prove how much better than the incumbent any mix of the model could be.

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

    Notes
    -----
    Objectives that are sums of masses within a regime (cost, mass, carbon dioxide, drying time) are
    bounded directly. Any other is turned into questions of feasibility: that no mix does better by the gap.
    With figures fitted to casts nothing is claimed: their discrepancy from the laws has no relaxation.
    """
    start = time.perf_counter()
    if not isinstance(problem.parameters.discrepancy, NoTrials):
        return _nothing(problem, incumbent)
    known = incumbent if incumbent is not None and incumbent.feasible else None
    search = _Search(gap, start + time_limit, shifts or {}, most_nodes)
    found = search.run(problem, known) if has_goal(problem) else _by_targets(problem, known, search)
    return _certificate(problem, found, gap, time.perf_counter() - start)


def _nothing(problem: Problem, incumbent: Candidate | None) -> Certificate:
    """Claim nothing: what casts taught beside the laws differs from blend to blend, and has no relaxation."""
    bound = math.inf if problem.job.maximize else -math.inf
    return Certificate(
        proved=False,
        bound=bound,
        gap=math.inf,
        seconds=0.0,
        nodes=0,
        cases=0,
        infeasible=False,
        finished=False,
        unused=(),
        incumbent=incumbent,
    )


def _certificate(problem: Problem, found: Found, gap: float, seconds: float) -> Certificate:
    best = found.best
    infeasible = found.finished and best is None and found.bound == math.inf
    bound = found.bound if best is None else min(found.bound, best.value)
    reached = math.inf if best is None else (best.value - bound) / _size(problem, best.value)
    sign = -1.0 if problem.job.maximize and not infeasible else 1.0
    return Certificate(
        proved=infeasible or reached <= gap * (1.0 + 1e-9),
        bound=sign * bound,
        gap=reached,
        seconds=seconds,
        nodes=found.nodes,
        cases=found.cases,
        infeasible=infeasible,
        finished=found.finished,
        unused=tuple(f"{x.property} {x.sense} {x.bound:g}" for x in found.unused),
        incumbent=best,
    )


def _size(problem: Problem, value: float) -> float:
    """Return what a gap is a share of: the value, or a property's own scale where that is larger."""
    if has_goal(problem):
        return max(abs(value), _TINY)
    return max(abs(value), row_scale(problem.job.objective, 0.0), _TINY)


def _by_targets(problem: Problem, known: Candidate | None, search: _Search) -> Found:
    """Bound an objective by asking whether any mix does better by 10 %, by 1 %, by the gap."""
    if known is None:
        found = search.run(problem, None, feasibility=True)
        if found.best is None:
            return found
        known = found.best
    out = Found(-math.inf, known, False, 0, 0, ())
    steps = [step for step in _COARSE if step > search.gap] + [search.gap]
    for _ in range(_MOST_TARGETS):
        if not steps:
            return replace(out, finished=True)
        target = known.value - steps[0] * _size(problem, known.value)
        found = search.run(_harder(problem, target), None, feasibility=True)
        out = replace(out, nodes=out.nodes + found.nodes, cases=found.cases, unused=found.unused)
        if found.best is not None:
            known, out = found.best, replace(out, best=found.best)
        elif found.finished and found.bound == math.inf:
            steps, out = steps[1:], replace(out, bound=target)
        else:
            break
    return out


def _harder(problem: Problem, target: float) -> Problem:
    """Return the problem with its objective held at a target or better."""
    job = problem.job
    sense, bound = (">=", -target) if job.maximize else ("<=", target)
    return problem.with_limits((*job.limits, Limit(job.objective, sense, bound)))
