"""A few scenarios: the job with its changes, designed, as rows. Runs in any process that has the package.

A catalogue does not travel between processes: every process loads its own once, and says so when it is not
the one the sweep was planned with. The property model and the grid of blends are compiled once for all
scenarios that differ in prices and limits alone. These are questions much alike
(`optimizer.engine.warm_start`): a few are searched in full, the others from the blends met there, with checks
in between. Each answer is then rounded to the scale and judged on its own, as a design is; where the
neighbors lead to none, the scenario is designed in full.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import groupby, islice
from typing import Any, Final, TypeAlias, TypeVar

import tomli_w

from optimizer.calibration.files import parse_calibration
from optimizer.calibration.record import Calibration, parameter_set
from optimizer.engine.chance_constraints import ChanceBlend
from optimizer.engine.chance_rows import ChanceQuestion
from optimizer.engine.grid_search import GridSearch
from optimizer.engine.search_state import Found
from optimizer.engine.warm_start import alike_blends
from optimizer.errors import FileFaults, VesselblendError
from optimizer.fingerprint import fingerprint
from optimizer.job import DAMP_CLASSES, Job
from optimizer.jobfile import parse_job
from optimizer.materials import Catalogue, canonical_text
from optimizer.nomenclature import PROPERTIES, QUANTITIES
from optimizer.problem import Problem, counts_money, price_faults, problem_of, require_prices
from optimizer.solution import Solution
from optimizer.specs import load_catalogue
from optimizer.studies.design import design_problem, solution_under_doubt
from optimizer.studies.under_doubt import best_under_doubt, judged_limits
from optimizer.sweep.scenarios import Values, Variable, changed
from optimizer.toml_files import parse_toml

Cell: TypeAlias = float | str | None
Row: TypeAlias = tuple[Cell, ...]
Outcome: TypeAlias = Solution | Exception
_T = TypeVar("_T")

FAULTY: Final = "no job"
"""Status of a scenario whose values do not fit together."""

OWN_FAULT: Final = "a fault of vesselblend"
"""Status of a scenario that an internal error left without an answer."""

_WORDS: Final = ("scenario", "job", "status", "verdict", "damp_risk", "fault", "fingerprint")
_LONGEST_FAULT: Final = 400
_KEY_DIGITS: Final = 16
_COMPILED: Final = 16
_LOOKED_AT: Final = 50
_FEW: Final = 5
"""Scenarios up to which each is searched in full."""


@dataclass(frozen=True)
class Plan:
    """All a process must know to design any scenario of a sweep.

    Attributes
    ----------
    text : str
        The job file.
    specs : str | None
        Folder of own spec files.
    variables : tuple[Variable, ...]
        What differs between scenarios.
    fingerprint : str
        Of the unchanged job, the figures, the calibration and the version.
    calibration : str
        Text of the calibration in use; empty for shipped figures.
    in_full : bool
        True searches each scenario in full, whatever its neighbors gave.
    """

    text: str
    specs: str | None
    variables: tuple[Variable, ...]
    fingerprint: str
    calibration: str = ""
    in_full: bool = False


def plan_of(text: str, where: str, catalogue: Catalogue, specs: str | None, calibration: str = "") -> Plan:
    """Return the plan of a job that nothing varies in yet; `FileFaults` if the job file has any.

    Parameters
    ----------
    calibration
        Text of the calibration in use; empty for shipped figures.
    """
    mark = fingerprint(parse_job(text, catalogue, where), catalogue, calibration)
    return Plan(text, specs, (), mark, calibration)


def check_first(plan: Plan, scenarios: Iterable[Values]) -> None:
    """Raise the faults of the first scenario if none of the first few gives a job: a slip, not a corner."""
    faults: FileFaults | None = None
    for values in islice(scenarios, _LOOKED_AT):
        try:
            job = _workbench(plan).job_of(plan, values)
        except FileFaults as error:
            faults = faults or error
            continue
        bare = price_faults(job, job.materials) if counts_money(job) else ()
        if not bare:
            return
        faults = faults or FileFaults(bare)
    if faults is not None:
        raise faults


def scenario_key(plan: Plan, values: Values) -> str:
    """Return the text that stands for one scenario of one job: the same in any order of the variables."""
    named = {v.name: x for v, x in zip(plan.variables, values, strict=True) if x is not None}
    return hashlib.sha256(f"{plan.fingerprint}{canonical_text(named)}".encode()).hexdigest()[:_KEY_DIGITS]


def header_of(plan: Plan) -> tuple[tuple[str, bool], ...]:
    """Return the columns of a sweep's rows: name with its unit, and whether it holds numbers."""
    data = parse_toml(plan.text, "job")
    currency = str(data.get("currency", ""))
    varied = ((_with_unit(v.name, v.unit, currency), v.numeric) for v in plan.variables)
    shares = ((f"share_{name}", True) for name in data.get("materials", ()))
    rest = (name for name in PROPERTIES if name != "cost")
    figures = ((_with_unit(name, QUANTITIES[name].unit, currency), name not in _WORDS) for name in rest)
    return (
        ("scenario", False),
        ("job", False),
        *varied,
        ("status", False),
        ("verdict", False),
        *shares,
        ("water_ratio", True),
        (_with_unit("expected_cost", "currency", currency), True),
        ("joint_probability", True),
        *figures,
        ("turns", True),
        ("fault", False),
        ("fingerprint", False),
    )


