"""Where no blend meets the limits, why: the smallest change of one limit, or of several alike, that would do.

In every draw of the chain a blend needs its limits loosened by some number of steps to hold them. The least
number that is enough in the asked share of the draws is what the blend needs; walks to a surer blend under
limits loosened by so much lower it turn by turn. Every change told is confirmed by designing with it.

Where none does even at best values, the limits that stand against each other are named. And a rule of mixing
(no more water than the powders hold, no more sand than the binder carries) stands for every design. A caster
who hears "no blend" and has cast one that breaks such a rule is owed the rule's name.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.candidate import Candidate
from optimizer.engine.chance_constraints import surest_blends
from optimizer.engine.chance_rows import ChanceQuestion
from optimizer.engine.grid_search import GridSearch
from optimizer.engine.search_state import Question
from optimizer.engine.swap_search import best_mixes
from optimizer.job import Limit
from optimizer.problem import Problem
from optimizer.property_model.predict import PREDICTORS, cast_of
from optimizer.solution import Relaxation
from optimizer.studies.explain import moved, step_of
from optimizer.studies.under_doubt import judged_limits
from optimizer.verdict.assess import assess, held_and_cost, is_open

Array = NDArray[np.float64]

_TURNS, _SAVED = 4, 0.02
"""Most walks to a surer blend, and the share of the steps that one must save for another [-]."""

_TRIES, _MORE = 4, 0.3
"""Times that a change is designed with, and the steps put on first, doubled each time: scales round."""

_EVEN = 0.5
"""Least chance counted for, as a design asks that limits hold at best values whatever the chance [-]."""

_SPARE = 0.005
"""Chance counted beyond the one asked for, which rounding to the scale's steps takes again [-]."""

_LIFTED: Final[Mapping[str, Mapping[str, float]]] = {
    "no more water than the powders hold, or grains settle and the face bleeds": {"water_ceiling": 3.0},
    "no more sand and filler than the binder carries": {
        "sand_ceiling_gypsum": 1.0,
        "sand_ceiling_csa": 1.0,
        "grain_ceiling": 0.9,
        "paste_to_sand": 0.0,
    },
    "no more pigment than a tenth of the binder": {"pigment_ceiling": 1.0},
}
"""Rules, and values of their figures at which they bar nothing."""


@dataclass(frozen=True)
class _Change:
    """Limits to loosen alike, by how many steps, and the blend that needs no more."""

    limits: tuple[Limit, ...]
    steps: float = math.inf
    blend: Candidate | None = None

    def asked(self, problem: Problem) -> Problem:
        """Return the problem with these limits loosened; without them where no number of steps is known."""
        if math.isfinite(self.steps):
            return _with(problem, {x: moved(x, self.steps) for x in self.limits})
        return problem.with_limits([x for x in problem.job.limits if x not in self.limits])


def loosened(
    problem: Problem,
    limits: Sequence[Limit],
    known: Sequence[Candidate],
    designed: Callable[[Problem], float | None],
) -> tuple[Relaxation, ...]:
    """Return for each limit the smallest change that alone lets a blend be sure enough, smallest first.

    Of several limits the smallest equal loosening of all, counted in steps of each, stands last. A margin to
    the heat a wall bears is never loosened below none.

    Parameters
    ----------
    limits
        Which may give.
    known
        Blends met so far.
    designed
        Designs a problem: the expected objective of its blend, None where none is sure enough.
    """
    may = tuple(x for x in limits if x.property != "heat_margin" or x.bound > 0.0)
    groups = [(limit,) for limit in may] + ([may] if len(may) > 1 else [])
    changes = [_Change(group) for group in groups]
    for blend in known:
        changes = _lesser(problem, changes, blend)
    for _ in range(_TURNS):
        before = changes
        changes = _walked(problem, before, known)
        if all(new.steps >= (1.0 - _SAVED) * old.steps for new, old in zip(changes, before, strict=True)):
            break
    told = (_confirmed(problem, change, designed) for change in changes)
    found = [each for each in told if each is not None]
    return tuple(sorted(found, key=lambda each: (len(each.limits), _size(problem, each))))


def steps_needed(problem: Problem, mix: Array) -> Array:
    """Return by how many of its steps each of the job's limits must give for a mix to hold it in each draw.

    Shape (draws, limits) [count], 0 where a limit holds, infinite where no step is enough. Limits that stand
    outside the joint chance count at best values.

    Parameters
    ----------
    mix
        Shape (n + 1,) [kg/L].
    """
    samples = problem.samples.printed
    held, cost = assess(problem, mix).held, held_and_cost(problem, mix)[1]
    drawn = samples.cast(problem.conditions, mix[None, :])
    plain = cast_of(problem.model, problem.conditions, mix[None, :])
    out = np.zeros(held.shape)
    for k, limit in enumerate(problem.job.limits):
        left_open = is_open(problem, limit)
        if limit.property == "cost":
            value = np.full(1, np.inf) if cost is None else cost
        else:
            value = np.ravel(PREDICTORS[limit.property](plain if left_open else drawn))
        way = 1.0 if limit.sense == "<=" else -1.0
        over = np.nan_to_num(way * (value - limit.bound) / step_of(limit), nan=np.inf, posinf=np.inf)
        out[:, k] = np.where(held[:, k] & (not left_open), 0.0, np.maximum(over, 0.0))
    return out


