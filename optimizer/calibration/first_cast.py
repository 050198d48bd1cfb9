"""What to cast first of a powder nobody has cast: which reading takes most off the uncertainty about it."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from optimizer.calibration.next_trial import NextTrial, next_trial
from optimizer.calibration.standard_trial import grams_of
from optimizer.job import Job, Limit, Shop, Vessel
from optimizer.materials import Catalogue
from optimizer.problem import problem_of
from optimizer.studies.check import check

__all__ = ["first_cast"]

_BINDER: Final = "gypsum_cement"
_SHARE: Final = 0.3
_CAVITY: Final = 215.0
_ASKED: Final = {
    "demold_time": "<=",
    "working_window": ">=",
    "wet_strength": ">=",
    "dry_strength": ">=",
    "dry_mass": "<=",
    "whiteness": ">=",
}


def first_cast(name: str, catalogue: Catalogue) -> tuple[NextTrial, Job, dict[str, float]]:
    """Return the first cast of a powder, the job it is thought for, and what to weigh.

    A binder is cast alone, any other powder in `gypsum_cement`. Each property is asked about at its best
    value, where it is as open as it can be.

    Parameters
    ----------
    name : str
        The powder [-].
    catalogue : Catalogue
        Materials, this one among them.

    Returns
    -------
    tuple[NextTrial, Job, dict[str, float]]
        The cast and its readings, the job, and masses for three vessels' worth of slurry [g].
    """
    alone = catalogue[name].role == "binder"
    blend = {name: 1.0} if alone else {_BINDER: 1.0 - _SHARE, name: _SHARE}
    job = Job(f"First cast of {name}", "-", tuple(blend), Vessel(_CAVITY), Shop(), objective="dry_mass")
    seen = check(job, blend, catalogue)
    limits = tuple(
        Limit(prop, sense, seen.properties[prop].value)
        for prop, sense in _ASKED.items()
        if prop in seen.properties
    )
    job = replace(job, limits=limits)
    problem = problem_of(job, catalogue)
    found = next_trial(problem, check(job, blend, catalogue))
    what = "the powder alone" if alone else f"the powder in {_BINDER}"
    found = replace(found, cast=replace(found.cast, name=what), others=())
    return found, job, grams_of(problem, found.cast, 3.0 * _CAVITY * (1.0 + job.shop.waste))