def _with_unit(name: str, unit: str, currency: str) -> str:
    if unit in ("", "-", "count", "fraction", "class"):
        return name
    return f"{name} [{unit.replace('currency', currency)}]"


def solve(plan: Plan, chunk: Sequence[Values]) -> tuple[Row, ...]:
    """Design some scenarios in turn and return their rows, in the columns of `header_of`.

    Those of the same materials start from each other's blends, so rows depend a little on the chunk they are
    designed in: within what a full search may miss by, and never in whether a limit is met.

    Raises
    ------
    VesselblendError
        If this process cannot take part: it has not the figures or the version of the plan.
    """
    try:
        prepared = _workbench(plan)
    except VesselblendError as error:
        raise _refusal(f"cannot read the job or its materials: {error}") from None
    if prepared.fingerprint != plan.fingerprint:
        raise _refusal("has other material files or another version of vesselblend")
    outcomes: list[Outcome] = [VesselblendError("not asked")] * len(chunk)
    groups: dict[tuple[object, ...], list[tuple[int, Question]]] = {}
    for place, values in enumerate(chunk):
        try:
            job = prepared.job_of(plan, values)
            kind = (job.materials, job.at_most_materials, job.objective, job.maximize)
            groups.setdefault(kind, []).append((place, prepared.question(job)))
        except Exception as error:
            outcomes[place] = error
    for alike in groups.values():
        places, questions = zip(*alike, strict=True)
        for place, outcome in zip(places, answers(questions, in_full=plan.in_full), strict=True):
            outcomes[place] = outcome
    return tuple(_row(plan, prepared.job, *each) for each in zip(chunk, outcomes, strict=True))


def _refusal(reason: str) -> VesselblendError:
    return VesselblendError(f"The sweep cannot go on: a worker {reason}.")


def _row(plan: Plan, job: Job, values: Values, outcome: Outcome) -> Row:
    front = (scenario_key(plan, values), plan.fingerprint[:_KEY_DIGITS], *(map(_cell, values)))
    if isinstance(outcome, VesselblendError):
        return (*front, FAULTY, *_blanks(job), _one_line(str(outcome)), "")
    if isinstance(outcome, Exception):
        return (*front, OWN_FAULT, *_blanks(job), _one_line(f"{type(outcome).__name__}: {outcome}"), "")
    return (*front, *_answer(outcome), "", outcome.fingerprint)


def _cell(value: float | str | bool | None) -> Cell:
    return str(value).lower() if isinstance(value, bool) else value


def _one_line(text: str) -> str:
    return " ".join(text.split())[:_LONGEST_FAULT]


def _blanks(job: Job) -> tuple[Cell, ...]:
    return (None,) * (len(job.materials) + len(PROPERTIES) + 4)


def _answer(solution: Solution) -> Row:
    if solution.mix is None:
        return (solution.status, *_blanks(solution.job))
    shares = (solution.mix.blend.get(name, 0.0) for name in solution.job.materials)
    figures = (_figure(solution, name) for name in PROPERTIES if name != "cost")
    return (
        solution.status,
        solution.verdict,
        *shares,
        solution.mix.water_ratio,
        solution.cost,
        solution.joint_probability,
        *figures,
        float(solution.turns),
    )


def _figure(solution: Solution, name: str) -> Cell:
    value = solution.properties[name].value
    if not math.isfinite(value):
        return None
    return DAMP_CLASSES[int(value)] if name == "damp_risk" else value


