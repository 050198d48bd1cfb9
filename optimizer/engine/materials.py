"""Choose materials: a walk downhill may use specks of many; a shop weighs a few in amounts worth a bag."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.descent import descend
from optimizer.engine.polish import Candidate
from optimizer.problem import Problem

__all__ = ["settle"]

Array = NDArray[np.float64]

_MOST_NODES = 40
_MARGIN = 1e-9
_SPECK = 1e-9


@dataclass(frozen=True)
class _Node:
    """A walk's end with what it was allowed and what it had to use."""

    end: Candidate
    allowed: tuple[int, ...]
    forced: tuple[int, ...]


def settle(
    problem: Problem,
    end: Candidate,
    allowed: Iterable[int],
    backoff: Array | None = None,
    best: Candidate | None = None,
) -> list[Candidate]:
    """Return blends made of a walk's end that hold least shares and the most materials, best found last.

    A speck is dropped or raised to its least share, one material too many is left out, each tried in turn
    and followed by a new walk; a branch that is already dearer than the best blend is not followed.

    Parameters
    ----------
    problem
        What is asked.
    end
        End of a walk with all of `allowed`.
    allowed
        Positions of the materials that may be used.
    backoff
        As for the walk.
    best
        A blend known before, if any: only better ones are of interest.
    """
    queue = [_Node(end, tuple(allowed), ())]
    seen = {(queue[0].allowed, queue[0].forced)}
    found: list[Candidate] = []
    for _ in range(_MOST_NODES):
        if not queue:
            break
        node = queue.pop(min(range(len(queue)), key=lambda i: queue[i].end.rank()))
        if node.end.value >= _cutoff(found, best) or (found and node.end.rank() >= found[-1].rank()):
            continue
        choices = list(_choices(problem, node))
        if not choices:
            found.append(node.end)
            continue
        if not node.end.feasible:  # with fewer materials it falls short all the more
            found = found or [node.end]
            continue
        for allowed_now, forced in choices:
            if (allowed_now, forced) not in seen:
                seen.add((allowed_now, forced))
                again = descend(
                    problem, node.end.case, allowed_now, node.end.mix, backoff, forced, _cutoff(found, best)
                )
                queue.append(_Node(again, allowed_now, forced))
    return found


def _cutoff(found: list[Candidate], best: Candidate | None) -> float:
    """Return the objective that a blend has to beat."""
    known = [c.value for c in (*found, *([] if best is None else [best])) if c.feasible]
    return min(known, default=np.inf)


def _choices(problem: Problem, node: _Node) -> Iterator[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Yield what may be used and what must be, for each way out of what a shop would not weigh."""
    mix = node.end.mix
    powder = mix[:-1].sum()
    used = [k for k in problem.solids if mix[k] > _SPECK]
    short = [
        k
        for k in used
        if k not in node.forced and mix[k] < problem.bounds[k].least * powder * (1.0 - 1e-6) - _SPECK
    ]
    if short:
        k = min(short, key=lambda k: (mix[k] / problem.bounds[k].least, k))
        yield _without(node, k), node.forced
        yield node.allowed, tuple(sorted((*node.forced, k)))
        return
    cap = problem.job.at_most_materials or len(problem.names)
    if len(used) > cap:
        loose = [k for k in used if k not in node.forced]
        for k in sorted(loose, key=lambda k: (mix[k], k)):
            kept = _without(node, k)
            if any(problem.materials[j].role == "binder" for j in kept):
                yield kept, node.forced


def _without(node: _Node, k: int) -> tuple[int, ...]:
    return tuple(j for j in node.allowed if j != k)
