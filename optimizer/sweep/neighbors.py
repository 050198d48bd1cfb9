"""Scenarios of the same materials, answered in turn: each starts from the blends of those before it.

The first of them is searched in full, and so is every 64th and the last. There the answer from the neighbors
is compared with the full one: where it falls behind, all scenarios since the last such check are searched in
full. What no blend meets is not searched again at the same bench under limits that are tighter still.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeAlias, TypeVar

from optimizer.engine.nearby import Pool, nearby
from optimizer.engine.polish import Candidate
from optimizer.engine.scan import Scan
from optimizer.engine.search import Search
from optimizer.job import Job
from optimizer.problem import Problem
from optimizer.solution import Solution
from optimizer.studies.design import design_problem
from optimizer.studies.held import Found
from optimizer.studies.proofs import sought
from optimizer.verdict.confidence import Doubt

__all__ = ["Asked", "Bench", "Outcome", "answers"]

_CHECKED: Final = 64
"""Scenarios between two that are searched in full."""

_FEW: Final = 5
"""Scenarios up to which each is searched in full."""

_BEHIND: Final = 1e-3
"""Share of the objective by which an answer from neighbors may be dearer than the full one."""

Outcome: TypeAlias = Solution | Exception
_T = TypeVar("_T")


@dataclass(frozen=True)
class Bench:
    """What scenarios share that have the same materials, vessel and shop.

    Attributes
    ----------
    problem : Problem
        The chain, compiled.
    scan : Scan
        The room of blends, cast.
    doubt : Doubt
        What the chain is unsure of.
    """

    problem: Problem
    scan: Scan
    doubt: Doubt

    def answer(self, job: Job, nominal: Found | None = None) -> Solution:
        """Return the quick answer to a job of this bench."""
        asked = self.problem.with_job(job)
        return design_problem(asked, explain=False, scan=self.scan, doubt=self.doubt, nominal=nominal)

    def search(self, job: Job) -> Search:
        """Return a search for the best blend of a job, not begun."""
        return Search(self.problem.with_job(job), scan=self.scan)


@dataclass(frozen=True)
class Asked:
    """A job and the bench it belongs to."""

    bench: Bench
    job: Job


def answers(asked: Sequence[Asked], *, in_full: bool = False) -> list[Outcome]:
    """Return the answer to each job of one list of materials and one objective, or what kept it from one.

    Parameters
    ----------
    asked
        In an order in which neighbors are alike.
    in_full
        True searches each in full, as `design` does.
    """
    if in_full or len(asked) <= _FEW:
        return [_kept(each.bench.answer, each.job) for each in asked]
    turn = _Turn()
    out = [turn.full(asked[0])]
    for first in range(1, len(asked), _CHECKED):
        out += turn.stretch(asked[first : first + _CHECKED])
    return out


@dataclass
class _Turn:
    """Scratch of one run: blends to start from, and jobs that no blend meets."""

    pool: Pool = field(default_factory=Pool)
    hopeless: list[tuple[Asked, Found]] = field(default_factory=list)

    def stretch(self, asked: Sequence[Asked]) -> Iterator[Outcome]:
        """Yield the answers to some jobs, the last one searched in full to check the others."""
        quick = [self._near(each) for each in asked[:-1]]
        expected = _kept(self._nearby, asked[-1])
        last, best = self._searched(asked[-1])
        yield from (self.full(each) for each in asked[:-1]) if _behind(expected, best) else quick
        yield last

    def full(self, asked: Asked) -> Outcome:
        """Return the answer of a full search."""
        return self._searched(asked)[0]

    def _searched(self, asked: Asked) -> tuple[Outcome, Candidate | None]:
        search = asked.bench.search(asked.job)
        best = _kept(sought, search)
        if isinstance(best, Exception):
            return best, None
        if best is None:
            return _kept(asked.bench.answer, asked.job), None
        found = Found(search, best, {})
        if best.feasible:
            self.pool.learn(search)
        else:
            self.hopeless.append((asked, found))
        return _kept(asked.bench.answer, asked.job, found), best

    def _near(self, asked: Asked) -> Outcome:
        """Return the answer from the neighbors' blends; of a full search where they lead nowhere."""
        found = next((none for looser, none in self.hopeless if _tighter(asked, looser)), None)
        if found is None:
            near = _kept(self._nearby, asked)
            if isinstance(near, Exception):
                return near
            found = near
        return self.full(asked) if found is None else _kept(asked.bench.answer, asked.job, found)

    def _nearby(self, asked: Asked) -> Found | None:
        search = asked.bench.search(asked.job)
        best = nearby(search, self.pool)
        return None if best is None else Found(search, best, {})


def _kept(do: Callable[..., _T], *given: object) -> _T | Exception:
    """Return what comes of it, or the error: one scenario that trips us up must not end a night's work."""
    try:
        return do(*given)
    except Exception as error:
        return error


def _behind(expected: object, best: Candidate | None) -> bool:
    """Return True when the answer from neighbors is not as good as the full one."""
    if best is None or not best.feasible:
        return False
    if not isinstance(expected, Found):
        return True
    return expected.best.value > best.value + _BEHIND * abs(best.value)


def _tighter(asked: Asked, looser: Asked) -> bool:
    """Return True when a job asks for all that another one of its bench asks for, or more; money aside."""
    if asked.bench is not looser.bench or any(x.property == "cost" for x in looser.job.limits):
        return False
    own = {(x.property, x.sense): x for x in asked.job.limits}
    pairs = [(own.get((x.property, x.sense)), x.bound) for x in looser.job.limits]
    return all(mine is not None and mine.margin(bound) <= 0.0 for mine, bound in pairs)
