"""What another vessel or wick does to the heat margin of a mix: worked out for the job, no fixed rule."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.job import Job
from optimizer.job_inputs import Candle
from optimizer.problem import Problem
from optimizer.property_model.conditions import conditions_of
from optimizer.property_model.predict import PREDICTORS, cast_of

Array = NDArray[np.float64]

_THICKER: Final = 2.0
"""Wall that a thicker vessel has more [mm]."""

_WIDER: Final = 10.0
"""Outer diameter that a wider vessel has more [mm]."""

_SMALLER: Final = 0.8
"""What a smaller wick burns of the present one's wax [-]."""


def heat_remedies(problem: Problem, mix: Array) -> Mapping[str, float]:
    """Return the heat margin that each remedy adds to one mix, negative where it makes things worse [K].

    Parameters
    ----------
    problem
        What is asked; without a candle there is nothing to mend.
    mix
        Kilograms per liter, shape (n + 1,) [kg/L].

    Notes
    -----
    Each is the whole estimate worked out again for the changed job. A burn test says nothing of another
    vessel or wick, so the estimate without it is compared.
    """
    candle = problem.job.candle
    if candle is None:
        return {}
    unread = replace(candle, measured_outer=None)
    before = _margin(problem, mix, replace(problem.job, candle=unread))
    return {name: _margin(problem, mix, job) - before for name, job in _changed(problem.job, unread).items()}


def remedy_note(remedies: Mapping[str, float]) -> str:
    """Return the remedies as one sentence, the best first.

    Examples
    --------
    >>> remedy_note({"a wall 2 mm thicker": -0.8, "a smaller wick": 3.06})
    'By estimate the heat margin changes by +3.1 K with a smaller wick, -0.8 K with a wall 2 mm thicker.'
    """
    best = sorted(remedies.items(), key=lambda pair: -pair[1])
    told = ", ".join(f"{change:+.1f} K with {name}" for name, change in best)
    return f"By estimate the heat margin changes by {told}."


def _changed(job: Job, candle: Candle) -> dict[str, Job]:
    vessel = job.vessel
    smaller = replace(candle, burn_rate=_SMALLER * candle.burn_rate)
    wider = replace(vessel, outer_diameter=vessel.outer_diameter + _WIDER)
    jobs = {
        f"a vessel {_WIDER:g} mm wider": replace(job, candle=candle, vessel=wider),
        "a wick that burns a fifth less": replace(job, candle=smaller),
    }
    if vessel.outer_diameter > 2.0 * (vessel.wall + _THICKER) + 1.0:
        thicker = replace(vessel, wall=vessel.wall + _THICKER)
        jobs[f"a wall {_THICKER:g} mm thicker"] = replace(job, candle=candle, vessel=thicker)
    return jobs


def _margin(problem: Problem, mix: Array, job: Job) -> float:
    there = cast_of(problem.model, conditions_of(job), mix[None, :])
    return float(np.ravel(PREDICTORS["heat_margin"](there))[0])
