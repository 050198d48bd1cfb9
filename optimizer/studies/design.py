"""Design a blend: the whole path from a job to a certified solution."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from optimizer.engine.candidate import Candidate
from optimizer.engine.grid_search import GridSearch
from optimizer.engine.search_state import Found, Question
from optimizer.fingerprint import fingerprint
from optimizer.job import Job, Limit
from optimizer.materials import Catalogue
from optimizer.problem import Problem, problem_of, require_prices
from optimizer.property_model.parameters import ParameterSet
from optimizer.solution import (
    DESIGNED,
    NO_BLEND,
    NOT_SURE,
    WITH_ITS_CHANCE,
    Alternative,
    Proof,
    Relaxation,
    Solution,
)
from optimizer.studies.explain import alternatives, blend_shares, limit_prices, price_switches, single_binders
from optimizer.studies.loosening import barring_rules, conflict_of, loosened
from optimizer.studies.proofs import FIRST_PARTS, PATIENT_SECONDS, prove, sought
from optimizer.studies.trial_worth import best_trial
from optimizer.studies.under_doubt import Answered, best_under_doubt
from optimizer.verdict.assess import stands
from optimizer.verdict.judge import solution_of

_SAME = 1e-3
"""Largest difference of two mixes that count as one [kg/L]."""


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
        Calibrated parameters; default: those of the specs, whatever fit the job names (that of the job:
        `optimizer.fitted_parameters`).
    explain
        False leaves out prices of limits, second choices, single binders, trial and relaxations.
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
    grid: GridSearch | None = None,
    proof_seconds: float = 0.0,
    nominal: Found | None = None,
) -> Solution:
    """Return the solution of a compiled problem; see `design`.

    A `grid` may be shared by problems that differ in limits, prices, confidence and objective alone.
    `nominal` is the answer at best values where it is known already.
    """
    require_prices(problem)
    grid = grid or GridSearch(problem)
    nominal = nominal or nominal_best(problem, grid)
    if not nominal.holds:
        return _no_blend(problem, grid, explain, proof_seconds)
    nominal, proof = _proved(problem, nominal, proof_seconds)
    found = best_under_doubt(problem, nominal)
    answer = replace(solution_under_doubt(problem, found), proof=proof)
    assert nominal.best is not None
    if not np.allclose(nominal.best.mix, found.blend.candidate.mix, atol=_SAME):
        answer = replace(answer, nominal=_as_alternative(problem, nominal.best))
    return _explained(problem, found, answer, grid, nominal) if explain else answer


def nominal_best(problem: Problem, grid: GridSearch) -> Found:
    """Return the answer at best values: its best blend does not hold where none was found."""
    return sought(Question(problem), grid)


def solution_under_doubt(problem: Problem, found: Answered) -> Solution:
    """Return the plain record of a blend that was found under doubt."""
    return solution_of(problem, DESIGNED if found.sure else NOT_SURE, found.judged)


def _proved(problem: Problem, nominal: Found, seconds: float) -> tuple[Found, Proof | None]:
    """Return the proof of the answer at best values; a better mix met on its first steps becomes that answer.

    These steps are counted, not timed, so that the same job has the same answer on any machine.
    """
    if seconds <= 0.0:
        return nominal, None
    proof, better = prove(problem, nominal.best, PATIENT_SECONDS, FIRST_PARTS)
    if better is not None and nominal.best is not None and better.rank() < nominal.best.rank():
        nominal = replace(nominal, best=better, met=(better, *nominal.met))
    if proof is None or not proof.finished:
        proof, _ = prove(problem, nominal.best, seconds)
    return nominal, proof


def _as_alternative(problem: Problem, best: Candidate) -> Alternative:
    blend, water = blend_shares(problem, best.mix)
    sign = -1.0 if problem.job.maximize else 1.0
    return Alternative("judged at best values", blend, water, sign * best.value)


def _explained(
    problem: Problem, found: Answered, answer: Solution, grid: GridSearch, nominal: Found
) -> Solution:
    prices = limit_prices(problem, found.blend) if found.sure else {}
    limits = tuple(replace(v, price=prices.get(v.limit)) for v in answer.limits)
    others = alternatives(problem, found.blend) if found.sure else ()
    alone = single_binders(problem, grid)
    switches = price_switches(problem, found.blend) if found.sure else {}
    assert answer.mix is not None
    known = (found.blend.candidate, *found.blend.near)
    changes = () if found.sure else _changes(problem, _that_take_chance(answer), known)
    trial = best_trial(problem, np.array(answer.mix.per_liter), (*known, *nominal.met))
    return replace(
        answer,
        limits=limits,
        alternatives=(*others, *alone),
        price_switches=switches,
        stands=stands(problem, found.weighed.grams),
        relaxations=changes,
        worth_a_trial=() if trial is None else (trial,),
    )


def _that_take_chance(answer: Solution) -> tuple[Limit, ...]:
    """Return the judged limits that do not hold in every draw."""
    return tuple(v.limit for v in answer.limits if v.judged == WITH_ITS_CHANCE and v.probability < 1.0)


def _changes(problem: Problem, limits: Sequence[Limit], known: Sequence[Candidate]) -> tuple[Relaxation, ...]:
    def designed(asked: Problem) -> float | None:
        found = design_problem(asked, explain=False)
        if found.status != DESIGNED:
            return None
        name = asked.job.objective
        return found.cost if name == "cost" else found.properties[name].value

    return loosened(problem, limits, known, designed)


def _no_blend(problem: Problem, grid: GridSearch, explain: bool, proof_seconds: float) -> Solution:
    answer = Solution(
        status=NO_BLEND,
        job=problem.job,
        proof=prove(problem, None, proof_seconds)[0],
        fingerprint=fingerprint(problem.job, problem.catalogue),
    )
    if not explain:
        return answer
    conflict = conflict_of(problem, grid)
    changes = _changes(problem, conflict, ())
    return replace(answer, relaxations=changes, conflict=conflict, barred_by=barring_rules(problem))
