"""Choose materials: a walk downhill may use specks of many; a shop weighs a few in amounts worth a bag."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from optimizer.engine.polish import Candidate
from optimizer.engine.walks import Walks
from optimizer.problem import Problem

__all__ = ["settle"]

_MOST_NODES = 40
_MARGIN = 1e-9
_FEW = 3
"""Materials, smallest first, of which one is left out where more than one has to go."""

_SPECK = 1e-9


@dataclass(frozen=True)
class _Node:
    """A walk's end with what it was allowed and what it had to use."""

    end: Candidate
    allowed: tuple[int, ...]
    forced: tuple[int, ...]


def settle(
    walks: Walks,
    end: Candidate,
    allowed: Iterable[int],
    best: Candidate | None = None,
) -> list[Candidate]:
    """Return blends made of a walk's end that hold least shares and the most materials, best found last.

    A speck is dropped or raised to its least share, one material too many is left out, each tried in turn
    and followed by a new walk; a branch that is already dearer than the best blend is not followed.

    Parameters
    ----------
    walks
        Walks of the problem.
    end
        End of a walk with all of `allowed`.
    allowed
        Positions of the materials that may be used.
    best
        A blend known before, if any: only better ones are of interest.
    """
    problem = walks.problem
    queue = [_Node(end, tuple(allowed), ())]
    seen = {(queue[0].allowed, queue[0].forced)}
    found: list[Candidate] = []
    for _ in range(_MOST_NODES):
        if not queue:
            break
        node = queue.pop(min(range(len(queue)), key=lambda i: queue[i].end.rank()))
        if node.end.value >= _cutoff(found, best) or (found and node.end.rank() >= found[-1].rank()):
            continue
        if node.end.feasible and _weighable(problem, node):
            found.append(node.end)
            continue
        if not node.end.feasible:  # with fewer materials it falls short all the more
            found = found or [node.end]
            continue
        for allowed_now, forced in _choices(problem, node):
            if (allowed_now, forced) not in seen:
                seen.add((allowed_now, forced))
                cutoff = _cutoff(found, best)
                again = walks.down(node.end.case, allowed_now, node.end.mix, forced, cutoff)
                queue.append(_Node(again, allowed_now, forced))
    return found


def _cutoff(found: list[Candidate], best: Candidate | None) -> float:
    """Return the objective that a blend has to beat."""
    known = [c.value for c in (*found, *([] if best is None else [best])) if c.feasible]
    return min(known, default=np.inf)


def _used(problem: Problem, node: _Node) -> list[int]:
    return [k for k in problem.solids if node.end.mix[k] > _SPECK]


def _specks(problem: Problem, node: _Node) -> list[int]:
    """Return the materials in use below their least share, those held at it aside."""
    mix = node.end.mix
    powder = mix[:-1].sum()
    return [
        k
        for k in _used(problem, node)
        if k not in node.forced and mix[k] < problem.bounds[k].least * powder * (1.0 - 1e-6) - _SPECK
    ]


def _weighable(problem: Problem, node: _Node) -> bool:
    few = len(_used(problem, node)) <= (problem.job.at_most_materials or len(problem.names))
    return few and not _specks(problem, node)


def _choices(problem: Problem, node: _Node) -> Iterator[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Yield what may be used and what must be, for each way out of what a shop would not weigh."""
    mix = node.end.mix
    short = _specks(problem, node)
    if short:
        k = min(short, key=lambda k: (mix[k] / problem.bounds[k].least, k))
        yield _without(node, k), node.forced
        yield node.allowed, tuple(sorted((*node.forced, k)))
        return
    used = sorted(_used(problem, node), key=lambda k: (mix[k], k))
    excess = len(used) - (problem.job.at_most_materials or len(problem.names))
    for k in used if excess == 1 else used[:_FEW]:
        kept = _without(node, k)
        if k not in node.forced and any(problem.materials[j].role == "binder" for j in kept):
            yield kept, node.forced


def _without(node: _Node, k: int) -> tuple[int, ...]:
    return tuple(j for j in node.allowed if j != k)
