"""Limits held with the job's confidence: a blend under the spreads that belong to it.

How far a limit must be over-met depends on what is unsure of the mix, and the mix on how far it must be
over-met. The two are taken in turns until they agree.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from optimizer.chain.predict import cast_of
from optimizer.engine.cases import cases_of
from optimizer.engine.polish import Candidate, objective_of
from optimizer.engine.scan import Scan
from optimizer.engine.search import Search
from optimizer.formulation import RowLabel, backoff_vector, curved_rows, rows_of_cast
from optimizer.materials import Material
from optimizer.problem import Problem
from optimizer.verdict.confidence import Doubt, nominal_only

__all__ = ["Found", "backed_off", "holds_as_it_is", "searched", "shifts_at"]

_Met: TypeAlias = dict[tuple[int, ...], Candidate]
"""A blend of each set of materials that some turn ended with."""

_ROUNDS, _HALVINGS, _MOST_SETS, _MOST_GRID = 5, 6, 12, 40
_SETTLED = 2e-3
_NEARLY = 0.05
"""Chance below the one asked for that is still offered, and said to be too close to call."""


@dataclass(frozen=True)
class Found:
    """A blend with the search that met it and the shifts it was found under."""

    search: Search
    best: Candidate
    shifts: Mapping[RowLabel, float]


def searched(
    problem: Problem,
    shifts: Mapping[RowLabel, float],
    scan: Scan | None,
    only: tuple[int, ...] | None = None,
) -> Found | None:
    """Return the best blend under shifts, of the materials `only`, or None when no mix can be started."""
    search = Search(problem, shifts, only, scan, brief=True)
    best = search.run()
    return None if best is None else Found(search, best, shifts)


def shifts_at(problem: Problem, doubt: Doubt, best: Candidate) -> dict[RowLabel, float]:
    """Return how far each limit must be over-met at a blend to hold with the job's confidence [rows].

    Steps that only cost money (coats, postage) are taken at best values: they are no limits of the caster's.
    """
    return doubt.shifts(problem.job.limits, best.mix, problem.job.confidence)


def backed_off(problem: Problem, doubt: Doubt, nominal: Found) -> Found | None:
    """Return the best blend that holds each limit with the job's confidence.

    What is unsure of the nominal answer need not be unsure of another blend: mixes of one kind of binder
    are known far better than those across. So each kind is held on its own, too, and where all else fails
    each binder, each binder without admixtures, and the materials of every blend met on the way.
    """
    if problem.job.confidence <= 0.5:
        return nominal
    found: list[Found] = []
    met: _Met = {}
    for stage in (_kinds, _binders, _undosed, _few, _densest, _strongest):
        found += [x for x in stage(problem, doubt, nominal, met) if x is not None]
        if any(x.best.feasible for x in found):
            break
    best = min(found, key=lambda x: x.best.rank(), default=None)
    return None if best is None else replace(best, search=replace(best.search, only=None))


def _kinds(problem: Problem, doubt: Doubt, nominal: Found, met: _Met) -> Iterator[Found | None]:
    yield _held(problem, doubt, nominal, met)
    binders = [m for m in problem.materials if m.role == "binder"]
    kinds = sorted({m.kind for m in binders})
    for kind in kinds if len(kinds) > 1 else ():
        group = [m for m in binders if m.kind == kind]
        yield _held(problem, doubt, _of_binders(nominal, group), met)


def _binders(problem: Problem, doubt: Doubt, nominal: Found, met: _Met) -> Iterator[Found | None]:
    for binder in problem.materials:
        if binder.role == "binder":
            yield _held(problem, doubt, _of_binders(nominal, [binder]), met)


def _undosed(problem: Problem, doubt: Doubt, nominal: Found, met: _Met) -> Iterator[Found | None]:
    for binder in problem.materials if problem.doses else ():
        if binder.role == "binder":
            yield _settled(problem, doubt, _plain(nominal, binder), met)


def _few(problem: Problem, doubt: Doubt, nominal: Found, met: _Met) -> Iterator[Found | None]:
    """Yield blends of the same few materials as those met, or one fewer: they are alike in what is unsure."""
    for support, end in list(met.items()):
        own = tuple(k for k in support if k in problem.solids)
        shifts = shifts_at(problem, doubt, end)
        yield _settled(problem, doubt, searched(problem, shifts, nominal.search.scan, own), met)
    for fewer in _one_fewer(problem, met):
        yield _held(problem, doubt, searched(problem, {}, nominal.search.scan, fewer), met)


def _densest(problem: Problem, doubt: Doubt, nominal: Found, met: _Met) -> Iterator[Found | None]:
    """Yield the densest blend of each binder if it holds as it is: some are the surer, the less water."""
    job = replace(problem.job, objective="fresh_density", maximize=True)
    for binder in problem.materials:
        if binder.role != "binder":
            continue
        only = _with_binders(problem, [binder])
        dense = searched(problem.with_job(job), {}, nominal.search.scan, only)
        if dense is None or not dense.best.feasible:
            continue
        if holds_as_it_is(problem, doubt, dense.best) and _drawn_true(problem, doubt, dense.best):
            shifts = shifts_at(problem, doubt, dense.best)
            yield _as_it_is(problem, dense.best, shifts, nominal.search.scan)


def _strongest(problem: Problem, doubt: Doubt, nominal: Found, met: _Met) -> Iterator[Found | None]:
    """Yield the blends of the grid that hold as they are, of those with the most to spare at best values.

    Each is then bettered with its own materials under its own spreads, where that leads anywhere.
    """
    scan = nominal.search.scan or Scan(problem)
    case = max(cases_of(problem), key=lambda each: each.fixed)
    cast = scan.cast(case)
    slack = rows_of_cast(problem, case, cast).min(axis=1)
    order = np.argsort(-slack, kind="stable")
    _, first = np.unique(scan.support_of[order], return_index=True)
    for i in order[np.sort(first)][:_MOST_GRID]:
        blend = Candidate(case, cast.mixes[i], math.inf, 0.0)
        if not holds_as_it_is(problem, doubt, blend) or not _drawn_true(problem, doubt, blend):
            continue
        own = tuple(k for k in blend.support if k in problem.solids)
        shifts = shifts_at(problem, doubt, blend)
        bettered = _settled(problem, doubt, searched(problem, shifts, scan, own), met)
        if bettered is not None and _drawn_true(problem, doubt, bettered.best):
            yield bettered
        yield _as_it_is(problem, blend, shifts, scan)


def _as_it_is(
    problem: Problem, blend: Candidate, shifts: Mapping[RowLabel, float], scan: Scan | None
) -> Found:
    cast = cast_of(problem.model, problem.bench, blend.mix[None, :])
    value = float(objective_of(problem, blend.case, cast)[0])
    own = tuple(k for k in blend.support if k in problem.solids)
    return Found(Search(problem, shifts, own, scan), replace(blend, value=value), shifts)


def holds_as_it_is(problem: Problem, doubt: Doubt, best: Candidate) -> bool:
    """Return True when a blend holds every limit with the job's confidence under its own spreads."""
    rows, _ = curved_rows(problem, best.case, best.mix[None, :])
    backoff = backoff_vector(problem, best.case, shifts_at(problem, doubt, best))
    return bool((rows[0] if backoff is None else rows[0] - backoff).min() >= -_SETTLED)


