"""Design a blend: the whole path from a job to a certified solution."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from optimizer.chain.parameters import ParameterSet
from optimizer.chain.predict import cast_of
from optimizer.engine.polish import Candidate
from optimizer.engine.scan import Scan
from optimizer.engine.search import Search
from optimizer.fingerprint import fingerprint
from optimizer.formulation import RowLabel
from optimizer.job import Job
from optimizer.materials import Catalogue
from optimizer.problem import Problem, problem_of, require_prices
from optimizer.shop import Limit
from optimizer.solution import Alternative, Proof, Relaxation, Solution
from optimizer.studies.explain import alternatives, blend_shares, limit_prices, price_switches, single_binders
from optimizer.studies.held import Found, backed_off, holds_as_it_is, shifts_at
from optimizer.studies.infeasible import conflict_of, joint_relaxation, single_relaxations
from optimizer.studies.proofs import FIRST_PARTS, PATIENT_SECONDS, prove, sought
from optimizer.studies.rounding import rounded
from optimizer.verdict.confidence import Doubt
from optimizer.verdict.judge import solution_of, worst_verdict

__all__ = ["design", "design_problem", "nominal_best"]


_FURTHER = (0.0, 0.05, 0.1, 0.2, 0.3, 0.45, 0.6, 0.8, 1.0)
"""Shares of a property's best value that its bound is taken further until a blend holds it surely [-]."""

_NARROWED = 2
"""Bounds tried between one that no blend holds and one that a blend surely holds."""

_SPARE = 0.02
"""Chance kept for what rounding to the scale's step costs."""

_CLASSES = ("damp_risk", "sealer_coats")
"""Limits that know whole steps only."""


def design(
    job: Job,
    catalogue: Catalogue,
    parameters: ParameterSet | None = None,
    *,
    explain: bool = True,
    proof_seconds: float = 0.0,
) -> Solution:
    """Return the best blend that meets the job's limits, certified from the property functions.

    Parameters
    ----------
    job, catalogue
        The question and the figures.
    parameters
        Calibrated parameters; default: those of the specs.
    explain
        False leaves out prices of limits, near ties, single binders and relaxations.
    proof_seconds
        Time for the proof of how near the answer is to the best [s]; 0 leaves it out.

    Returns
    -------
    Solution
        Status ``designed`` or ``no blend meets the limits``.

    Raises
    ------
    FileFaults
        If cost matters and a material has no price.
    """
    problem = problem_of(job, catalogue, parameters)
    return design_problem(problem, explain=explain, proof_seconds=proof_seconds)


def design_problem(
    problem: Problem,
    *,
    explain: bool = True,
    scan: Scan | None = None,
    proof_seconds: float = 0.0,
    doubt: Doubt | None = None,
    nominal: Found | None = None,
) -> Solution:
    """Return the solution of a compiled problem; see `design`.

    A `scan` and a `doubt` may be shared by problems that differ in limits, prices, confidence and objective
    alone. `nominal` is the best blend at best values where it is known already.
    """
    require_prices(problem)
    doubt = doubt or Doubt(problem)
    scan = scan or Scan(problem)
    nominal = nominal or nominal_best(problem, scan)
    if nominal is None or not nominal.best.feasible:
        return _no_blend(problem, {}, scan, explain, proof_seconds)
    found = backed_off(problem, doubt, nominal)
    if found is None or not found.best.feasible:
        return _no_blend(problem, shifts_at(problem, doubt, nominal.best), scan, explain, proof_seconds)
    found, proof = _proved(problem, found, proof_seconds, doubt)
    made = rounded(problem, found, doubt)
    proof = None if proof is None else _as_weighed(problem, proof, made.weighed.candidate)
    answer = replace(solution_of(problem, "designed", made.judged), proof=proof)
    if not made.holds:
        answer = replace(
            answer,
            notes=(
                *answer.notes,
                "No blend was found that holds every limit and rule after rounding to the scale's step; "
                "weigh a larger batch, or ask for a little less.",
            ),
        )
    if problem.job.confidence > 0.5:
        answer = replace(answer, nominal=_as_alternative(problem, nominal.best))
    if not explain:
        return answer
    together = doubt.joint_probability(problem.job.limits, made.weighed.candidate.mix)
    return _explained(problem, found, replace(answer, joint_probability=together))


def nominal_best(problem: Problem, scan: Scan) -> Found | None:
    """Return the best blend at best values, with the search that met it; None where no mix can be started."""
    search = Search(problem, scan=scan)
    best = sought(search)
    return None if best is None else Found(search, best, {})


def _proved(problem: Problem, found: Found, seconds: float, doubt: Doubt) -> tuple[Found, Proof | None]:
    """Return the proof for the answer; a better mix met on its first steps becomes the answer.

    These steps are counted, not timed, so that the same job has the same answer on any machine.
    """
    if seconds <= 0.0:
        return found, None
    proof, better = prove(problem, found.best, found.shifts, PATIENT_SECONDS, FIRST_PARTS)
    sure = problem.job.confidence <= 0.5 or better is None or holds_as_it_is(problem, doubt, better)
    if better is not None and sure and better.rank() < found.best.rank():
        found = replace(found, best=better)
    if proof is None or not proof.finished:
        proof, _ = prove(problem, found.best, found.shifts, seconds)
    return found, proof