def _lesser(problem: Problem, changes: Sequence[_Change], blend: Candidate) -> list[_Change]:
    """Return the changes with this blend where it needs fewer steps."""
    needed = steps_needed(problem, blend.mix)
    share = min(max(problem.job.confidence, _EVEN) + _SPARE, 1.0)
    place = math.ceil(share * len(needed)) - 1
    out = []
    for change in changes:
        may = np.array([x in change.limits for x in problem.job.limits])
        held = (needed[:, ~may] == 0.0).all(axis=1)
        steps = float(np.sort(np.where(held, needed[:, may].max(axis=1), np.inf))[place])
        out.append(_Change(change.limits, steps, blend) if steps < change.steps else change)
    return out


def _walked(problem: Problem, changes: Sequence[_Change], known: Sequence[Candidate]) -> list[_Change]:
    """Return the changes after a walk of each to the surest blend with so much loosened.

    It starts from the blend that needs the least loosening, or from those known.
    """
    questions = []
    for change in changes:
        asked = change.asked(problem)
        near = tuple(known) if change.blend is None else (change.blend,)
        questions.append(ChanceQuestion(asked, judged_limits(asked), problem.job.confidence, near=near))
    out = list(changes)
    for blend in surest_blends(questions):
        if blend is not None:
            out = _lesser(problem, out, blend.candidate)
    return out


def _confirmed(
    problem: Problem, change: _Change, designed: Callable[[Problem], float | None]
) -> Relaxation | None:
    """Return a change rounded outward to what a caster would type, with what a design with it answers."""
    if not math.isfinite(change.steps):
        return None
    for turn in range(_TRIES):
        steps = change.steps + (2**turn - 1) * _MORE
        new = {x: _typed(x, moved(x, steps)) for x in change.limits}
        if any(x.property == "heat_margin" and x.bound < 0.0 for x in new.values()):
            return None
        value = designed(_with(problem, new))
        if value is not None:
            return Relaxation(tuple(new.values()), value)
    return None


def _with(problem: Problem, new: Mapping[Limit, Limit]) -> Problem:
    """Return the problem with some limits in place of others."""
    return problem.with_limits([new.get(x, x) for x in problem.job.limits])


def _typed(old: Limit, new: Limit) -> Limit:
    """Round a loosened bound outward to a tenth of its step, whole steps of classes and counts."""
    digit = step_of(old) * (1.0 if old.property in ("damp_risk", "sealer_coats") else 0.1)
    way = math.ceil if new.sense == "<=" else math.floor
    slack = -1e-9 if new.sense == "<=" else 1e-9
    return replace(new, bound=round(way(new.bound / digit + slack) * digit, 10))


def _size(problem: Problem, change: Relaxation) -> float:
    """Return the largest relative change of a bound."""
    old = {(x.property, x.sense): x.bound for x in problem.job.limits}
    sizes = [abs(x.bound - old[x.property, x.sense]) / max(abs(x.bound), 1.0) for x in change.limits]
    return max(sizes)


def conflict_of(problem: Problem, grid: GridSearch | None = None) -> tuple[Limit, ...]:
    """Return limits that no blend meets together though any of them left out would help (deletion filter)."""
    kept = list(problem.job.limits)
    for limit in problem.job.limits:
        rest = [x for x in kept if x != limit]
        found = _found(problem.with_limits(rest), grid, first=True)
        if found is None or not found.feasible:
            kept = rest
    return tuple(kept)


def _found(problem: Problem, grid: GridSearch | None, *, first: bool = False) -> Candidate | None:
    """Return the best blend at best values, or the first one that holds."""
    return best_mixes([Question(problem, first=first)], grid)[0].best


def barring_rules(problem: Problem) -> tuple[str, ...]:
    """Return the rules of mixing any one of which keeps out blends that meet the limits at best values.

    Parameters
    ----------
    problem
        A job without such a blend.
    """
    questions = [Question(_without(problem, figures), first=True) for figures in _LIFTED.values()]
    found = [best_mixes([question])[0] for question in questions]
    return tuple(rule for rule, each in zip(_LIFTED, found, strict=True) if each.holds)


def _without(problem: Problem, figures: Mapping[str, float]) -> Problem:
    lifted = {name: np.asarray(value) for name, value in figures.items()}
    return replace(problem, model=replace(problem.model, constants={**problem.model.constants, **lifted}))
