"""Answers as plain data: the JSON of every question, and the CSV of a frontier.

Returns, never prints. Digits are not rounded here; people-facing rounding is `optimizer.units.show`.
"""

from __future__ import annotations

import csv
import io
import math
from typing import TYPE_CHECKING, Any

from optimizer.job import DAMP_CLASSES, Limit
from optimizer.money.capacity import GOOD_ENOUGH
from optimizer.nomenclature import CAUTIONS, QUANTITIES, quantity
from optimizer.solution import (
    NO_BLEND,
    NOT_SURE,
    Alternative,
    LimitVerdict,
    Prediction,
    Proof,
    Relaxation,
    Solution,
    Stands,
    TrialWorth,
)
from optimizer.tables import csv_number
from optimizer.units import System, convert

if TYPE_CHECKING:
    import datetime

    from optimizer.money.order import OrderPlan, Ranked
    from optimizer.money.purchase import Purchase
    from optimizer.money.schedule import DayPlan
    from optimizer.studies.check import Batch, Comparison
    from optimizer.studies.frontier import Frontier
    from optimizer.studies.order_blends import OrderAnswer

Json = dict[str, Any]


def solution_json(solution: Solution) -> Json:
    """Return the JSON of one solution; keys as documented in README, numbers unrounded, no NaN."""
    out: Json = {"status": solution.status, "title": solution.job.title}
    if solution.mix is not None:
        out |= {
            "blend": dict(solution.mix.blend),
            "water_ratio": solution.mix.water_ratio,
            "per_vessel": dict(solution.mix.grams),
            "properties": {name: _prediction(name, p) for name, p in solution.properties.items()},
            "limits": [_verdict(v) for v in solution.limits],
            "cost": _cost(solution),
            "joint_probability": solution.joint_probability,
            "confidence": solution.job.confidence,
            "decisive_limit": None if solution.decisive is None else limit_words(solution.decisive),
            "coats": _number(solution.coats),
            "stands": _stands(solution.stands),
            "worth_a_trial": [trial_worth_json(each) for each in solution.worth_a_trial],
            "turns": solution.turns,
        }
    out |= _explanations(solution)
    out["cautions"] = [CAUTIONS[key] for key in solution.cautions]
    out["notes"] = list(solution.notes)
    out["barred_by"] = list(solution.barred_by)
    out["fingerprint"] = solution.fingerprint
    return out


def _certificate(proof: Proof) -> Json:
    return {
        "proved": proof.proved,
        "gap": _number(proof.gap),
        "bound": _number(proof.bound),
        "seconds": proof.seconds,
        "finished": proof.finished,
        "infeasible": proof.infeasible,
        "unused": list(proof.unused),
    }


def _explanations(solution: Solution) -> Json:
    out: Json = {}
    if solution.proof is not None:
        out["certificate"] = _certificate(solution.proof)
    if solution.status in (NOT_SURE, NO_BLEND):
        out["relaxations"] = [_relaxation(r) for r in solution.relaxations]
    if solution.status == NO_BLEND:
        out["conflict"] = [limit_words(limit) for limit in solution.conflict]
    if solution.price_switches:
        out["price_switches"] = dict(solution.price_switches)
    out["alternatives"] = [_alternative(a) for a in solution.alternatives]
    if solution.nominal is not None:
        out["nominal"] = _alternative(solution.nominal)
    return out


def comparison_json(comparison: Comparison) -> Json:
    """Return the JSON of a candidate beside the present blend."""
    return {
        **solution_json(comparison.candidate),
        "against": solution_json(comparison.present),
        "saving": comparison.saving,
        "even_prices_per_kg": {
            name: {"now": now, "even": even} for name, (now, even) in comparison.even_prices.items()
        },
        "saving_share_of_present_cost": comparison.share,
        "retest": list(comparison.retest),
    }


def batch_json(batch: Batch) -> Json:
    """Return the JSON of one mix, waste included, in weighing order."""
    return {
        "vessels": batch.vessels,
        "mixes": batch.mixes,
        "vessels_per_mix": batch.per_mix,
        "grams_per_mix": dict(batch.grams),
        "fill_per_mold": batch.fill,
    }


def limit_words(limit: Limit) -> str:
    """Return a limit as one would type it, in the vocabulary's unit.

    Examples
    --------
    >>> limit_words(Limit("demold_time", "<=", 35.0))
    'demold_time <= 35 min'
    """
    unit = QUANTITIES[limit.property].unit
    if limit.property == "damp_risk":
        return f"damp_risk {limit.sense} {DAMP_CLASSES[int(limit.bound)]}"
    words = f"{limit.property} {limit.sense} {limit.bound:g}"
    return words if unit in ("-", "count", "fraction", "currency") else f"{words} {unit}"


