"""``vesselblend sweep``: thousands of scenarios of one job, each designed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from ui.commands.shared import delivered, figure_options
from ui.delivery import STANDARD, Delivery

_EPILOG = """\b
Example:
  vesselblend sweep job.toml -o out.csv \\
      --vary "prices.gypsum_cement.price=30:60:16, limits.whiteness=80:94:15, shop.temperature=10C:35C:6"
"""


@click.command(epilog=_EPILOG)
@click.argument("job")
@click.option(
    "--vary",
    multiple=True,
    metavar="KEY=FIRST:LAST:COUNT",
    help="Keys of the job file and their values, parted by commas; KEY=one|two for single ones.",
)
@click.option(
    "--table",
    metavar="FILE",
    help="CSV of scenarios: a header of keys, a row each, times the grid of --vary.",
)
@click.option(
    "--executor",
    default="processes",
    show_default=True,
    help="processes, solo, or a Dask scheduler's address such as tcp://127.0.0.1:8786.",
)
@click.option(
    "--workers", type=click.IntRange(1, 1024), help="Processes to start; default: one per usable processor."
)
@click.option(
    "--in-full",
    is_flag=True,
    help="Search each scenario as design does, whatever its neighbors gave; several times slower.",
)
@figure_options
@delivered
def sweep(
    job: str,
    vary: tuple[str, ...],
    table: str | None,
    executor: str,
    workers: int | None,
    in_full: bool,
    specs: str | None,
    calibration: str | None,
    delivery: Delivery,
) -> int:
    """Design JOB for every combination of the varied values, one row each.

    Rows go to FILE of -o as they come: CSV, or for the ending .parquet a folder of Parquet files. Stopped
    at any moment, the same command goes on from there. Without -o rows go to standard output, as CSV or
    with --json as one JSON object a line; with -o, --json gives the counts. Columns name their units,
    which are those of --units; JSON has its own.

    In a long sweep most scenarios start from the blends of their neighbors, and every 64th is searched in
    full to check them. Every row is certified from the property functions, as the answer of design is.

    JOB is a TOML file, or - for standard input.
    """
    from optimizer.jobfile import parse_job
    from optimizer.specs import load_catalogue
    from optimizer.sweep import plan_of, read_scenarios
    from optimizer.sweep.worker import check_first
    from optimizer.toml_files import parse_toml
    from ui.jobs import Asked, named_calibration
    from ui.sweep_run import job_text, run_sweep

    text, named = job_text(job), "standard input" if job == STANDARD else job
    catalogue = load_catalogue(specs)
    folder = None if specs is None else str(Path(specs).resolve())
    asked = Asked(parse_job(text, catalogue, named), catalogue, named=named)
    bare = plan_of(text, named, catalogue, folder, named_calibration(calibration, asked))
    scenarios = read_scenarios(vary, None if table is None else Path(table), parse_toml(text, named))
    plan = replace(bare, variables=scenarios.variables, in_full=in_full)
    check_first(plan, scenarios)
    return run_sweep(plan, scenarios, executor, workers, delivery)
