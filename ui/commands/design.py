"""``vesselblend design``: the best blend that meets the limits of a job."""

from __future__ import annotations

import click

from ui.commands.shared import NO_BLEND, NO_VERDICT, Seconds, delivered, figure_options
from ui.delivery import Delivery


@click.command(short_help="Find the cheapest blend that meets the limits of a job.")
@click.argument("job", required=False)
@click.option(
    "--vessels", type=click.IntRange(1, 10_000), help="Also weigh one mix for so many vessels, waste in."
)
@click.option(
    "--proof",
    "seconds",
    type=Seconds(0.0, 600.0),
    default=1.0,
    show_default=True,
    metavar="SECONDS",
    help="Time to prove how near the answer is to the best.",
)
@click.option(
    "--from-stock",
    is_flag=True,
    help="Use only what stands on the shelf (stock in the prices), enough for --vessels.",
)
@figure_options
@delivered
def design(
    job: str | None,
    vessels: int | None,
    seconds: float,
    from_stock: bool,
    specs: str | None,
    calibration: str | None,
    delivery: Delivery,
) -> int:
    """Find the cheapest blend that meets the limits of JOB (without JOB: of the shipped demo).

    JOB is a TOML file, or - for standard input.
    """
    from optimizer.reports import batch_json, solution_json
    from optimizer.solution import DESIGNED
    from optimizer.studies.check import batch_of
    from optimizer.studies.design import design as solve
    from optimizer.studies.levers import time_is_short
    from ui.answer_text import no_blend_blocks, solution_blocks
    from ui.jobs import ask
    from ui.lever_text import lever_blocks, levers_json, levers_of

    asked = ask(job, specs, calibration)
    asked.require_prices()
    asked = asked.from_stock(vessels or 1) if from_stock else asked
    parameters = asked.parameters()
    solution = asked.signed(solve(asked.job, asked.catalogue, parameters, proof_seconds=seconds))
    tried = levers_of(asked, solution)
    told = {"levers": levers_json(tried)} if tried else {}
    hastened = list(lever_blocks(tried, asked.job, delivery.units, looked=time_is_short(solution)))
    if solution.mix is None:
        blocks = list(no_blend_blocks(solution, delivery.units, hastened))
        delivery.send(solution_json(solution) | told, blocks)
        return NO_BLEND
    batch = batch_of(solution, asked.catalogue, vessels, parameters) if vessels else None
    data = solution_json(solution) | told | ({"batch": batch_json(batch)} if batch else {})
    blocks = list(solution_blocks(solution, asked.catalogue, delivery.units, batch, hastened))
    delivery.send(data, blocks)
    return 0 if solution.status == DESIGNED else NO_VERDICT