def _drawn_true(problem: Problem, doubt: Doubt, best: Candidate) -> bool:
    """Return True when draws bear the chances out: of many blends looked at, some only seem to be sure."""
    chances = doubt.sampled_chances(problem.job.limits, best.mix)
    return min(chances.values(), default=1.0) >= problem.job.confidence - _NEARLY


def _one_fewer(problem: Problem, met: _Met) -> tuple[tuple[int, ...], ...]:
    """Return the sets of materials met, each without one, as far as a binder is left and they are new."""
    known = {tuple(k for k in support if k in problem.solids) for support in met}
    fewer = {tuple(j for j in own if j != k) for own in known for k in own} - known
    return tuple(sorted(own for own in fewer if any(problem.materials[k].role == "binder" for k in own)))[
        :_MOST_SETS
    ]


def _with_binders(problem: Problem, binders: Sequence[Material]) -> tuple[int, ...]:
    """Return the positions of all materials but other binders."""
    return tuple(
        k for k in problem.solids if problem.materials[k].role != "binder" or problem.materials[k] in binders
    )


def _of_binders(nominal: Found, binders: Sequence[Material]) -> Found | None:
    """Return the best blend whose binders are the given ones, at best values."""
    problem = nominal.search.problem
    return searched(problem, {}, nominal.search.scan, _with_binders(problem, binders))


