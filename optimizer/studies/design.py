"""Design a blend: the whole path from a job to a certified solution."""

from __future__ import annotations

import math
from dataclasses import replace

from optimizer.chain.parameters import ParameterSet
from optimizer.engine.polish import Candidate
from optimizer.engine.scan import Scan
from optimizer.engine.search import Search
from optimizer.fingerprint import fingerprint
from optimizer.job import Job
from optimizer.materials import Catalogue
from optimizer.problem import Problem, problem_of, require_prices
from optimizer.solution import DESIGNED, NO_BLEND, NOT_SURE, Alternative, Proof, Solution
from optimizer.studies.explain import alternatives, blend_shares, limit_prices, price_switches, single_binders
from optimizer.studies.held import Found, backed_off, holds_as_it_is
from optimizer.studies.infeasible import conflict_of, joint_relaxation, single_relaxations
from optimizer.studies.proofs import FIRST_PARTS, PATIENT_SECONDS, prove, sought
from optimizer.studies.rounding import rounded
from optimizer.verdict.assess import HOLDS
from optimizer.verdict.confidence import Doubt
from optimizer.verdict.judge import judge, solution_of
from optimizer.verdict.stands import stands

__all__ = ["design", "design_problem", "nominal_best"]


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
        Status ``designed``; ``not sure enough`` with the surest blend found, where none is found that
        holds all limits with the job's confidence; or ``no blend meets the limits`` even at best values.

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
        return _no_blend(problem, scan, explain, proof_seconds)
    found = backed_off(problem, doubt, nominal)
    found, proof = _proved(problem, found, proof_seconds, doubt)
    made = rounded(problem, found)
    judged = judge(problem, made.weighed.grams)
    sure = made.weighed.fills and not judged.broken and judged.verdict == HOLDS
    proof = None if proof is None else _as_weighed(problem, proof, made.weighed.candidate)
    answer = replace(solution_of(problem, DESIGNED if sure else NOT_SURE, judged), proof=proof)
    if found.best is not nominal.best:
        answer = replace(answer, nominal=_as_alternative(problem, nominal.best))
    if not explain:
        return answer
    return replace(_explained(problem, found, answer), stands=stands(problem, made.weighed.grams))


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
    sure = better is None or not found.shifts or holds_as_it_is(problem, doubt, better)
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


def _no_blend(problem: Problem, scan: Scan, explain: bool, proof_seconds: float) -> Solution:
    answer = Solution(
        status=NO_BLEND,
        job=problem.job,
        proof=prove(problem, None, {}, proof_seconds)[0],
        fingerprint=fingerprint(problem.job, problem.catalogue),
    )
    if not explain:
        return answer
    conflict = conflict_of(problem, {}, scan)
    single = single_relaxations(problem, conflict, {}, scan)
    joint = joint_relaxation(problem, conflict, {}, scan)
    return replace(answer, relaxations=(*single, *(() if joint is None else (joint,))), conflict=conflict)