def _as_weighed(problem: Problem, proof: Proof, weighed: Candidate) -> Proof:
    """Return the proof with the gap of what is weighed: rounding costs a little of what was proved."""
    if not math.isfinite(proof.gap):
        return proof
    value = -weighed.value if problem.job.maximize else weighed.value
    return replace(proof, gap=max(proof.gap, abs(value - proof.bound) / max(abs(value), 1e-9)))


def _as_alternative(problem: Problem, best: Candidate) -> Alternative:
    blend, water = blend_shares(problem, best.mix)
    sign = -1.0 if problem.job.maximize else 1.0
    return Alternative("judged at best values", blend, water, sign * best.value)


def _explained(problem: Problem, found: Found, answer: Solution) -> Solution:
    rivals = found.search.rivals(found.best)
    prices = limit_prices(problem, rivals, found.best, found.shifts)
    limits = tuple(replace(v, price=prices.get(v.limit)) for v in answer.limits)
    others = alternatives(problem, rivals, found.best)
    alone = single_binders(problem, found.shifts, found.search.scan)
    switches = price_switches(problem, rivals, found.best, found.shifts)
    return replace(answer, limits=limits, alternatives=(*others, *alone), price_switches=switches)


def _no_blend(
    problem: Problem, shifts: Mapping[RowLabel, float], scan: Scan, explain: bool, proof_seconds: float
) -> Solution:
    answer = Solution(
        status="no blend meets the limits",
        job=problem.job,
        proof=prove(problem, None, shifts, proof_seconds)[0],
        fingerprint=fingerprint(problem.job, problem.catalogue),
    )
    if not explain:
        return answer
    conflict = conflict_of(problem, shifts, scan)
    single = single_relaxations(problem, conflict, shifts, scan)
    joint = joint_relaxation(problem, conflict, shifts, scan)
    changes = (*single, *(() if joint is None else (joint,)))
    return replace(answer, relaxations=_that_do(problem, changes, scan), conflict=conflict)


def _that_do(problem: Problem, changes: tuple[Relaxation, ...], scan: Scan) -> tuple[Relaxation, ...]:
    """Return the changes that a design of its own confirms, taken further or less far as that allows.

    At even odds they were found by the same search. With a higher confidence how sure a blend is depends on
    the blend, so that a change found under the spreads of one may allow no other.
    """
    if problem.job.confidence <= 0.5:
        return changes
    doing = (_enough(problem, change, scan) for change in changes)
    return tuple(change for change in doing if change is not None)


def _enough(problem: Problem, change: Relaxation, scan: Scan) -> Relaxation | None:
    """Return a change, or a larger one of the same limit, that a design of its own confirms."""
    done = _with(problem, change.limits, scan)
    if len(change.limits) != 1 or change.limits[0].property in _CLASSES:
        return done
    if done is None:
        done = _with(problem, _sure_bound(problem, change.limits, scan), scan)
    (new,) = change.limits
    low = next(x.bound for x in problem.job.limits if (x.property, x.sense) == (new.property, new.sense))
    for _ in range(0 if done is None else _NARROWED):
        assert done is not None
        middle = _three_figures(0.5 * (low + done.limits[0].bound), new.sense)
        again = _with(problem, (replace(new, bound=middle),), scan)
        low, done = (middle, done) if again is None else (low, again)
    return done


def _with(problem: Problem, limits: tuple[Limit, ...], scan: Scan) -> Relaxation | None:
    """Return what a design gives under changed limits, if it meets them."""
    if not limits:
        return None
    new = {(x.property, x.sense): x for x in limits}
    asked = problem.with_limits([new.get((x.property, x.sense), x) for x in problem.job.limits])
    answer = design_problem(asked, explain=False, scan=scan)
    if answer.mix is None or worst_verdict(answer.limits) != "meets":
        return None
    return Relaxation(limits, _objective(answer))


def _sure_bound(problem: Problem, limits: tuple[Limit, ...], scan: Scan) -> tuple[Limit, ...]:
    """Return the bound of one limit that the blend best at it holds with the job's confidence, or nothing."""
    if len(limits) != 1 or limits[0].property in (*_CLASSES, "cost"):
        return ()
    (limit,) = limits
    kind = (limit.property, limit.sense)
    rest = tuple(x for x in problem.job.limits if (x.property, x.sense) != kind)
    job = replace(problem.job, limits=rest, objective=limit.property, maximize=limit.sense == ">=")
    best = design_problem(problem.with_job(job), explain=False, scan=scan)
    if best.mix is None or not math.isfinite(best.properties[limit.property].value):
        return ()
    seen = best.properties[limit.property]
    doubt = Doubt(problem)
    around = doubt.around(cast_of(problem.model, problem.bench, np.array([best.mix.per_liter])))
    way = 1.0 if limit.sense == "<=" else -1.0
    reach = max(abs(seen.value), 1e-3)
    for share in _FURTHER:
        bound = _three_figures(seen.value + way * share * reach, limit.sense)
        wider = replace(limit, bound=bound)
        if doubt.probabilities((wider,), around)[wider] >= problem.job.confidence + _SPARE:
            return (wider,)
    return ()


def _three_figures(bound: float, sense: str) -> float:
    """Round a bound outward to three figures."""
    digits = 2 - math.floor(math.log10(max(abs(bound), 1e-9)))
    round_up = math.ceil if sense == "<=" else math.floor
    return float(round(round_up(bound * 10.0**digits) / 10.0**digits, max(digits, 0)))


def _objective(answer: Solution) -> float:
    name = answer.job.objective
    return float(answer.cost or 0.0) if name == "cost" else answer.properties[name].value
