"""Whole questions in one call, for a notebook: a job and a catalogue in, a record out.

`optimizer.design` and `optimizer.check` are such questions as they stand; these three spare the steps
between a job file, a trial book and the studies.
"""

from __future__ import annotations

import datetime as dt
import warnings
from collections.abc import Sequence
from pathlib import Path

from optimizer.calibration.fit import Fit
from optimizer.calibration.fit import calibrate as fit_trials
from optimizer.calibration.readings import studio_of
from optimizer.errors import Fault, FileFaults
from optimizer.job import Job
from optimizer.materials import Catalogue
from optimizer.problem import problem_of
from optimizer.property_model.parameters import ParameterSet
from optimizer.studies.frontier import Frontier
from optimizer.studies.frontier import frontier as trade
from optimizer.studies.order_blends import OrderAnswer, plan_blends, shop_request
from optimizer.trials.book import TrialBook


def frontier(
    job: Job,
    catalogue: Catalogue,
    over: Sequence[str],
    points: int = 60,
    parameters: ParameterSet | None = None,
    *,
    proof_seconds: float = 0.0,
) -> Frontier:
    """Return the blends none of which is beaten in two or three quantities at once.

    Parameters
    ----------
    job, catalogue, parameters
        As for `optimizer.design`.
    over
        Names of two or three quantities; the first is made best at each level of the others.
    points
        About how many blends to solve for [count].
    proof_seconds
        Time for the proof of each blend that is kept [s]; 0 leaves proofs out.

    Raises
    ------
    NoBlend
        If no blend meets the limits at all.
    ValueError
        If `over` names anything that cannot be traded.
    """
    return trade(problem_of(job, catalogue, parameters), over, points, proof_seconds=proof_seconds)


def order(
    job: Job,
    catalogue: Catalogue,
    vessels: int,
    due: dt.date,
    start: dt.date | None = None,
    *,
    molds: int | None = None,
    parameters: ParameterSet | None = None,
    trial: bool = True,
) -> OrderAnswer:
    """Return the plans of an order for the blends worth looking at: days, molds and bags to buy.

    Parameters
    ----------
    job, catalogue, parameters
        As for `optimizer.design`; the job needs the shop and a price for every material.
    vessels
        Good vessels ordered [count].
    due, start
        Last day they may leave, and first day of casting; default of `start`: today.
    molds
        Molds owned [count]; default: those of the job.
    trial
        Whether a blend never cast is cast and burned before the order.

    Raises
    ------
    FileFaults
        All faults of the order.
    """
    request = shop_request(job, vessels, start or dt.date.today(), due, molds)
    return plan_blends(job, catalogue, request, parameters, trial=trial)


def calibrate(book: Path | str, catalogue: Catalogue, job: Job | None = None) -> Fit:
    """Return what the trials of a book say about the figures.

    Give ``parameter_set(fit.calibration, catalogue, job.materials)`` to a question as its `parameters`
    to have it answered with what was learned.

    Parameters
    ----------
    book
        File of the trial book.
    catalogue
        Materials and figures: what is known before any trial.
    job
        Names the shop and the vessel behind the trials; without it a shop's defaults stand and test burns
        teach nothing.

    Raises
    ------
    FileFaults
        If there is no such file.
    BookError
        If the file is not a trial book that can be read.
    NoVerdict
        If no trial holds a reading that can be used.
    """
    path = Path(book)
    if not path.exists():
        repair = "Name the file of the book, or begin one: vesselblend trials add"
        raise FileFaults([Fault(str(path), "no such file", "a trial book", repair)])
    kept = TrialBook(path)
    damaged = kept.damaged()
    if damaged:
        warnings.warn(f"damaged in the book and left out: {', '.join(damaged)}", stacklevel=2)
    return fit_trials(kept.trials(), catalogue, None if job is None else studio_of(job))
