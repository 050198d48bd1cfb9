"""``vesselblend check``: the verdict on a blend, alone or against another."""

from __future__ import annotations

import click

from ui.commands.shared import VERDICT_CODES, job_options
from ui.delivery import Delivery, delivered

__all__ = ["check"]


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
@job_options
@delivered
def check(
    job: str,
    blend: str,
    water_ratio: str | None,
    against: str | None,
    against_water_ratio: str | None,
    specs: str | None,
    delivery: Delivery,
) -> int:
    """Predict a blend and judge it against the limits of JOB, and against another blend.

    JOB is a TOML file, or - for standard input.
    """
    from optimizer.check import check as judge
    from optimizer.check import compare
    from optimizer.report import comparison_json, solution_json
    from ui.answer_text import comparison_blocks, solution_blocks
    from ui.jobs import ask, read_blend, read_water_ratio

    asked = ask(job, specs)
    parts, ratio = read_blend(blend, asked.catalogue), read_water_ratio(water_ratio)
    candidate = judge(asked.job, parts, asked.catalogue, ratio)
    if against is None:
        data = solution_json(candidate)
        delivery.send(data, lambda: list(solution_blocks(candidate, asked.catalogue, delivery.units)))
    else:
        other = read_blend(against, asked.catalogue, "--against")
        other_ratio = read_water_ratio(against_water_ratio, "--against-water-ratio")
        both = compare(judge(asked.job, other, asked.catalogue, other_ratio), candidate)
        data = comparison_json(both)
        delivery.send(data, lambda: list(comparison_blocks(both, asked.catalogue, delivery.units)))
    return VERDICT_CODES[candidate.status]
