"""Design a blend: the whole path from a job to a certified solution."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from optimizer.engine.candidate import Candidate
from optimizer.engine.chance_constraints import ChanceBlend
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
    LimitVerdict,
    Proof,
    Relaxation,
    Solution,
    Stands,
    TrialWorth,
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


@dataclass(frozen=True)
class Designed:
    """A design with all that its explanations start from.

    Attributes
    ----------
    problem, grid
        What was asked, and its grid of blends.
    nominal : Found
        Answer at best values.
    found : Answered | None
        Answer under doubt; None where no blend holds at best values.
    solution : Solution
        Plain record of the answer, with the explanations that were told.
    """

    problem: Problem
    grid: GridSearch
    nominal: Found
    found: Answered | None
    solution: Solution

    @property
    def known(self) -> tuple[Candidate, ...]:
        """Blends the search found under doubt, the best one first."""
        return () if self.found is None else (self.found.blend.candidate, *self.found.blend.near)

    def told(self, part: str, value: object) -> Designed:
        """Return the design with one of its `EXPLANATIONS`."""
        changed: dict[str, Any] = {part: value}
        return replace(self, solution=replace(self.solution, **changed))

    def explained(self, *parts: str) -> Designed:
        """Return the design with some of its `EXPLANATIONS`, worked out in the order given.

        Where no blend holds it has all of them: what stands in the way is the answer then.
        """
        made = self
        for part in EXPLANATIONS if self.found is None else parts:
            made = made.told(part, EXPLANATIONS[part](made))
        return made


def design_problem(
    problem: Problem,
    *,
    explain: bool = True,
    grid: GridSearch | None = None,
    proof_seconds: float = 0.0,
    nominal: Found | None = None,
) -> Solution:
    """Return the solution of a compiled problem; see `design` and `designed_problem`."""
    made = designed_problem(problem, grid=grid, proof_seconds=proof_seconds, nominal=nominal)
    return made.explained(*EXPLANATIONS).solution if explain else made.solution


def designed_problem(
    problem: Problem,
    *,
    grid: GridSearch | None = None,
    proof_seconds: float = 0.0,
    nominal: Found | None = None,
) -> Designed:
    """Return the design of a compiled problem without its explanations.

    A `grid` may be shared by problems that differ in limits, prices, confidence and objective alone.
    `nominal` is the answer at best values where it is known already.
    """
    require_prices(problem)
    grid = grid or GridSearch(problem)
    nominal = nominal or nominal_best(problem, grid)
    if not nominal.holds:
        return Designed(problem, grid, nominal, None, _no_blend(problem, proof_seconds))
    nominal, proof = _proved(problem, nominal, proof_seconds)
    found = best_under_doubt(problem, nominal)
    answer = replace(solution_under_doubt(problem, found), proof=proof)
    assert nominal.best is not None
    if not np.allclose(nominal.best.mix, found.blend.candidate.mix, atol=_SAME):
        answer = replace(answer, nominal=_as_alternative(problem, nominal.best))
    return Designed(problem, grid, nominal, found, answer)


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


def _no_blend(problem: Problem, proof_seconds: float) -> Solution:
    return Solution(
        status=NO_BLEND,
        job=problem.job,
        proof=prove(problem, None, proof_seconds)[0],
        fingerprint=fingerprint(problem.job, problem.catalogue),
    )


def _sure(design: Designed) -> ChanceBlend | None:
    """Return what was found under doubt where it is as sure as asked."""
    return design.found.blend if design.found is not None and design.found.sure else None


def _conflict(design: Designed) -> tuple[Limit, ...]:
    return conflict_of(design.problem, design.grid) if design.found is None else ()


def _barred_by(design: Designed) -> tuple[str, ...]:
    return barring_rules(design.problem) if design.found is None else design.solution.barred_by


def _relaxations(design: Designed) -> tuple[Relaxation, ...]:
    if design.found is None:
        return _changes(design.problem, design.solution.conflict, ())
    if design.found.sure:
        return ()
    return _changes(design.problem, _that_take_chance(design.solution), design.known)


def _priced_limits(design: Designed) -> tuple[LimitVerdict, ...]:
    sure = _sure(design)
    prices = {} if sure is None else limit_prices(design.problem, sure)
    return tuple(replace(v, price=prices.get(v.limit)) for v in design.solution.limits)


def _alternatives(design: Designed) -> tuple[Alternative, ...]:
    if design.found is None:
        return ()
    sure = _sure(design)
    others = () if sure is None else alternatives(design.problem, sure)
    return (*others, *single_binders(design.problem, design.grid))


def _worth_a_trial(design: Designed) -> tuple[TrialWorth, ...]:
    mix = design.solution.mix
    trial = None if mix is None else best_trial(design.problem, mix, design.solution.alternatives)
    return () if trial is None else (trial,)


def _stands(design: Designed) -> Stands | None:
    return None if design.found is None else stands(design.problem, design.found.weighed.grams)


def _price_switches(design: Designed) -> Mapping[str, float]:
    sure = _sure(design)
    return {} if sure is None else price_switches(design.problem, sure)


EXPLANATIONS: Final[Mapping[str, Callable[[Designed], Any]]] = {
    "conflict": _conflict,
    "barred_by": _barred_by,
    "relaxations": _relaxations,
    "limits": _priced_limits,
    "alternatives": _alternatives,
    "worth_a_trial": _worth_a_trial,
    "stands": _stands,
    "price_switches": _price_switches,
}
"""What explains a design, by the field of `Solution` that holds it, in the order in which they build on each
other: `relaxations` reads `conflict`, `worth_a_trial` reads `alternatives`."""
