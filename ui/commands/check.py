"""``vesselblend check``: the verdict on a blend, alone or against another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from ui.commands.shared import VERDICT_CODES, delivered, figure_options
from ui.delivery import Delivery

if TYPE_CHECKING:
    from optimizer.solution import Solution


@click.command(short_help="Judge a blend against the limits, or against another blend.")
@click.argument("job")
@click.option(
    "--blend", required=True, help='Parts by mass, such as "gypsum_cement=50, rapid_set_mortar=50".'
)
@click.option(
    "--water-ratio", metavar="RATIO", help="Water per dry powder by mass; default: what the blend needs."
)
@click.option("--against", metavar="BLEND", help="The present blend, to compare with.")
@click.option("--against-water-ratio", metavar="RATIO", help="Water ratio of the present blend.")
@figure_options
@delivered
def check(
    job: str,
    blend: str,
    water_ratio: str | None,
    against: str | None,
    against_water_ratio: str | None,
    specs: str | None,
    calibration: str | None,
    delivery: Delivery,
) -> int:
    """Predict a blend and judge it against the limits of JOB, and against another blend.

    JOB is a TOML file, or - for standard input.
    """
    from optimizer.reports import comparison_json, solution_json
    from optimizer.studies.check import check as judge
    from optimizer.studies.check import compare
    from ui.answer_text import comparison_blocks, solution_blocks
    from ui.jobs import ask, read_blend, read_water_ratio

    if against_water_ratio is not None and against is None:
        raise click.UsageError(
            "--against-water-ratio is that of --against: name that blend, or leave it away."
        )
    asked = ask(job, specs, calibration)
    parts = read_blend(blend, asked.catalogue)
    others = {} if against is None else read_blend(against, asked.catalogue, "--against")
    parameters = asked.parameters((*parts, *others))

    def judged(named: dict[str, float], ratio: float | None) -> Solution:
        return asked.signed(judge(asked.job, named, asked.catalogue, ratio, parameters, explain=True))

    candidate = judged(parts, read_water_ratio(water_ratio))
    if not others:
        data = solution_json(candidate)
        delivery.send(data, solution_blocks(candidate, asked.catalogue, delivery.units))
    else:
        present = judged(others, read_water_ratio(against_water_ratio, "--against-water-ratio"))
        both = compare(present, candidate)
        data = comparison_json(both)
        delivery.send(data, comparison_blocks(both, asked.catalogue, delivery.units))
    return VERDICT_CODES[candidate.status]
