"""The next trial: the cast that is worth most in money, and what it takes off the doubt about the limits.

A cast is worth what its blend may save on the vessels planned, at its chance to hold, less what the cast
costs (`optimizer.studies.trial_worth`). Where nothing has a price, the cast that takes most doubt off the
limits is named. Doubt is counted at the blend to be decided on, limit by limit, and a limit counts by how
open it is: one that is sure to hold, or sure to fail, is no reason to cast.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.observe import Evidence, expected, observe
from optimizer.calibration.readings import Studio
from optimizer.calibration.standard_trial import DAY, standard_trial
from optimizer.errors import NoBlend, NoVerdict
from optimizer.job import Limit
from optimizer.nomenclature import QUANTITIES
from optimizer.problem import Problem, limit_rows, row_scale
from optimizer.property_model.predict import cast_of
from optimizer.property_model.samples import Perturbations, perturbations_of
from optimizer.solution import DESIGNED, Solution, TrialWorth
from optimizer.studies.trial_candidates import Candidate, candidates
from optimizer.studies.trial_worth import most_worth
from optimizer.units import significant
from optimizer.verdict.assess import assess, is_open

__all__ = ["Fall", "NextTrial", "next_trial"]

Array = NDArray[np.float64]

_NEARLY_AS_GOOD: Final = 0.95
_OPEN: Final = 0.04
"""4 p (1 - p) of a limit below which it is as good as decided [-]: a chance of 99 or 1 %."""

_STOP: Final = "No cast is worth its cost: cast the design, or stop testing. "

_TOLD_APART: Final = 1.5
"""Two figures are told apart where they differ by this many of the last digit [-]."""

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
class Fall:
    """How far a cast takes the doubt about one limit down.

    Attributes
    ----------
    limit : Limit
        The limit.
    before, after : float
        Standard error of its property at the blend to be decided on, now and after the trial
        [relative, or the property's unit].
    relative : bool
        True when `before` and `after` are relative.
    """

    limit: Limit
    before: float
    after: float
    relative: bool

    def sizes(self) -> tuple[str, str]:
        """Return both doubts as text, with the digits it takes to tell them apart.

        Examples
        --------
        >>> Fall(Limit("dry_mass", "<=", 380.0), 0.0113, 0.0091, True).sizes()
        ('1.1 %', '0.9 %')
        >>> Fall(Limit("whiteness", ">=", 88.0), 2.0, 1.1, False).sizes()
        ('2.0', '1.1')
        """
        scale, word = self._scale()
        values = (scale * self.before, scale * self.after)
        for places in range(0 if self.relative else 1, 4):
            now, then = (f"{value:.{places}f}{word}" for value in values)
            if abs(values[0] - values[1]) > _TOLD_APART * 10.0**-places:
                break
        return now, then

    def size(self) -> str:
        """Return the doubt now as text."""
        scale, word = self._scale()
        return f"{significant(scale * self.before, 2)}{word}"

    def _scale(self) -> tuple[float, str]:
        unit = QUANTITIES[self.limit.property].unit
        return (100.0, " %") if self.relative else (1.0, "" if unit in ("-", "class") else f" {unit}")


@dataclass(frozen=True)
class NextTrial:
    """The cast to make next, and what it is good for.

    Attributes
    ----------
    cast : Candidate
        What to cast.
    falls : tuple[Fall, ...]
        How far doubt falls, limit by limit, the one whose doubt weighs most first.
    share : float
        Part of all the doubt, as variance, that the trial takes away [-].
    alone : Mapping[str, float]
        Kind of reading to the part that it would take away alone, most first [-].
    others : tuple[tuple[Candidate, float], ...]
        The other casts looked at with their share, best first.
    open : bool
        False when no limit is in real doubt.
    early : float
        Age at which to test the strength of a piece never dried [min].
    worth : TrialWorth | None
        What the cast is worth; None where a material has no price.
    sure : bool
        True when the blend to be decided on is as sure as the job asks.
    """

    cast: Candidate
    falls: tuple[Fall, ...]
    share: float
    alone: Mapping[str, float]
    others: tuple[tuple[Candidate, float], ...]
    open: bool
    early: float = DAY
    worth: TrialWorth | None = None
    sure: bool = True

    @property
    def stop(self) -> bool:
        """True when no cast is worth its cost: cast the design, or stop testing."""
        return self.sure and self.worth is not None and not self.worth.pays

    @property
    def limit(self) -> Limit:
        """The limit whose doubt weighs most."""
        return self.falls[0].limit

    @property
    def before(self) -> float:
        """Standard error of that limit's property now [relative, or the property's unit]."""
        return self.falls[0].before

    @property
    def after(self) -> float:
        """The same after the trial."""
        return self.falls[0].after

    @property
    def relative(self) -> bool:
        """True when `before` and `after` are relative."""
        return self.falls[0].relative

    def sentence(self, labels: Mapping[str, str] | None = None) -> str:
        """Return why, and how far the doubt will fall; `labels` are the trade names of the materials."""
        labels = labels or {}
        row = QUANTITIES[self.limit.property]
        now, then = self.falls[0].sizes()
        parts = ", ".join(
            f"{_percent(share)} % {labels.get(name, name)}" for name, share in self.cast.blend.items()
        )
        lead = f"Cast {self.cast.name} ({parts}; water ratio {self.cast.water_ratio:.3f})"
        if self.stop:
            return f"{_STOP}If you cast at all: {lead[0].lower()}{lead[1:]}."
        if self.worth is not None:
            return f"{lead}: {self._worth_words(self.worth)}"
        fall = f"the doubt about {row.label} falls from {now} to {then} (one standard error)"
        if not self.open:
            return f"No limit is in real doubt. If you cast at all: {lead[0].lower()}{lead[1:]}; {fall}."
        told = f"it reduces the uncertainty of the limits still open by {100.0 * self.share:.0f} %"
        return f"{lead}: {told}; {fall}."

    def _worth_words(self, worth: TrialWorth) -> str:
        holds = (
            f"it holds all limits {_odds(worth.chance)}, and a vessel then costs {worth.cost_if_it_holds:.2f}"
        )
        if not worth.pays:
            return f"{holds}. No blend is sure enough yet, and no other cast is worth more."
        than = "today's design" + ("" if self.sure else " with the casts it takes to be sure of it")
        return (
            f"{holds}, {worth.saves:.2f} less than {than}. The cast costs "
            f"{significant(worth.trial_cost, 2)} and is worth {significant(worth.worth, 2)} more than that "
            f"over {worth.vessels:.0f} vessels; it pays from {worth.pays_from_vessels:.0f} vessels on."
        )


def _percent(share: float) -> str:
    """Return whole percents, and of a trace two digits."""
    return f"{100.0 * share:.0f}" if share >= 0.01 else significant(100.0 * share, 2)


def _odds(chance: float) -> str:
    """Return a chance as a caster says it.

    Examples
    --------
    >>> _odds(0.41), _odds(0.83)
    ('2 times in 5', '5 times in 6')
    """
    parts = min(range(2, 11), key=lambda n: (abs(round(chance * n) / n - chance) > 0.02, n))
    times = min(max(round(chance * parts), 1), parts)
    return f"{times} times in {parts}" if times > 1 else f"once in {parts}"


def next_trial(problem: Problem, solution: Solution) -> NextTrial:
    """Return the cast that is worth most, or without prices the one that takes most doubt off the decision.

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
    moves = perturbations_of(problem.catalogue, problem.names, problem.parameters)
    target = np.array(solution.mix.per_liter)
    rows = _rows(problem, moves, target)
    if not rows:
        raise NoVerdict("no limit of this job can be told more about by a cast")
    weights = _openness(problem, rows, target)
    casts = list(candidates(problem, solution.mix, solution.alternatives))
    taken = [_taken(problem, moves, rows, cast) for cast in casts]
    score = [float(weights @ (part / rows.spreads**2)) / float(weights.sum()) for part in taken]
    best = int(np.argmax(score))
    if score[0] >= _NEARLY_AS_GOOD * score[best]:
        best = 0
    worth = None
    if found := most_worth(problem, target, casts):
        best, worth = found
    alone = {
        kind: float(weights @ (part / rows.spreads**2)) / float(weights.sum())
        for kind, part in _taken_alone(problem, moves, rows, casts[best]).items()
    }
    answer = _answer(rows, weights, casts, score, taken, best, alone)
    sure = solution.status == DESIGNED
    return replace(answer, early=_early(problem), worth=worth, sure=sure)


