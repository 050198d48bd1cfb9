"""``vesselblend trials fit`` and ``next``: what is fitted from trials, and which one to make next."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ui.commands.shared import NO_BLEND, book_option, delivered, job_options
from ui.delivery import Delivery, say

if TYPE_CHECKING:
    from optimizer.calibration.agreement import Agreement
    from optimizer.calibration.fit import Fit, Seen
    from optimizer.calibration.next_trial import NextTrial
    from optimizer.calibration.record import Calibration, Learned
    from optimizer.materials import Catalogue
    from optimizer.units import System
    from ui.terminal import Block


@click.command("fit")
@click.argument("job", required=False)
@book_option
@click.option(
    "--dry-run",
    "--look",
    "look",
    is_flag=True,
    help="Show what would be fitted, and write no calibration file.",
)
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
    from optimizer.specs import load_catalogue
    from ui.jobs import ask
    from ui.trial_text import damaged_words, opened

    studio = None
    if job is None:
        catalogue = load_catalogue(specs)
    else:
        asked = ask(job, specs)
        catalogue, studio = asked.catalogue, studio_of(asked.job)
    kept_book = opened(Path(book))
    damaged = kept_book.damaged()
    if damaged:
        say(damaged_words(damaged))
    found = calibrate(kept_book.trials(), catalogue, studio, dt.date.today())
    path = None if look else keep_calibration(found.calibration, Path(book).resolve().parent)
    data = _fit_json(found) | {"damaged": list(damaged), "file": None if path is None else str(path)}
    delivery.send(data, _fit_blocks(found, catalogue, delivery.units))
    if path is not None:
        say(f"Kept: {path}. To undo this calibration, remove that file.")
    return 0


@click.command("next")
@click.argument("job", required=False)
@book_option
@job_options
@delivered
def trials_next(job: str | None, book: str, specs: str | None, delivery: Delivery) -> int:
    """Name the one cast that is worth most for the decision JOB stands for.

    The newest calibration beside the book counts; without one, what the job names, or the shipped figures.
    """
    from optimizer.calibration.files import calibrated, newest_calibration
    from optimizer.calibration.next_trial import next_trial
    from optimizer.calibration.standard_trial import grams_of
    from optimizer.problem import problem_of
    from optimizer.studies.design import designed_problem
    from ui.answer_text import no_blend_blocks
    from ui.fit_text import next_blocks, test_volume
    from ui.jobs import ask
    from ui.terminal import rendered

    folder = Path(book).resolve().parent
    path = newest_calibration(folder)
    asked = ask(job, specs, None if path is None else "none")
    parameters = calibrated(folder, asked.catalogue, asked.job.materials) or asked.parameters()
    if path is not None:
        say(f"Figures are those fitted beside the book: {path.name}.")
    problem = problem_of(asked.job, asked.catalogue, parameters)
    solution = designed_problem(problem).explained("alternatives").solution
    if solution.mix is None:
        say(rendered(no_blend_blocks(solution, delivery.units), None))
        return NO_BLEND
    found = next_trial(problem, solution)
    weighed = grams_of(problem, found.cast, test_volume(asked.job))
    data = _next_json(found, weighed) | {"calibration": None if path is None else str(path)}
    delivery.send(data, next_blocks(found, weighed, asked.job, asked.catalogue, delivery.units))
    return 0


def _fit_json(found: Fit) -> dict[str, Any]:
    from optimizer.calibration.agreement import agreement

    kept = found.calibration
    return {
        "date": kept.date.isoformat(),
        "version": kept.version,
        "priors": kept.priors,
        "trials": list(kept.trials),
        "figures": [_figure_json(one) for one in kept.figures],
        "readings": [_seen_json(one) for one in found.seen],
        "agreement": [asdict(one) for one in agreement(found)],
        "flagged": [asdict(one) for one in kept.flagged],
        "bags": [asdict(one) for one in kept.bags],
        "unused": [asdict(one) for one in found.evidence.unused],
        "left_out": [asdict(one) for one in found.left_out],
        "unexplained": [asdict(one) for one in found.unexplained],
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
    before, after = (value if math.isfinite(value) else None for value in (one.before, one.after))
    return {
        "trial": one.reading.trial,
        "reading": one.reading.kind,
        "value": one.reading.value,
        "before": before,
        "after": after,
        "bound": ("<=", None, ">=")[one.reading.side + 1],
        "worse": one.worse,
        "pulled_by": [{"trial": pull.trial, "reading": pull.kind} for pull in one.pulled],
        "distance": one.distance,
        "trust": one.trust,
        "flagged": one.flagged,
    }


def _fit_blocks(found: Fit, catalogue: Catalogue, units: System) -> Iterator[Block]:
    from optimizer.calibration.agreement import agreement
    from ui.fit_text import (
        LEFT_OUT_HEADS,
        NOTES,
        left_out_row,
        left_out_words,
        moved_words,
        seen_rows,
        worse_words,
    )
    from ui.terminal import heading, sentence, table

    kept = found.calibration
    yield sentence(f"{len(kept.trials)} trials, {len(found.seen)} readings used.")
    yield heading("Predicted before, predicted now, and measured")
    read = seen_rows(found, units)
    heads = ("trial", "reading", "before", "now", "measured", "")
    firsts = [row.trial if k == 0 or read[k - 1].trial != row.trial else "" for k, row in enumerate(read)]
    rows = [
        (first, row.reading, row.before, row.after, row.seen, ("\u2264" if row.bound else "") + row.mark)
        for first, row in zip(firsts, read, strict=True)
    ]
    yield table(heads, rows, (2, 3, 4))
    yield sentence(NOTES, indent=2)
    for moved in moved_words(found, units):
        yield sentence(moved, indent=2)
    yield heading("How far readings are off what is expected, by kind")
    agreed = [_agreement_row(one) for one in agreement(found)]
    yield table(("reading", "readings", "before", "now", ""), agreed, (1, 2, 3))
    worse = worse_words(found)
    if worse:
        yield sentence(worse, indent=2)
    if found.left_out:
        yield heading("Each cast predicted from the others alone")
        yield table(LEFT_OUT_HEADS, [left_out_row(one) for one in found.left_out], (1, 2, 3, 4, 5))
        yield sentence(left_out_words(found), indent=2)
    yield from _taught_blocks(kept, catalogue)
    yield from _odd_blocks(found, units)


def _taught_blocks(kept: Calibration, catalogue: Catalogue) -> Iterator[Block]:
    """Give the figures the trials moved, and the bags they were made from."""
    from optimizer.calibration.words import figure_words, size_words
    from ui.terminal import heading, sentence, table

    taught = [one for one in kept.figures if one.trials]
    if taught:
        yield heading("Fitted from trials")
        rows = [
            (figure_words(one.name, catalogue), *size_words(one, catalogue), str(one.trials))
            for one in taught
        ]
        yield table(("figure", "before", "now", "trials"), rows, (3,))
        yield sentence("Strength and set time of a binder are in percent of the shipped ones.", indent=2)
    if kept.bags:
        yield heading("Bags beside each other")
        bags = [
            (
                _label(bag.material, catalogue),
                bag.lot,
                bag.figure.replace("_", " "),
                _percent(bag.factor, bag.error),
            )
            for bag in kept.bags
        ]
        yield table(("material", "lot", "figure", "against all lots"), bags)


def _label(name: str, catalogue: Catalogue) -> str:
    from ui.words import label_of

    return label_of(name, catalogue) if name in catalogue else name


def _odd_blocks(found: Fit, units: System) -> Iterator[Block]:
    """Give the readings and casts that do not fit, and what could not be used."""
    from ui.fit_text import unexplained_words
    from ui.terminal import heading, indented, table

    if found.calibration.flagged:
        yield heading("Readings that do not fit the others, and hardly count")
        odd = [_flagged_row(one, units) for one in found.seen if one.flagged]
        yield table(("trial", "reading", "read", "expected", "standard errors off"), odd, (4,))
    if found.unexplained:
        yield heading("Casts that nothing explains")
        for one in found.unexplained:
            yield indented(unexplained_words(one))
    if found.evidence.unused:
        yield heading("What could not be used")
        for unused in found.evidence.unused:
            yield indented(f"{unused.trial}: {unused.reason}")


def _agreement_row(one: Agreement) -> tuple[str, str, str, str, str]:
    from optimizer.calibration.measurement_errors import KINDS

    kind = KINDS[one.kind]
    before, after = (f"{100.0 * x:.1f} %" if kind.log else f"{x:.1f}" for x in (one.before, one.after))
    return kind.words, str(one.readings), before, after, "further off" if one.after > one.before else ""


def _percent(factor: float, error: float) -> str:
    return f"{round(100.0 * (factor - 1.0)):+d} % \u00b1 {100.0 * error:.0f} %"


def _flagged_row(one: Seen, units: System) -> tuple[str, str, str, str, str]:
    from ui.fit_text import seen_row

    row = seen_row(one, units)
    return row.trial, row.reading, row.seen, row.after, f"{one.distance:+.1f}"


def _next_json(found: NextTrial, weighed: Mapping[str, float]) -> dict[str, Any]:
    from optimizer.reports import trial_worth_json

    return {
        "cast": found.cast.name,
        "blend": dict(found.cast.blend),
        "water_ratio": found.cast.water_ratio,
        "weigh": dict(weighed),
        "limit": asdict(found.limit),
        "before": found.before,
        "after": found.after,
        "relative": found.relative,
        "limits": [asdict(fall) for fall in found.falls],
        "measure": dict(found.alone),
        "share": found.share,
        "open": found.open,
        "stop": found.stop,
        "worth": None if found.worth is None else trial_worth_json(found.worth),
        "why": found.sentence(),
        "others": [
            {"cast": cast.name, "blend": dict(cast.blend), "share": share} for cast, share in found.others
        ],
    }