@dataclass(frozen=True)
class Compiled:
    """What scenarios share that have the same materials, vessel and shop.

    Attributes
    ----------
    problem : Problem
        The property model, compiled.
    grid : GridSearch
        The coarse grid of blends, valued.
    """

    problem: Problem
    grid: GridSearch

    def answer(self, job: Job) -> Solution:
        """Return the quick answer to a job, searched in full."""
        return design_problem(self.problem.with_job(job), explain=False, grid=self.grid)


@dataclass(frozen=True)
class Question:
    """A job and what is compiled for it."""

    compiled: Compiled
    job: Job

    @property
    def problem(self) -> Problem:
        """The compiled job."""
        return self.compiled.problem.with_job(self.job)


def answers(questions: Sequence[Question], *, in_full: bool = False) -> list[Outcome]:
    """Return the answer to each job of one list of materials and one objective, or what kept it from one.

    Parameters
    ----------
    questions
        In an order in which neighbors are alike.
    in_full
        True searches each in full, as `design` does.
    """
    out: list[Outcome] = []
    for _, group in groupby(questions, key=lambda each: id(each.compiled)):
        alike = list(group)
        if in_full or len(alike) <= _FEW:
            out += [_outcome(each.compiled.answer, each.job) for each in alike]
        else:
            out += _from_neighbors(alike)
    return out


def _from_neighbors(questions: Sequence[Question]) -> Iterator[Outcome]:
    priced = [_outcome(require_prices, each.problem) for each in questions]
    usable = [each for each, fault in zip(questions, priced, strict=True) if fault is None]
    chances = [
        ChanceQuestion(each.problem, judged_limits(each.problem), each.job.confidence) for each in usable
    ]
    found = _outcome(alike_blends, chances)
    blends = iter([None] * len(usable) if isinstance(found, Exception) else found)
    for each, fault in zip(questions, priced, strict=True):
        if fault is not None:
            yield fault
        else:
            yield _outcome(_finished, each, next(blends))


def _finished(question: Question, blend: ChanceBlend | None) -> Solution:
    """Return the answer to a job from a blend of its neighbors, or from a design in full."""
    if blend is not None:
        near = (blend.candidate, *blend.near)
        answered = best_under_doubt(question.problem, Found(blend.candidate, near), near)
        if answered.sure:
            return solution_under_doubt(question.problem, answered)
    return question.compiled.answer(question.job)


def _outcome(do: Callable[..., _T], *given: object) -> _T | Exception:
    """Return what comes of it, or the error: one scenario that trips us up must not end a night's work."""
    try:
        return do(*given)
    except Exception as error:
        return error


@dataclass(frozen=True)
class _Workbench:
    """What one process keeps between scenarios."""

    data: Mapping[str, Any]
    catalogue: Catalogue
    job: Job
    fingerprint: str
    calibration: Calibration | None = None
    compiled: dict[str, Compiled] = field(default_factory=dict, compare=False)

    def job_of(self, plan: Plan, values: Values) -> Job:
        """Return the job of a scenario; `FileFaults` if its values do not fit together."""
        stated = {v: x for v, x in zip(plan.variables, values, strict=True) if x is not None}
        return parse_job(tomli_w.dumps(changed(self.data, stated)), self.catalogue, "scenario")

    def question(self, job: Job) -> Question:
        """Return a job with what is compiled once for all jobs that share it."""
        # Limits, prices, confidence and objective play no part in what is compiled.
        bare = replace(job, title="", limits=(), prices={}, confidence=0.5, objective="cost", maximize=False)
        return Question(self._compiled(canonical_text(bare), bare), job)

    def _compiled(self, key: str, job: Job) -> Compiled:
        if key not in self.compiled:
            while len(self.compiled) >= _COMPILED:
                self.compiled.pop(next(iter(self.compiled)), None)
            taught = self.calibration
            known = None if taught is None else parameter_set(taught, self.catalogue, job.materials)
            problem = problem_of(job, self.catalogue, known)
            self.compiled[key] = Compiled(problem, GridSearch(problem))
        return self.compiled[key]


@lru_cache(maxsize=2)
def _workbench(plan: Plan) -> _Workbench:
    catalogue = load_catalogue(plan.specs)
    job = parse_job(plan.text, catalogue, "job")
    taught = parse_calibration(plan.calibration, "calibration") if plan.calibration else None
    mark = fingerprint(job, catalogue, plan.calibration)
    return _Workbench(parse_toml(plan.text, "job"), catalogue, job, mark, taught)