@dataclass(frozen=True, eq=False)
class _Rows:
    """Limits in doubt at the blend to be decided on: slopes per spread, and spreads."""

    limits: tuple[Limit, ...]
    slopes: Array
    spreads: Array

    def __bool__(self) -> bool:
        return len(self.limits) > 0


def _rows(problem: Problem, moves: Perturbations, target: Array) -> _Rows:
    moved = cast_of(moves.model, problem.conditions, target[None, :])
    half = len(moves.names)
    limits: list[Limit] = []
    slopes: list[Array] = []
    for limit in problem.job.limits:
        if limit.property == "cost" or is_open(problem, limit):
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


def _openness(problem: Problem, rows: _Rows, target: Array) -> Array:
    """Return how open each row is: 1 for an even chance, 0 for certainty."""
    chances = assess(problem, target).probabilities
    return np.array([4.0 * chances[limit] * (1.0 - chances[limit]) + 1e-9 for limit in rows.limits])


def _taken(problem: Problem, moves: Perturbations, rows: _Rows, cast: Candidate) -> Array:
    """Return the variance that a cast takes off each row."""
    readings = _read(problem, moves, cast)
    return _off(moves, rows, readings.slopes, readings.errors)


def _taken_alone(problem: Problem, moves: Perturbations, rows: _Rows, cast: Candidate) -> dict[str, Array]:
    """Return what each kind of reading of a cast would take off each row if it were the only one."""
    readings = _read(problem, moves, cast)
    kinds = np.array(readings.kinds)
    out = {}
    for kind in dict.fromkeys(readings.kinds):
        one = kinds == kind
        out[kind] = _off(moves, rows, readings.slopes[:, one], readings.errors[np.ix_(one, one)])
    return out


