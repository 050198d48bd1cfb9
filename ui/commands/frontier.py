"""``vesselblend frontier``: what giving one quantity buys in another."""

from __future__ import annotations

import click

from ui.commands.shared import Seconds, delivered, figure_options
from ui.delivery import Delivery


@click.command()
@click.argument("job")
@click.option(
    "--over",
    default="cost,demold_time",
    show_default=True,
    help="Two or three quantities to trade; chance is that of all limits together.",
)
@click.option(
    "--points", type=click.IntRange(3, 400), default=60, show_default=True, help="Blends to solve for."
)
@click.option("--csv", "as_csv", is_flag=True, help="Give every blend as CSV.")
@click.option(
    "--prove",
    type=Seconds(0.0, 600.0),
    default=0.0,
    metavar="SECONDS",
    help="Prove how near each blend is to the best at its level, for at most so long each.",
)
@figure_options
@delivered
def frontier(
    job: str,
    over: str,
    points: int,
    as_csv: bool,
    prove: float,
    specs: str | None,
    calibration: str | None,
    delivery: Delivery,
) -> int:
    """Show the blends of JOB that no other beats in all of the quantities named.

    JOB is a TOML file, or - for standard input. Every blend meets the limits of the job with its confidence,
    or, where chance is among the quantities, with the chance told beside it.
    """
    from optimizer.problem import problem_of
    from optimizer.reports import frontier_csv, frontier_json
    from optimizer.studies.frontier import frontier as trade
    from optimizer.studies.frontier import frontier_faults
    from ui.trade_text import frontier_blocks

    if as_csv and delivery.as_json:
        raise click.UsageError("--csv and --json are two forms of one answer: choose one.")
    names = tuple(name.strip() for name in over.split(",") if name.strip())
    fault = frontier_faults(names)
    if fault:
        raise click.BadParameter(fault, param_hint="--over")
    if prove and "chance" in names:
        raise click.UsageError("--prove speaks of best values, where no chance is: leave one of them away.")
    from ui.jobs import ask

    asked = ask(job, specs, calibration)
    asked.require_prices(always="cost" in names)
    problem = problem_of(asked.job, asked.catalogue, asked.parameters())
    found = trade(problem, names, points, proof_seconds=prove)
    if as_csv:
        delivery.send_text(frontier_csv(found, asked.job.currency, delivery.units))
    else:
        delivery.send(frontier_json(found), frontier_blocks(found, problem, delivery.units))
    return 0