def _plain(nominal: Found, binder: Material) -> Found | None:
    """Return the best blend of one binder without admixtures, at best values: their effect is unsure."""
    problem = nominal.search.problem
    search = Search(problem, {}, _with_binders(problem, [binder]), nominal.search.scan)
    plain = [case for case in cases_of(problem) if not any(case.doses.values())]
    ends = [end for case in plain if (end := search.best_of_case(case)) is not None]
    best = min(ends, key=Candidate.rank, default=None)
    return None if best is None else Found(search, best, {})


def _held(problem: Problem, doubt: Doubt, start: Found | None, met: _Met) -> Found | None:
    """Return the best blend under the spreads of its own mix, sought from those of `start`.

    A mix that falls short under foreign spreads may well hold under its own, so the turns go on from there.
    """
    if start is None or not start.best.feasible:
        return None
    search = start.search
    shifts = shifts_at(problem, doubt, start.best)
    return _settled(problem, doubt, searched(problem, shifts, search.scan, search.only), met)


def _settled(problem: Problem, doubt: Doubt, found: Found | None, met: _Met) -> Found | None:
    """Return the best blend of the steps of `found` under the spreads of its own mix."""
    for _ in range(_ROUNDS):
        if found is None:
            return None
        met[found.best.support] = found.best
        renewed = shifts_at(problem, doubt, found.best)
        change = max((abs(v - found.shifts.get(k, 0.0)) for k, v in renewed.items()), default=0.0)
        if change <= _SETTLED:
            return found
        again = _again(problem, found, renewed)
        if found.best.feasible and (again is None or not again.best.feasible):
            between = _between(problem, doubt, found, renewed)
            return between or again
        found = again
    return found


def _between(problem: Problem, doubt: Doubt, loose: Found, tight: Mapping[RowLabel, float]) -> Found | None:
    """Return a blend that holds under spreads between too little for itself and more than any blend bears.

    Some mixes are the surer the further they keep from an edge, such as a cement from its most water.
    """
    for _ in range(_HALVINGS):
        halfway = {k: 0.5 * (v + loose.shifts.get(k, 0.0)) for k, v in tight.items()}
        found = _again(problem, loose, halfway)
        if found is None or not found.best.feasible:
            tight = halfway
            continue
        own = shifts_at(problem, doubt, found.best)
        if all(v <= halfway.get(k, 0.0) + _SETTLED for k, v in own.items()):
            return found
        loose = found
    return loose if _nearly(problem, doubt, loose.best) else None


def _nearly(problem: Problem, doubt: Doubt, best: Candidate) -> bool:
    """Return True when the chances of a blend fall short by so little that it beats having none."""
    around = doubt.around(cast_of(problem.model, problem.bench, best.mix[None, :]))
    chances = doubt.probabilities(problem.job.limits, around)
    held = [chances[x] for x in problem.job.limits if x in chances and not nominal_only(problem, x)]
    return min(held, default=1.0) >= problem.job.confidence - _NEARLY


def _again(problem: Problem, found: Found, shifts: Mapping[RowLabel, float]) -> Found | None:
    """Return the best blend of the same steps under renewed shifts."""
    search = replace(found.search, shifts=shifts, polished={})
    best = search.best_of_case(found.best.case, [found.best])
    return None if best is None else Found(search, best, shifts)
