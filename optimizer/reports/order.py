"""The plan of an order as plain data, for JSON; digits are not rounded here."""

from __future__ import annotations

import datetime
import math
from typing import Any

from optimizer.money.mold_turns import GOOD_ENOUGH
from optimizer.money.order import OrderPlan, Ranked
from optimizer.money.purchase import Purchase
from optimizer.money.schedule import DayPlan
from optimizer.reports.blend import solution_json
from optimizer.studies.order_blends import OrderAnswer

Json = dict[str, Any]


def order_json(answer: OrderAnswer) -> Json:
    """Return the JSON of an order; the plan of the selected blend whole, the others in one line each."""
    request = answer.request
    asked = {
        "vessels": request.vessels,
        "start": _day(request.start),
        "due": _day(request.due),
        "molds": request.shop.molds,
    }
    if answer.no_blend is not None:
        return {"order": asked, **solution_json(answer.no_blend)}
    return {
        "order": asked,
        "status": "in time" if answer.plan.meets_date else "late",
        "confidence": answer.solution.job.confidence,
        "joint_probability": answer.solution.joint_probability,
        "plan": _plan(answer.plan),
        "blend": solution_json(answer.solution),
        "ranking": [_ranked(row) for row in answer.ranked],
        "compared": answer.compared,
        "switches": [{"vessels": each.vessels, "cheaper": each.cheaper} for each in answer.switches],
    }


def _plan(plan: OrderPlan) -> Json:
    return {
        "name": plan.candidate.name,
        "trial": _day(plan.trial),
        "casting_from": _day(plan.request.start),
        "ready": _day(plan.ready),
        "ready_range": [_day(day) for day in plan.ready_range],
        "pours": plan.pours,
        "enough_with": GOOD_ENOUGH,
        "turns": plan.turns,
        "molds_at_work": plan.molds_at_work,
        "molds_to_buy": plan.molds_to_buy,
        "molds_worn": plan.molds_worn,
        "castings_per_day": plan.casts_per_day,
        "rates": {name: _number(rate) for name, rate in plan.rates.items()},
        "bottleneck": plan.bottleneck,
        "ready_without": {name: _day(day) for name, day in plan.relief.items()},
        "earliest": _day(plan.earliest),
        "earliest_molds": plan.earliest_molds,
        "ready_owned": _day(plan.ready_owned),
        "soonest": _day(plan.soonest),
        "most_vessels": plan.most_vessels,
        "remedies": [
            {
                "changes": [{"name": c.name, "now": c.now, "needed": c.needed} for c in remedy.changes],
                "ready": _day(remedy.ready),
            }
            for remedy in plan.remedies
        ],
        "purchase": _purchase(plan.purchase),
        "leftovers": [
            {
                "material": each.material,
                "mass_kg": each.mass,
                "worth": each.worth,
                "keeps_until": _day(each.keeps_until),
                "spoils": each.spoils,
            }
            for each in plan.leftovers
        ],
        "cost_molds_charged": plan.cost_order.per_good_vessel,
        "cost_mold_wear": plan.cost_wear.per_good_vessel,
        "price_floor": plan.price_floor,
        "days": [_day_json(day) for day in plan.schedule.days] if plan.schedule else [],
    }


def _purchase(purchase: Purchase) -> Json:
    return {
        "packs": [
            {"material": line.material, "packs": line.packs, "pack_kg": line.offer.pack}
            for line in purchase.bags
        ],
        "from_stock_kg": dict(purchase.from_stock),
        "left_kg": dict(purchase.left),
        "parts": dict(purchase.parts),
        "total": purchase.total,
    }


def _day_json(day: DayPlan) -> Json:
    return {
        "day": _day(day.day),
        "working": day.working,
        "cast": day.cast,
        "sealed": day.sealed,
        "packed": day.packed,
        "on_shelf": day.on_shelf,
        "off_shelf": day.off_shelf,
        "minutes": day.minutes,
        "limited_by": day.limited_by,
    }


def _ranked(row: Ranked) -> Json:
    plan = row.plan
    return {
        "name": plan.candidate.name,
        "ready": _day(plan.ready),
        "in_time": plan.meets_date,
        "joint_probability": plan.candidate.chance,
        "sure": plan.candidate.sure,
        "molds_to_buy": plan.molds_to_buy,
        "cost_molds_charged": plan.cost_order.per_good_vessel,
        "rank_molds_charged": row.rank_order,
        "tied_molds_charged": row.tied_order,
        "cost_mold_wear": plan.cost_wear.per_good_vessel,
        "rank_mold_wear": row.rank_wear,
        "tied_mold_wear": row.tied_wear,
    }


def _day(day: datetime.date | None) -> str | None:
    return None if day is None else day.isoformat()


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