def _prediction(name: str, prediction: Prediction) -> Json:
    if name == "damp_risk":
        words = {key: DAMP_CLASSES[int(getattr(prediction, key))] for key in ("value", "low", "high")}
        return {**words, "unit": prediction.unit, "evidence": prediction.evidence, "use": prediction.use}
    return {
        "value": _number(prediction.value),
        "low": _number(prediction.low),
        "high": _number(prediction.high),
        "unit": prediction.unit,
        "evidence": prediction.evidence,
        "use": prediction.use,
    }


def _verdict(verdict: LimitVerdict) -> Json:
    price = verdict.price
    return {
        "property": verdict.limit.property,
        "sense": verdict.limit.sense,
        "bound": verdict.limit.bound,
        "unit": verdict.unit,
        "value": _number(verdict.value),
        "margin": _number(verdict.margin),
        "probability": verdict.probability,
        "verdict": verdict.verdict,
        "judged": verdict.judged,
        "met_at_best_values": verdict.met,
        "price": None
        if price is None
        else {"loosen": price.loosen, "tighten": price.tighten, "step": price.step},
    }


def _stands(known: Stands | None) -> Json | None:
    """Return grams that may be missing or too much; none where no error looked at matters."""
    if known is None:
        return None
    rooms = {"water": known.water_room, known.powder: known.powder_room}
    return {
        "vessels": known.vessels,
        "grams": {name: {"less": _number(x.less), "more": _number(x.more)} for name, x in rooms.items()},
    }


def trial_worth_json(worth: TrialWorth) -> Json:
    """Return the JSON of what a trial is worth; money in the job's currency."""
    return {
        "blend": dict(worth.blend),
        "water_ratio": worth.water_ratio,
        "joint_probability": worth.chance,
        "cost_if_it_holds": _number(worth.cost_if_it_holds),
        "saves": worth.saves,
        "trial_cost": worth.trial_cost,
        "worth": worth.worth,
        "vessels": worth.vessels,
        "pays_from_vessels": _number(worth.pays_from_vessels),
    }


def _cost(solution: Solution) -> Json | None:
    expected = solution.expected
    if expected is None:
        return None
    return {
        "per_good_vessel": _number(expected.value),
        "expected": {key: _number(getattr(expected, key)) for key in ("value", "low", "high")},
        "at_best_values": solution.cost_at_best_values,
        "currency": solution.job.currency,
        "parts": {name: _number(part) for name, part in expected.parts.items()},
        "example_prices": solution.job.example_prices,
    }


def _relaxation(relaxation: Relaxation) -> Json:
    return {
        "limits": [limit_words(limit) for limit in relaxation.limits],
        "changes": [{"property": x.property, "sense": x.sense, "bound": x.bound} for x in relaxation.limits],
        "objective": relaxation.objective,
    }


def _alternative(alternative: Alternative) -> Json:
    return {
        "name": alternative.name,
        "blend": dict(alternative.blend),
        "water_ratio": alternative.water_ratio,
        "objective": alternative.objective,
        "fails": list(alternative.fails),
    }


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def frontier_json(found: Frontier) -> Json:
    """Return the JSON of a frontier; every blend with all of its properties."""
    return {
        "over": list(found.over),
        "senses": list(found.senses),
        "knee": found.knee,
        "points": [
            {
                "blend": dict(b.blend),
                "water_ratio": b.water_ratio,
                "joint_probability": b.joint_probability,
                "vessels_per_mix": b.vessels_per_mix,
                "grams_per_mix": dict(b.grams),
                "turns": b.turns,
                "coats": b.coats,
                "values": {name: _number(value) for name, value in b.values.items()},
                **({} if b.proof is None else {"certificate": _certificate(b.proof)}),
            }
            for b in found.blends
        ],
    }


def frontier_csv(found: Frontier, currency: str, units: System = "metric") -> str:
    """Return a frontier as CSV: traded quantities with their units, chance, shares, water, grams of a mix.

    Parameters
    ----------
    units : str
        ``metric`` or ``us``; grams stay grams, for the scale [-].
    """
    rows = found.rows()
    shown = {name: _csv_unit(name, units) for name in found.over if name in rows[0]}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        f"{name} [{shown[name].replace('currency', currency)}]" if name in shown else name for name in rows[0]
    )
    for row in rows:
        values = row | {name: convert(row[name], quantity(name).unit, unit) for name, unit in shown.items()}
        writer.writerow(map(csv_number, values.values()))
    return out.getvalue()


def _csv_unit(name: str, units: System) -> str:
    row = quantity(name)
    return row.us_unit if units == "us" else row.unit


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
    blend = solution_json(answer.solution)
    blend.pop("worth_a_trial", None)  # an order asks for none
    return {
        "order": asked,
        "status": answer.plan.status,
        "confidence": answer.solution.job.confidence,
        "joint_probability": answer.solution.joint_probability,
        "plan": _plan(answer.plan),
        "blend": blend,
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
