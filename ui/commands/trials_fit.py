"""``vesselblend trials fit`` and ``next``: what the trials teach, and which one to make next."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ui.commands.shared import NO_BLEND, book_option, job_options
from ui.delivery import Delivery, delivered, say

if TYPE_CHECKING:
    from optimizer.calibration.agreement import Agreement
    from optimizer.calibration.fit import Fit, Seen
    from optimizer.calibration.next_trial import NextTrial
    from optimizer.calibration.record import Calibration, Learned
    from optimizer.calibration.response_surface import Misfit
    from optimizer.units import System
    from ui.terminal import Block

__all__ = ["trials_fit", "trials_next"]


@click.command("fit")
@click.argument("job", required=False)
@book_option
@click.option("--look", is_flag=True, help="Show what the trials teach, and write no calibration file.")
@job_options
@delivered
def trials_fit(job: str | None, book: str, look: bool, specs: str | None, delivery: Delivery) -> int:
    """Fit the figures to the trials of the book and keep them as a dated file beside it.

    JOB names the shop and the vessel behind the trials; without it a shop's defaults stand and test burns
    teach nothing. To undo a fit, remove its file.
    """
    from optimizer.calibration.files import keep_calibration
    from optimizer.calibration.fit import calibrate
    from optimizer.calibration.readings import studio_of
    from optimizer.calibration.response_surface import misfits
    from optimizer.specs import load_catalogue
    from ui.jobs import ask
    from ui.trial_text import opened

    studio = None
    if job is None:
        catalogue = load_catalogue(specs)
    else:
        asked = ask(job, specs)
        catalogue, studio = asked.catalogue, studio_of(asked.job)
    found = calibrate(opened(Path(book)).trials(), catalogue, studio, dt.date.today())
    wrong = misfits(found)
    path = None if look else keep_calibration(found.calibration, Path(book).resolve().parent)
    data = _fit_json(found, wrong) | {"file": None if path is None else str(path)}
    delivery.send(data, lambda: list(_fit_blocks(found, wrong, delivery.units)))
    if path is not None:
        say(f"Kept: {path}. To undo this calibration, remove that file.")
    return 0


@click.command("next")
@click.argument("job", required=False)
@book_option
@job_options
@delivered
def trials_next(job: str | None, book: str, specs: str | None, delivery: Delivery) -> int:
    """Name the one cast that takes most doubt off the decision JOB stands for.

    The newest calibration beside the book counts; without one, the shipped figures.
    """
    from optimizer.calibration.files import calibrated, newest_calibration
    from optimizer.calibration.next_trial import next_trial
    from optimizer.problem import problem_of
    from optimizer.studies.design import design_problem
    from ui.answer_text import no_blend_blocks
    from ui.jobs import ask
    from ui.terminal import rendered

    asked = ask(job, specs)
    folder = Path(book).resolve().parent
    path = newest_calibration(folder)
    parameters = calibrated(folder, asked.catalogue, asked.job.materials)
    problem = problem_of(asked.job, asked.catalogue, parameters)
    solution = design_problem(problem)
    if solution.mix is None:
        say(rendered(no_blend_blocks(solution, delivery.units), None))
        return NO_BLEND
    found = next_trial(problem, solution)
    data = _next_json(found) | {"calibration": None if path is None else str(path)}
    delivery.send(data, lambda: list(_next_blocks(found)))
    return 0


def _fit_json(found: Fit, wrong: tuple[Misfit, ...]) -> dict[str, Any]:
    from optimizer.calibration.agreement import agreement

    kept = found.calibration
    return {
        "date": kept.date.isoformat(),
        "version": kept.version,
        "priors": kept.priors,
        "trials": list(kept.trials),
        "figures": [_figure_json(one) for one in kept.learned],
        "readings": [_seen_json(one) for one in found.seen],
        "agreement": [asdict(one) for one in agreement(found)],
        "flagged": [asdict(one) for one in kept.flagged],
        "bags": [asdict(one) for one in kept.bags],
        "unused": [asdict(one) for one in found.evidence.unused],
        "misfits": [{**asdict(one), "blend": dict(one.blend)} for one in wrong],
    }


def _figure_json(one: Learned) -> dict[str, Any]:
    (before, doubt), (after, left) = one.before, one.after
    return {
        "name": one.name,
        "before": {"value": before, "standard_error": doubt},
        "after": {"value": after, "standard_error": left},
        "trials": one.trials,
    }


def _seen_json(one: Seen) -> dict[str, Any]:
    bound = math.isnan(one.before)  # a time out of the mold has no expected value
    return {
        "trial": one.reading.trial,
        "reading": one.reading.kind,
        "value": one.reading.value,
        "before": None if bound else one.before,
        "after": None if bound else one.after,
        "distance": one.distance,
        "trust": one.trust,
        "flagged": one.flagged,
    }


def _fit_blocks(found: Fit, wrong: tuple[Misfit, ...], units: System) -> Iterator[Block]:
    from optimizer.calibration.agreement import agreement
    from ui.terminal import heading, sentence, table

    kept = found.calibration
    yield sentence(f"{len(kept.trials)} trials, {len(found.seen)} readings used.")
    yield heading("How far readings are off what is expected")
    rows = [_agreement_row(one) for one in agreement(found)]
    yield table(("reading", "readings", "before", "now"), rows, (1, 2, 3))
    yield from _taught_blocks(kept)
    yield from _odd_blocks(found, wrong, units)


def _taught_blocks(kept: Calibration) -> Iterator[Block]:
    """Give the figures the trials moved, and the bags they were made from."""
    from ui.terminal import heading, sentence, table

    taught = [one for one in kept.learned if one.trials]
    if taught:
        yield heading("What the trials teach")
        yield table(("figure", "before", "now", "trials"), [_figure_row(one) for one in taught], (3,))
        yield sentence(
            "Strength and set time of a binder count from its spec figures, in their standard errors."
        )
    if kept.bags:
        yield heading("Bags beside each other")
        bags = [
            (bag.material, bag.lot, bag.figure.replace("_", " "), _percent(bag.factor, bag.error))
            for bag in kept.bags
        ]
        yield table(("material", "lot", "figure", "against all lots"), bags)


def _odd_blocks(found: Fit, wrong: tuple[Misfit, ...], units: System) -> Iterator[Block]:
    """Give the readings that do not fit, where the chain is wrong, and what could not be used."""
    from ui.terminal import heading, indented, table

    if found.calibration.flagged:
        yield heading("Readings that do not fit the others, and hardly count")
        odd = [_flagged_row(one, units) for one in found.seen if one.flagged]
        yield table(("trial", "reading", "read", "expected", "standard errors off"), odd, (4,))
    if wrong:
        yield heading("Where the chain is wrong")
        for one in wrong:
            yield indented(one.sentence())
    if found.evidence.unused:
        yield heading("What could not be used")
        for unused in found.evidence.unused:
            yield indented(f"{unused.trial}: {unused.reason}")


def _agreement_row(one: Agreement) -> tuple[str, str, str, str]:
    from optimizer.calibration.lab_errors import KINDS

    kind = KINDS[one.kind]
    before, after = (f"{100.0 * x:.1f} %" if kind.log else f"{x:.1f}" for x in (one.before, one.after))
    return kind.words, str(one.readings), before, after


def _figure_row(one: Learned) -> tuple[str, str, str, str]:
    return one.name, _with_error(*one.before), _with_error(*one.after), str(one.trials)


def _with_error(value: float, error: float) -> str:
    """Return a value to the digits its error allows: two digits of the error."""
    places = max(0, 1 - math.floor(math.log10(error))) if error > 0.0 else 3
    return f"{value:.{places}f} \u00b1 {error:.{places}f}"


def _percent(factor: float, error: float) -> str:
    return f"{round(100.0 * (factor - 1.0)):+d} % \u00b1 {100.0 * error:.0f} %"


def _flagged_row(one: Seen, units: System) -> tuple[str, str, str, str, str]:
    from optimizer.calibration.lab_errors import KINDS
    from optimizer.units import show

    kind = KINDS[one.reading.kind]
    expected = "earlier or later" if math.isnan(one.after) else show(one.after, kind.quantity, units)
    read = show(one.reading.value, kind.quantity, units)
    return one.reading.trial, kind.words, read, expected, f"{one.distance:+.1f}"


def _next_json(found: NextTrial) -> dict[str, Any]:
    return {
        "cast": found.cast.name,
        "blend": dict(found.cast.blend),
        "water_ratio": found.cast.water_ratio,
        "limit": asdict(found.limit),
        "before": found.before,
        "after": found.after,
        "relative": found.relative,
        "share": found.share,
        "open": found.open,
        "why": found.sentence(),
        "others": [
            {"cast": cast.name, "blend": dict(cast.blend), "share": share} for cast, share in found.others
        ],
    }


def _next_blocks(found: NextTrial) -> Iterator[Block]:
    from ui.terminal import heading, sentence, table

    yield sentence(found.sentence())
    yield heading("Doubt that each cast would take off the limits still open")
    casts = [(found.cast, found.share), *found.others]
    yield table(
        ("cast", "share of all doubt"), [(cast.name, f"{100.0 * s:.0f} %") for cast, s in casts], (1,)
    )