@dataclass(frozen=True, eq=False)
class _Readings:
    """Readings of one cast: kinds, slopes per spread of each parameter, covariance of their errors."""

    kinds: tuple[str, ...]
    slopes: Array
    errors: Array


def _read(problem: Problem, moves: Perturbations, cast: Candidate) -> _Readings:
    evidence = observe(
        [standard_trial(cast, _early(problem))], problem.catalogue, Studio(shop=problem.job.shop)
    )
    evidence = replace(evidence, names=problem.names)
    values = expected(evidence, moves.model)
    half = len(moves.names)
    slopes = (values[half:] - values[:half]) / 2.0
    seen = np.all(np.isfinite(slopes), axis=0)
    kinds = tuple(reading.kind for reading, used in zip(evidence.readings, seen, strict=True) if used)
    return _Readings(kinds, slopes[:, seen], _errors(evidence)[np.ix_(seen, seen)])


def _off(moves: Perturbations, rows: _Rows, slopes: Array, errors: Array) -> Array:
    spread = slopes.T @ moves.correlation @ slopes + errors
    shared = slopes.T @ moves.correlation @ rows.slopes.T
    return np.asarray(np.sum(shared * np.linalg.solve(spread, shared), axis=0))


def _early(problem: Problem) -> float:
    """Crush the early cube when the castings are to leave their molds."""
    limit = problem.limit("demold_time", "<=")
    return DAY if limit is None else limit.bound


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
    alone: Mapping[str, float],
) -> NextTrial:
    gain = weights * taken[best] / rows.spreads**2
    order = sorted((k for k in range(len(casts)) if k != best), key=lambda k: -score[k])
    return NextTrial(
        cast=casts[best],
        falls=tuple(_fall(rows, taken[best], k) for k in np.argsort(-gain, kind="stable")),
        share=score[best],
        alone=dict(sorted(alone.items(), key=lambda item: -item[1])),
        others=tuple((casts[k], score[k]) for k in order),
        open=bool(weights.max() > _OPEN),
    )


def _fall(rows: _Rows, taken: Array, row: int) -> Fall:
    limit, before = rows.limits[row], float(rows.spreads[row])
    after = float(np.sqrt(max(before**2 - taken[row], 0.0)))
    relative = limit.property not in _PLAIN
    size = 1.0 if relative else row_scale(limit.property, limit.bound)
    return Fall(limit, size * before, size * after, relative)
