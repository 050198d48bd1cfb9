"""From a book of trials to figures that agree with it: `calibrate` is the whole path.

A calibration always starts from the shipped figures and takes all trials at once, in order of date and
id. To take a trial out and fit again is therefore to be back where one was before it, to the last digit.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from optimizer.calibration.bags import Effect, own_parts
from optimizer.calibration.leave_out import LeftOut, Unexplained, left_out, unexplained
from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.observe import Evidence, observe
from optimizer.calibration.outliers import FLAG
from optimizer.calibration.readings import Reading, Studio
from optimizer.calibration.record import (
    Bag,
    Calibration,
    Flagged,
    Learned,
    figure_spread,
    priors_fingerprint,
    version,
)
from optimizer.calibration.task import Task
from optimizer.calibration.update import Settled, pulls, update
from optimizer.errors import NoVerdict
from optimizer.materials import Catalogue
from optimizer.property_model.parameters import Parameter
from optimizer.property_model.strength import LONGEST
from optimizer.tables import data_frame
from optimizer.trials.records import Trial

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Fit", "Seen", "calibrate"]

Array = NDArray[np.float64]

_WORSE: Final = 0.2
"""Loss of a reading's agreement that is told, over its error [-]: less does not show beside the error."""

_BEYOND: Final = 0.05
"""The same for a bound that is missed: its error is wide, and a move further beyond it looks like a fault."""

_PULLED: Final = 0.2
"""Part of a move that a reading must have made to be named for it [-]."""

_NAMED: Final = 3
"""Most readings named for one move [count]."""

_TAUGHT: Final = 0.05
"""A trial has taught a parameter when, alone, it would cut its variance by this much [-]."""


@dataclass(frozen=True)
class Seen:
    """One reading beside what the chain expects of it.

    Attributes
    ----------
    reading : Reading
        What was read.
    before, after : float
        Expected with the shipped and with the fitted figures [unit of the reading]; of a time out of the
        mold, which is a bound, the earliest that is expected.
    distance : float
        Standard errors from what all other batches say [-].
    flagged : bool
        True beyond 3.5 of them.
    trust : float
        Weight it was used with [-].
    levels : tuple[float, float]
        Expected before and after on the scale of the fit [of the log, or the unit]; of a time out of the mold
        that is never expected, more than the longest by as much as strength is short.
    pulled : tuple[Reading, ...]
        Where the fit took the expectation further from the reading: the readings that pulled it there, the
        hardest first.
    """

    reading: Reading
    before: float
    after: float
    distance: float
    flagged: bool
    trust: float
    levels: tuple[float, float]
    pulled: tuple[Reading, ...] = ()

    @property
    def worse(self) -> bool:
        """True when the fit took the expectation further off, by a fifth of the reading's error or more.

        A bound is missed only on its wrong side, and there a twentieth is told.
        """
        before, after = map(self._off, self.levels)
        return after > before + (_BEYOND if self.reading.side else _WORSE)

    @property
    def enough(self) -> tuple[float, float]:
        """Most strength ever expected over what demolding needs, before and after; 1 where enough [-]."""
        before, after = (math.exp(min(math.log(LONGEST) - level, 0.0)) for level in self.levels)
        return before, after

    def _off(self, level: float) -> float:
        """Return how far an expectation on the scale of the fit misses the reading, over its error [-]."""
        reading = self.reading
        gap = level - reading.fitted
        # at least (1) is missed from below and at most (-1) from above
        missed = abs(gap) if reading.side == 0 else max(-reading.side * gap, 0.0)
        return missed / math.hypot(reading.error, KINDS[reading.kind].batch)


@dataclass(frozen=True)
class Fit:
    """A calibration with the readings it rests on.

    Attributes
    ----------
    calibration : Calibration
        What is kept.
    evidence : Evidence
        Trials and readings used, and what could not be used.
    seen : tuple[Seen, ...]
        Every reading beside what was expected.
    left_out : tuple[LeftOut, ...]
        How well each kind of reading is predicted from all other casts; empty with one cast.
    unexplained : tuple[Unexplained, ...]
        Casts that nothing explains.
    """

    calibration: Calibration
    evidence: Evidence
    seen: tuple[Seen, ...]
    left_out: tuple[LeftOut, ...] = ()
    unexplained: tuple[Unexplained, ...] = ()

    def table(self) -> pd.DataFrame:
        """Return every reading, one a row: what was expected before and after, and what was seen."""
        rows = (
            {"trial": one.reading.trial, "reading": one.reading.kind, "seen": one.reading.value}
            | {"before": one.before, "after": one.after, "flagged": one.flagged}
            for one in self.seen
        )
        return data_frame(rows)

    def _repr_html_(self) -> str:
        """Return the calibration for a notebook."""
        return self.calibration._repr_html_()


def calibrate(
    trials: Iterable[Trial], catalogue: Catalogue, studio: Studio | None = None, date: dt.date | None = None
) -> Fit:
    """Return the figures that agree best with priors and trials, with the doubt left.

    Parameters
    ----------
    trials
        Records, in any order.
    catalogue
        Materials and figures as shipped or stated: what is known before any trial.
    studio
        Shop and vessel behind the trials.
    date
        Day of the calibration; default: that of the newest trial used.

    Raises
    ------
    NoVerdict
        If no trial holds a reading that can be used.

    Notes
    -----
    Spreads of figures are those of the specs, errors of readings those of `lab_errors`; what the laws lack
    is learned beside the figures, see `process`. Gauss-Newton on the fitted scale and Laplace's
    approximation, see `update`.
    """
    evidence = observe(trials, catalogue, studio)
    if not evidence.readings:
        raise NoVerdict("no trial holds a reading that can be used: " + _why(evidence))
    task = Task(evidence)
    settled = update(task.measured, task.slopes, task.unknowns)
    day = evidence.trials[-1].date if date is None else date
    fit = Fit(_calibration(task, settled, day), evidence, _seen(task, settled))
    if len(evidence.trials) < 2:
        return fit
    return replace(fit, left_out=left_out(task, settled), unexplained=unexplained(task, settled))


