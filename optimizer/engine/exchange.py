"""Better blends one exchange of materials away: one more, one fewer, or one for another."""

from __future__ import annotations

from collections.abc import Iterator

from optimizer.engine.polish import Candidate
from optimizer.engine.walks import Walks

__all__ = ["exchanged"]

_ROUNDS = 4
"""Exchanges made one after the other at most."""

_GAIN = 2e-4
"""Share of the objective by which an exchange must better a blend."""


def exchanged(walks: Walks, best: Candidate, solids: tuple[int, ...], most: int) -> Candidate:
    """Return the best blend that exchanges of single materials lead to, in the case of `best`.

    A walk with all materials ends in one set of them; least shares and a ceiling on how many make other sets
    as good or better, which no walk sees. Each exchange starts from the blend in hand, so all those in vain
    are told by the slopes there, looked at once.

    Parameters
    ----------
    walks
        Walks of the problem.
    best
        A blend that holds.
    solids
        Positions of the materials that may be used.
    most
        Materials allowed in a blend, admixtures aside.
    """
    for _ in range(_ROUNDS):
        found = _one_step(walks, best, solids, most)
        if found is best:
            return best
        best = found
    return best


def _one_step(walks: Walks, best: Candidate, solids: tuple[int, ...], most: int) -> Candidate:
    """Return the best blend one exchange away, or the blend itself."""
    found = best
    for gone, own in _sets(walks, best, solids, most):
        start = best.mix.copy()
        start[list(gone)] = 0.0
        bar = found.value - _GAIN * abs(found.value)
        end = walks.down(best.case, own, start, own, bar, shared=solids)
        if end.feasible and end.value < bar:
            found = end
    return found


def _sets(
    walks: Walks, best: Candidate, solids: tuple[int, ...], most: int
) -> Iterator[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Yield what is left out and what is then used, for each exchange."""
    now = tuple(k for k in best.support if k in solids)
    spare = [k for k in solids if k not in now]
    if len(now) < most:
        yield from (((), (*now, k)) for k in spare)
    for gone in now:
        kept = tuple(k for k in now if k != gone)
        for own in (kept, *((*kept, k) for k in spare)):
            if any(walks.problem.materials[k].role == "binder" for k in own):
                yield (gone,), own
