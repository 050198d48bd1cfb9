"""Scenarios of the same materials, answered from one another.

Scenarios of one bench are questions much alike (`optimizer.engine.warm_start`): a few are searched in full,
the others from the blends met there, with checks in between. Each answer is then rounded to the scale and
judged on its own, as a design is; where the neighbors lead to none, the scenario is designed in full.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final, TypeAlias, TypeVar

from optimizer.engine.chance_constraints import ChanceBlend
from optimizer.engine.chance_rows import ChanceQuestion
from optimizer.engine.grid_search import GridSearch
from optimizer.engine.search_state import Found
from optimizer.engine.warm_start import alike_blends
from optimizer.job import Job
from optimizer.problem import Problem, require_prices
from optimizer.solution import Solution
from optimizer.studies.design import design_problem, solution_under_doubt
from optimizer.studies.under_doubt import best_under_doubt, judged_limits

__all__ = ["Asked", "Bench", "Outcome", "answers"]

_FEW: Final = 5
"""Scenarios up to which each is searched in full."""

Outcome: TypeAlias = Solution | Exception
_T = TypeVar("_T")


@dataclass(frozen=True)
class Bench:
    """What scenarios share that have the same materials, vessel and shop.

    Attributes
    ----------
    problem : Problem
        The chain, compiled.
    grid : GridSearch
        The coarse grid of blends, cast.
    """

    problem: Problem
    grid: GridSearch

    def answer(self, job: Job) -> Solution:
        """Return the quick answer to a job of this bench, searched in full."""
        return design_problem(self.problem.with_job(job), explain=False, grid=self.grid)


@dataclass(frozen=True)
class Asked:
    """A job and the bench it belongs to."""

    bench: Bench
    job: Job

    @property
    def problem(self) -> Problem:
        """The compiled job."""
        return self.bench.problem.with_job(self.job)


def answers(asked: Sequence[Asked], *, in_full: bool = False) -> list[Outcome]:
    """Return the answer to each job of one list of materials and one objective, or what kept it from one.

    Parameters
    ----------
    asked
        In an order in which neighbors are alike.
    in_full
        True searches each in full, as `design` does.
    """
    out: list[Outcome] = []
    for _, group in groupby(asked, key=lambda each: id(each.bench)):
        alike = list(group)
        if in_full or len(alike) <= _FEW:
            out += [_kept(each.bench.answer, each.job) for each in alike]
        else:
            out += _from_neighbors(alike)
    return out


def _from_neighbors(asked: Sequence[Asked]) -> Iterable[Outcome]:
    priced = [_kept(require_prices, each.problem) for each in asked]
    usable = [each for each, fault in zip(asked, priced, strict=True) if fault is None]
    questions = [
        ChanceQuestion(each.problem, judged_limits(each.problem), each.job.confidence) for each in usable
    ]
    found = _kept(alike_blends, questions)
    blends = iter([None] * len(usable) if isinstance(found, Exception) else found)
    for each, fault in zip(asked, priced, strict=True):
        if fault is not None:
            yield fault
        else:
            yield _kept(_finished, each, next(blends))


def _finished(asked: Asked, blend: ChanceBlend | None) -> Solution:
    """Return the answer to a job from a blend of its neighbors, or from a design in full."""
    if blend is not None:
        near = (blend.candidate, *blend.near)
        answered = best_under_doubt(asked.problem, Found(blend.candidate, near), near)
        if answered.sure:
            return solution_under_doubt(asked.problem, answered)
    return asked.bench.answer(asked.job)


def _kept(do: Callable[..., _T], *given: object) -> _T | Exception:
    """Return what comes of it, or the error: one scenario that trips us up must not end a night's work."""
    try:
        return do(*given)
    except Exception as error:
        return error
