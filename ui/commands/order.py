"""``vesselblend order``: can an order be made by its date, with which molds, bags and blend."""

from __future__ import annotations

import datetime as dt

import click

from ui.commands.shared import NO_BLEND, Figures, figure_options
from ui.delivery import Delivery, delivered

__all__ = ["order"]

_DAY = click.DateTime(["%Y-%m-%d"])


@click.command(short_help="Plan an order: days, molds and bags to buy.")
@click.argument("job")
@click.option("--vessels", type=click.IntRange(0, 1_000_000), required=True, help="Good vessels ordered.")
@click.option("--due", type=_DAY, required=True, metavar="YYYY-MM-DD", help="Last day they may leave.")
@click.option("--start", type=_DAY, metavar="YYYY-MM-DD", help="First day of casting; default: today.")
@click.option("--molds", type=click.IntRange(0, 100_000), help="Molds owned; default: those of the job.")
@figure_options
@delivered
def order(
    job: str,
    vessels: int,
    due: dt.datetime,
    start: dt.datetime | None,
    molds: int | None,
    figures: Figures,
    delivery: Delivery,
) -> int:
    """Plan an order with the blends that meet the limits of JOB: days, molds and bags to buy, ranking.

    JOB is a TOML file, or - for standard input.
    """
    from optimizer.reports.order import order_json
    from optimizer.studies.order_blends import plan_blends, shop_request
    from ui.answer_text import no_blend_blocks
    from ui.order_text import order_blocks

    asked = figures.ask(job)
    asked.require_prices(always=True)
    first = start.date() if start else dt.date.today()
    request = shop_request(asked.job, vessels, first, due.date(), molds)
    answer = plan_blends(asked.job, asked.catalogue, request, asked.parameters())
    data, none = order_json(answer), answer.no_blend
    if none is not None:
        delivery.send(data, lambda: list(no_blend_blocks(none, delivery.units)))
        return NO_BLEND
    delivery.send(data, lambda: list(order_blocks(answer, asked.catalogue, delivery.units)))
    return 0 if answer.ranked[0].plan.meets_date else NO_BLEND
