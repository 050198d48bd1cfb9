"""The next trial: the one cast that takes most doubt off the limits the decision hangs on.

Doubt is counted at the blend to be decided on, limit by limit, and a limit counts by how open it is: one
that is sure to hold, or sure to fail, is no reason to cast. Often the best trial is the blend itself.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.calibration.lab_errors import KINDS
from optimizer.calibration.observe import Evidence, expected, observe
from optimizer.calibration.readings import Studio
from optimizer.chain.body import per_liter
from optimizer.chain.predict import cast_of
from optimizer.chain.spreads import Moves
from optimizer.errors import NoBlend, NoVerdict
from optimizer.limit_rows import limit_rows, row_scale
from optimizer.nomenclature import QUANTITIES
from optimizer.problem import Problem
from optimizer.shop import Limit
from optimizer.solution import Alternative, Solution, WeighedMix
from optimizer.trials.records import Portion, Strength, Trial, Weighing
from optimizer.verdict.confidence import Doubt, nominal_only

__all__ = ["Candidate", "NextTrial", "next_trial", "standard_trial"]

Array = NDArray[np.float64]

_DAY: Final = 1440.0
_NEARLY_AS_GOOD: Final = 0.95
_OPEN: Final = 0.04
"""4 p (1 - p) of a limit below which it is as good as decided [-]: a chance of 99 or 1 %."""

_PLAIN: Final = frozenset(
    {
        "whiteness",
        "casting_peak",
        "outer_wall_temperature",
        "inner_wall_temperature",
        "heat_margin",
        "crystalline_silica",
        "damp_risk",
    }
)
"""Properties whose doubt is said in their unit; that of the others in percent."""


@dataclass(frozen=True)
class Candidate:
    """A cast that might be made.

    Attributes
    ----------
    name : str
        What it is, as a caster says it.
    blend : Mapping[str, float]
        Share of the dry mass by material [-].
    water_ratio : float
        Water per dry mass [-].
    """

    name: str
    blend: Mapping[str, float]
    water_ratio: float


@dataclass(frozen=True)
class NextTrial:
    """The cast to make next, and what it is good for.

    Attributes
    ----------
    cast : Candidate
        What to cast.
    limit : Limit
        The limit whose doubt weighs most.
    before, after : float
        Standard error of that limit's property at the blend to be decided on, now and after the trial
        [relative, or the property's unit].
    relative : bool
        True when `before` and `after` are relative.
    share : float
        Part of all the doubt, as variance, that the trial takes away [-].
    others : tuple[tuple[Candidate, float], ...]
        The other casts looked at with their share, best first.
    open : bool
        False when no limit is in real doubt.
    """

    cast: Candidate
    limit: Limit
    before: float
    after: float
    relative: bool
    share: float
    others: tuple[tuple[Candidate, float], ...]
    open: bool

    def sentence(self) -> str:
        """Return why, and how far the doubt will fall."""
        row = QUANTITIES[self.limit.property]
        unit = "" if row.unit in ("-", "class") else f" {row.unit}"
        now, then = (
            f"{100.0 * size:.0f} %" if self.relative else f"{size:.1f}{unit}"
            for size in (self.before, self.after)
        )
        parts = ", ".join(f"{100.0 * share:.0f} % {name}" for name, share in self.cast.blend.items())
        lead = f"Cast {self.cast.name} ({parts}; water ratio {self.cast.water_ratio:.3f})"
        fall = f"the doubt about {row.label} falls from {now} to {then} (one standard error)"
        if not self.open:
            return f"No limit is in real doubt. If you cast at all: {lead[0].lower()}{lead[1:]}; {fall}."
        casts = f"of {len(self.others) + 1} casts none says clearly more about the limits still open"
        return f"{lead}: {casts}; {fall}."


def next_trial(problem: Problem, solution: Solution) -> NextTrial:
    """Return the cast that takes most doubt off the decision.

    Parameters
    ----------
    problem
        The question, with the parameters as calibrated so far.
    solution
        Its answer: the blend to be decided on.

    Raises
    ------
    NoBlend
        If the answer holds no blend.
    NoVerdict
        If the job has no limit that a cast could tell anything about.

    Notes
    -----
    With ``P`` the covariance of the parameters, ``x`` the slopes of a limit and ``X`` those of the
    readings of a standard trial with errors ``R``, a trial takes ``x' P X' (X P X' + R)^-1 X P x`` off the
    variance of the limit. Limits are weighted by ``4 p (1 - p)``, p the chance that they hold.
    """
    if solution.mix is None:
        raise NoBlend("no blend meets the limits: loosen a limit, or cast what you have and fit again")
    doubt = Doubt(problem)
    target = np.array(solution.mix.per_liter)
    rows = _rows(problem, doubt.moves, target)
    if not rows:
        raise NoVerdict("no limit of this job can be told more about by a cast")
    weights = _openness(problem, doubt, rows, target)
    casts = list(_candidates(problem, solution.mix, solution.alternatives))
    taken = [_taken(problem, doubt.moves, rows, cast) for cast in casts]
    score = [float(weights @ (part / rows.spreads**2)) / float(weights.sum()) for part in taken]
    best = int(np.argmax(score))
    if score[0] >= _NEARLY_AS_GOOD * score[best]:
        best = 0
    return _answer(rows, weights, casts, score, taken, best)


@dataclass(frozen=True, eq=False)
class _Rows:
    """Limits in doubt at the blend to be decided on: slopes per spread, and spreads."""

    limits: tuple[Limit, ...]
    slopes: Array
    spreads: Array

    def __bool__(self) -> bool:
        return len(self.limits) > 0


def _rows(problem: Problem, moves: Moves, target: Array) -> _Rows:
    moved = cast_of(moves.model, problem.bench, target[None, :])
    half = len(moves.names)
    limits: list[Limit] = []
    slopes: list[Array] = []
    for limit in problem.job.limits:
        if nominal_only(problem, limit):
            continue
        for row in limit_rows(limit, moved):
            column = np.broadcast_to(row, (2 * half, 1))[:, 0]
            limits.append(limit)
            slopes.append((column[half:] - column[:half]) / 2.0)
    spreads = [float(moves.spread(slope)) for slope in slopes]
    kept = [k for k, spread in enumerate(spreads) if spread > 1e-9]
    return _Rows(
        tuple(limits[k] for k in kept),
        np.array([slopes[k] for k in kept]).reshape(len(kept), half),
        np.array([spreads[k] for k in kept]),
    )


def _openness(problem: Problem, doubt: Doubt, rows: _Rows, target: Array) -> Array:
    """Return how open each row is: 1 for an even chance, 0 for certainty."""
    cast = cast_of(problem.model, problem.bench, target[None, :])
    chances = doubt.probabilities(rows.limits, doubt.around(cast))
    return np.array([4.0 * chances[limit] * (1.0 - chances[limit]) + 1e-9 for limit in rows.limits])


def _candidates(
    problem: Problem, mix: WeighedMix, alternatives: Iterable[Alternative]
) -> Iterator[Candidate]:
    """Give the blend itself, near ties, every binder alone, and binders half and half."""
    blend = {name: share for name, share in mix.blend.items() if share > 0.0}
    yield Candidate("the designed blend", blend, mix.water_ratio)
    for other in alternatives:
        if other.name == "near tie" and other.blend:
            yield Candidate("a near tie", dict(other.blend), other.water_ratio)
    binders = [k for k in problem.solids if problem.materials[k].role == "binder"]
    for binder in binders:
        yield _at_demand(problem, f"{problem.materials[binder].label} alone", (binder,))
    for pair in combinations(binders, 2):
        labels = " and ".join(problem.materials[k].label for k in pair)
        yield _at_demand(problem, f"{labels} half and half", pair)


def _at_demand(problem: Problem, name: str, parts: Sequence[int]) -> Candidate:
    shares = np.zeros((1, len(problem.names)))
    shares[0, list(parts)] = 1.0 / len(parts)
    mix = per_liter(problem.model, shares)[0]
    return Candidate(
        name, {problem.names[k]: 1.0 / len(parts) for k in parts}, float(mix[-1] / mix[:-1].sum())
    )


def standard_trial(cast: Candidate, early: float = _DAY) -> Trial:
    """Return what a careful caster notes of one batch; the figures are placeholders.

    Wet density, both sets, the mass of one piece out of the mold and at the end, a cube crushed at the
    age `early` [min] and another dry, and the whiteness from a photo.
    """
    return Trial(
        dt.date(2000, 1, 1),
        id="next",
        portions=tuple(Portion(name, 1000.0 * share) for name, share in cast.blend.items()),
        water=1000.0 * cast.water_ratio,
        cavity_volume=200.0,
        fresh_density=1.0,
        initial_set=1.0,
        final_set=1.0,
        whiteness=50.0,
        weighings=(Weighing(0.0, 1.0), Weighing(1.0, 1.0)),
        strengths=(Strength(1.0, early, "wet", method="cube"), Strength(1.0, None, "dry", method="cube")),
    )


def _taken(problem: Problem, moves: Moves, rows: _Rows, cast: Candidate) -> Array:
    """Return the variance that a cast takes off each row."""
    evidence = observe(
        [standard_trial(cast, _early(problem))], problem.catalogue, Studio(shop=problem.job.shop)
    )
    evidence = replace(evidence, names=problem.names)
    values = expected(evidence, moves.model)
    half = len(moves.names)
    slopes = (values[half:] - values[:half]) / 2.0
    seen = np.all(np.isfinite(slopes), axis=0)
    slopes = slopes[:, seen]
    spread = slopes.T @ moves.correlation @ slopes + _errors(evidence)[np.ix_(seen, seen)]
    shared = slopes.T @ moves.correlation @ rows.slopes.T
    return np.asarray(np.sum(shared * np.linalg.solve(spread, shared), axis=0))


def _early(problem: Problem) -> float:
    """Crush the early cube when the castings are to leave their molds."""
    limit = problem.limit("demold_time", "<=")
    return _DAY if limit is None else limit.bound


def _errors(evidence: Evidence) -> Array:
    """Return the covariance of the readings of one trial."""
    kinds = [KINDS[reading.kind] for reading in evidence.readings]
    groups = np.array([kind.group for kind in kinds])
    batch = np.array([kind.batch for kind in kinds])
    own = np.array([reading.error for reading in evidence.readings])
    return np.asarray(np.diag(own**2) + np.outer(batch, batch) * (groups[:, None] == groups))


def _answer(
    rows: _Rows,
    weights: Array,
    casts: Sequence[Candidate],
    score: Sequence[float],
    taken: Sequence[Array],
    best: int,
) -> NextTrial:
    shown = int(np.argmax(weights * taken[best] / rows.spreads**2))
    limit, before = rows.limits[shown], float(rows.spreads[shown])
    after = float(np.sqrt(max(before**2 - taken[best][shown], 0.0)))
    relative = limit.property not in _PLAIN
    size = 1.0 if relative else row_scale(limit.property, limit.bound)
    order = sorted((k for k in range(len(casts)) if k != best), key=lambda k: -score[k])
    return NextTrial(
        cast=casts[best],
        limit=limit,
        before=size * before,
        after=size * after,
        relative=relative,
        share=score[best],
        others=tuple((casts[k], score[k]) for k in order),
        open=bool(weights.max() > _OPEN),
    )
