"""``vesselblend order``: can an order be made by its date, with which molds, bags and blend."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import click

from ui.commands.shared import NO_BLEND, NO_VERDICT, delivered, figure_options
from ui.delivery import Delivery


@click.command(short_help="Plan an order: days, molds and bags to buy.")
@click.argument("job")
@click.option("--vessels", type=int, required=True, help="Good vessels ordered.")
@click.option("--due", required=True, metavar="YYYY-MM-DD", help="Last day they may leave.")
@click.option("--start", metavar="YYYY-MM-DD", help="First day of casting; default: today.")
@click.option("--molds", type=int, help="Molds owned; default: those of the job.")
@click.option("--no-new-molds", is_flag=True, help="Plan with the molds owned alone.")
@click.option("--blend", help="Plan this blend, in parts by mass; default: the designed one.")
@click.option("--water-ratio", metavar="RATIO", help="Water per dry powder of --blend; default: its demand.")
@click.option("--plan", metavar="NAME", help="Plan another blend of the ranking, by its name.")
@click.option("--no-trial", is_flag=True, help="Cast at once, without a trial of a blend never cast.")
@click.option("--from-stock", is_flag=True, help="Use only what stands on the shelf (stock in the prices).")
@figure_options
@delivered
def order(
    job: str,
    vessels: int,
    due: str,
    start: str | None,
    molds: int | None,
    no_new_molds: bool,
    blend: str | None,
    water_ratio: str | None,
    plan: str | None,
    no_trial: bool,
    from_stock: bool,
    specs: str | None,
    calibration: str | None,
    delivery: Delivery,
) -> int:
    """Plan an order with the blends that meet the limits of JOB: days, molds and bags to buy, ranking.

    JOB is a TOML file, or - for standard input.
    """
    from optimizer.reports import order_json
    from optimizer.studies.check import check
    from optimizer.studies.levers import time_is_short
    from optimizer.studies.order_blends import plan_blends, shop_request
    from ui.answer_text import no_blend_blocks
    from ui.jobs import ask, read_blend, read_water_ratio, typed_day
    from ui.lever_text import lever_blocks, levers_json, levers_of
    from ui.order_text import order_blocks

    if water_ratio is not None and blend is None:
        raise click.UsageError("--water-ratio is that of --blend: name that blend, or leave it away.")
    last = typed_day("--due", due)
    first = typed_day("--start", start) if start else dt.date.today()
    asked = ask(job, specs, calibration)
    asked.require_prices(always=True)
    asked = asked.from_stock(vessels) if from_stock else asked
    request = shop_request(asked.job, vessels, first, last, molds)
    request = replace(request, may_buy_molds=not no_new_molds)
    parts = {} if blend is None else read_blend(blend, asked.catalogue)
    parameters = asked.parameters(tuple(parts))
    shop_job = replace(asked.job, shop=request.shop)
    own = (
        check(shop_job, parts, asked.catalogue, read_water_ratio(water_ratio), parameters) if parts else None
    )
    answer = plan_blends(asked.job, asked.catalogue, request, parameters, selected=own, trial=not no_trial)
    none = answer.no_blend
    answer = answer if plan is None or none is not None else answer.selecting(plan)
    seen = answer.solution if none is None else none
    tried = levers_of(asked, seen)
    hastened = list(lever_blocks(tried, asked.job, delivery.units, looked=time_is_short(seen)))
    data = order_json(answer) | ({"levers": levers_json(tried)} if tried else {})
    if none is not None:
        delivery.send(data, no_blend_blocks(none, delivery.units, hastened))
        return NO_BLEND
    delivery.send(data, order_blocks(answer, asked.catalogue, delivery.units, hastened))
    if not answer.plan.meets_date:
        return NO_BLEND
    return 0 if answer.plan.candidate.sure else NO_VERDICT