def _why(evidence: Evidence) -> str:
    reasons = dict.fromkeys(unused.reason for unused in evidence.unused)
    return "; ".join(reasons) or "the book is empty"


def _calibration(task: Task, settled: Settled, day: dt.date) -> Calibration:
    evidence = task.evidence
    count, processes = len(task.active), task.processes(settled.point)
    kept = np.r_[0:count, task.first_process : task.first_process + len(processes)]
    spreads = np.concatenate([task.common.spreads[task.active], np.ones(len(processes))])
    covariance = settled.covariance[np.ix_(kept, kept)] * np.outer(spreads, spreads)
    own = own_parts(task.all_effects)
    covariance[:count, :count] += np.diag([own.get(task.prior.names[k], 0.0) ** 2 for k in task.active])
    deviations = np.sqrt(np.diag(covariance))
    centers = task.fitted(settled.point)[task.active]
    taught = _trials_behind(task, settled)
    learned = [
        _learned(task.prior.items[k], center, spread, trials)
        for k, center, spread, trials in zip(task.active, centers, deviations[:count], taught, strict=True)
    ]
    learned += [
        Learned(name, False, 0.0, 1.0, float(value), float(spread), 0)
        for (name, value), spread in zip(processes.items(), deviations[count:], strict=True)
    ]
    return Calibration(
        date=day,
        version=version(),
        priors=priors_fingerprint(evidence.catalogue, evidence.names),
        trials=tuple(trial.id for trial in evidence.trials),
        materials=evidence.names,
        learned=tuple(learned),
        correlation=covariance / np.outer(deviations, deviations),
        taught=task.discrepancy.taught,
        supports=task.discrepancy.supports,
        flagged=_flagged(task, settled),
        bags=_bags(task, settled),
    ).rounded()


def _learned(prior: Parameter, center: float, spread: float, trials: int) -> Learned:
    return Learned(prior.name, prior.log, prior.center, prior.spread, float(center), float(spread), trials)


def _trials_behind(task: Task, settled: Settled) -> list[int]:
    """Return how many trials have something to say about each active parameter."""
    count = len(task.active)
    worth = (settled.design[:, :count] / np.hypot(task.measured.error, task.measured.shared)[:, None]) ** 2
    worth = worth * settled.weights[task.measured.blocks.of_row][:, None]
    by_trial = np.zeros((len(task.evidence.trials), count))
    np.add.at(by_trial, task.where, worth)
    return [int(n) for n in np.sum(by_trial / (1.0 + by_trial) > _TAUGHT, axis=0)]


def _seen(task: Task, settled: Settled) -> tuple[Seen, ...]:
    weights = settled.weights[task.measured.blocks.of_row]
    before, after = task.demold_times(np.zeros(task.unknowns)), task.demold_times(settled.point)
    seen = tuple(
        Seen(
            reading,
            _natural(reading, task.at_prior[row], before),
            _natural(reading, settled.level[row], after),
            float(settled.distance[row]),
            bool(abs(settled.distance[row]) > FLAG),
            float(weights[row]),
            (float(task.at_prior[row]), float(settled.level[row])),
        )
        for row, reading in enumerate(task.readings)
    )
    moves = pulls(task.measured, settled)
    return tuple(
        replace(one, pulled=_pulled(task, one, row, moves)) if one.worse else one
        for row, one in enumerate(seen)
    )


def _pulled(task: Task, one: Seen, row: int, moves: Callable[[int], Array]) -> tuple[Reading, ...]:
    """Return the readings that took the expectation of a row where it went, the hardest first."""
    before, after = one.levels
    along = moves(row) * (1.0 if after > before else -1.0)
    along[row] = 0.0
    order = np.argsort(-along, kind="stable")[:_NAMED]
    least = _PULLED * max(float(along[along > 0.0].sum()), 0.0)
    return tuple(task.readings[k] for k in order if along[k] > 0.0 and along[k] >= least)


def _natural(reading: Reading, level: float, demold: Array) -> float:
    if reading.kind == "demold":
        return float(demold[reading.place])
    return math.exp(level) if KINDS[reading.kind].log else float(level)


def _flagged(task: Task, settled: Settled) -> tuple[Flagged, ...]:
    return tuple(
        Flagged(reading.trial, KINDS[reading.kind].words, reading.value, float(distance))
        for reading, distance in zip(task.readings, settled.distance, strict=True)
        if abs(distance) > FLAG
    )


def _bags(task: Task, settled: Settled) -> tuple[Bag, ...]:
    """Return each lot's own factor; the units of a bag's parameters are spreads of the binder's figures."""
    count = len(task.active)
    deviations = np.sqrt(np.diag(settled.covariance))
    own = own_parts(task.all_effects)
    return tuple(
        _bag(task, placed.effect, own[placed.effect.parameter], settled.point[k], deviations[k])
        for k, placed in enumerate(task.effects, start=count)
        if placed.effect.lot
    )


def _bag(task: Task, effect: Effect, own: float, point: float, deviation: float) -> Bag:
    material, _, factor = effect.parameter.rpartition(".")
    scale = own * figure_spread(task.evidence.catalogue, material, factor)
    return Bag(material, effect.lot, factor, math.exp(scale * point), scale * float(deviation))
