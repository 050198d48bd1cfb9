"""``vesselblend card``: the batch card for the bench, as one HTML file to print."""

from __future__ import annotations

import click

from ui.commands.shared import NO_BLEND, delivered, figure_options
from ui.delivery import Delivery, say


@click.command(short_help="Write the batch card for the bench, to print.")
@click.argument("job", required=False)
@click.option(
    "--vessels", type=click.IntRange(1, 10_000), default=6, show_default=True, help="Vessels to cast."
)
@click.option("--blend", help="Card of this blend in place of the designed one.")
@click.option("--water-ratio", metavar="RATIO", help="Water per dry powder of --blend.")
@click.option(
    "--paper", type=click.Choice(["a5", "half-letter"]), help="Default: a5, half-letter with --units us."
)
@figure_options
@delivered
def card(
    job: str | None,
    vessels: int,
    blend: str | None,
    water_ratio: str | None,
    paper: str | None,
    specs: str | None,
    calibration: str | None,
    delivery: Delivery,
) -> int:
    """Write the batch card of JOB as one HTML page to print, such as with -o card.html.

    JOB is a TOML file, or - for standard input; without it the shipped demo job.
    """
    from optimizer.problem import problem_of
    from optimizer.solution import DESIGNED
    from optimizer.studies.check import batch_of, check
    from optimizer.studies.design import designed_problem
    from optimizer.verdict.assess import HOLDS
    from ui.answer_text import no_blend_blocks
    from ui.card import card_html, card_json, sheet_of
    from ui.jobs import ask, read_blend, read_water_ratio
    from ui.terminal import rendered

    if water_ratio is not None and blend is None:
        raise click.UsageError("--water-ratio is that of --blend: name the blend, or leave it away.")
    asked = ask(job, specs, calibration)
    parts = {} if blend is None else read_blend(blend, asked.catalogue)
    parameters = asked.parameters(parts)
    if parts:
        solution = check(asked.job, parts, asked.catalogue, read_water_ratio(water_ratio), parameters)
    else:
        asked.require_prices()
        solution = designed_problem(problem_of(asked.job, asked.catalogue, parameters)).explained().solution
    solution = asked.signed(solution)
    if solution.mix is None:
        say(rendered(no_blend_blocks(solution, delivery.units), None))
        return NO_BLEND
    batch = batch_of(solution, asked.catalogue, vessels, parameters)
    sheet = sheet_of(solution, batch, asked.catalogue, units=delivery.units, trials=asked.trials)
    if solution.status not in (DESIGNED, HOLDS):
        say(f"Mind: {sheet.sure}.")
    paper = paper or ("half-letter" if delivery.units == "us" else "a5")
    delivery.send_as(card_json(sheet), card_html(sheet, paper))
    return 0
