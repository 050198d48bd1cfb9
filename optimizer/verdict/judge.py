"""Judge one mix from the property functions alone: properties with ranges, limits, money, cautions.

This is the certification every answer passes after rounding; it neither knows nor trusts a solver.

With what any mix must keep whatever the limits (`broken_rules`), and what another vessel or wick does to the
heat margin of this one (`heat_remedies`), worked out for the job by no fixed rule.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.fingerprint import fingerprint
from optimizer.job import Candle, Job
from optimizer.money.capacity import turns_per_day
from optimizer.money.vessel_cost import vessel_cost
from optimizer.nomenclature import QUANTITIES
from optimizer.problem import Problem, limit_rows
from optimizer.property_model.coefficients import SAND_DENSITY
from optimizer.property_model.microstructure import demand_of
from optimizer.property_model.predict import PREDICTORS, Cast, cast_of, conditions_of, predict
from optimizer.solution import (
    BURN_FIRST,
    NO_PRICE,
    WITH_ITS_CHANCE,
    LimitVerdict,
    Prediction,
    Solution,
    WeighedMix,
)
from optimizer.verdict.assess import FAILS, HOLDS, MET, UNCERTAIN, Assessment, assess, word_of
from optimizer.verdict.evidence import cautions_of, cement_notes, evidences, uses

Array = NDArray[np.float64]

_OPEN = {"cost": NO_PRICE}
"""Why a limit is left open, by property; the others wait for a burn test."""

_SLACK = 1e-6

_THICKER: Final = 2.0
"""Wall that a thicker vessel has more [mm]."""

_WIDER: Final = 10.0
"""Outer diameter that a wider vessel has more [mm]."""

_SMALLER: Final = 0.8
"""What a smaller wick burns of the present one's wax [-]."""


@dataclass(frozen=True)
class Judgement:
    """All that is known of one mix.

    Attributes
    ----------
    mix : WeighedMix
        What was judged.
    values : Mapping[str, float]
        Properties at best values [their units].
    properties : Mapping[str, Prediction]
        The same with ranges and evidence.
    limits : tuple[LimitVerdict, ...]
        Every limit judged.
    cost_parts : Mapping[str, float]
        Money in one good vessel at best values, by part [currency]; empty without prices.
    turns, coats : int, float
        Castings of a mold a day, coats of sealer, at best values [count].
    cautions, notes : tuple[str, ...]
        Keys of the cautions, and what else to know.
    assessment : Assessment
        The mix in draws.
    confidence : float
        Chance that was asked for [fraction].
    broken : tuple[str, ...]
        Rules of mixing that it breaks, a sentence each.
    sets : bool
        False for a mix that never hardens into a vessel.
    """

    mix: WeighedMix
    values: Mapping[str, float]
    properties: Mapping[str, Prediction]
    limits: tuple[LimitVerdict, ...]
    cost_parts: Mapping[str, float]
    turns: int
    coats: float
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    assessment: Assessment
    confidence: float
    broken: tuple[str, ...]
    sets: bool

    @property
    def verdict(self) -> str:
        """Whether all limits hold together: ``holds``, ``uncertain`` or ``fails``.

        A mix that breaks a rule of mixing, which no design does, never simply holds.
        """
        word = word_of(self.assessment.joint_probability, self.confidence) if self.sets else FAILS
        return UNCERTAIN if word == HOLDS and self.broken else word


def mix_of_grams(problem: Problem, grams: Array) -> tuple[WeighedMix, Array]:
    """Return the weighed mix of masses by material and water [g], and the same per liter [kg/L]."""
    liters = grams @ problem.model.column("volume") * 1e-3 / (1.0 - float(problem.model["air"]))
    per_liter = grams * 1e-3 / liters
    dry = grams[:-1].sum()
    used = [k for k in range(len(problem.names)) if grams[k] > 0.0]
    named = {problem.names[k]: float(grams[k]) for k in used}
    blend = {problem.names[k]: float(grams[k] / dry) for k in used}
    mix = WeighedMix(
        {**named, "water": float(grams[-1])}, blend, float(grams[-1] / dry), tuple(map(float, per_liter))
    )
    return mix, per_liter


def judge(problem: Problem, grams: Array) -> Judgement:
    """Judge the mix of `grams` for one filled cavity.

    Parameters
    ----------
    grams
        Masses by material and, last, water, shape (n + 1,) [g].
    """
    mix, per_liter = mix_of_grams(problem, grams)
    cast = cast_of(problem.model, problem.conditions, per_liter[None, :])
    values = {name: float(np.ravel(value)[0]) for name, value in predict(cast).items()}
    seen = assess(problem, per_liter)
    ranges = {name: _holding(seen.ranges[name], value) for name, value in values.items()}
    words = evidences(problem, cast, PREDICTORS)
    good_for = uses(problem, cast, words)
    properties = {
        name: Prediction(values[name], *ranges[name], QUANTITIES[name].unit, words[name], good_for[name])
        for name in PREDICTORS
    }
    parts = cost_parts_of(problem, grams, values)
    verdicts = _verdicts(problem, cast, values, parts, seen)
    extrapolated = any(p.evidence == "extrapolated" for p in properties.values())
    turns = turns_per_day(values["demold_time"], problem.job.shop)
    hottest, latest = ranges["casting_peak"][1], ranges["demold_time"][1]
    keys = cautions_of(problem, cast, values, hottest=hottest, latest=latest, extrapolated=extrapolated)
    broken = broken_rules(problem, cast)
    notes = cement_notes(problem.catalogue, mix.blend)
    if values["heat_margin"] < 0.0:
        notes = (*notes, remedy_note(heat_remedies(problem, per_liter)))
    sets = sets_at_all(problem, cast)
    coats, confidence = values["sealer_coats"], problem.job.confidence
    return Judgement(
        mix,
        values,
        properties,
        verdicts,
        parts,
        turns,
        coats,
        keys,
        notes,
        seen,
        confidence,
        broken=broken,
        sets=sets,
    )


def _holding(ends: tuple[float, float], value: float) -> tuple[float, float]:
    """Return a range widened to hold the best value, which may lie at an edge of what is drawn."""
    low, high = ends
    return (low, high) if np.isnan(value) else (min(low, value), max(high, value))


def cost_parts_of(problem: Problem, grams: Array, values: Mapping[str, float]) -> Mapping[str, float]:
    """Return the money in one good vessel by part; empty without a price or where coats never seal."""
    prices = problem.prices[:-1]
    used = grams[:-1] > 0.0
    if np.any(np.isnan(prices[used])) or not np.isfinite(values["sealer_coats"]):
        return {}
    shop = problem.job.shop
    money = np.where(used, grams[:-1] * 1e-3 * np.nan_to_num(prices), 0.0)
    fine = np.array([m.role in ("pigment", "admixture") for m in problem.materials])
    return vessel_cost(
        float(money[~fine].sum()),
        float(money[fine].sum()),
        float(grams[-1]) * 1e-3 * shop.water_price,
        turns=turns_per_day(values["demold_time"], shop),
        coats=values["sealer_coats"],
        drying_days=values["drying_time"],
        shipped_mass=values["dry_mass"] + shop.shipped_extras,
        shop=shop,
    ).parts


def _verdicts(
    problem: Problem, cast: Cast, values: Mapping[str, float], parts: Mapping[str, float], seen: Assessment
) -> tuple[LimitVerdict, ...]:
    out = []
    for limit, left_open in zip(seen.limits, seen.open, strict=True):
        if limit.property == "cost":
            value, unit = sum(parts.values()) if parts else float("nan"), problem.job.currency
            best = limit.margin(value)
        else:
            value, unit = values[limit.property], QUANTITIES[limit.property].unit
            best = min(float(np.ravel(row)[0]) for row in limit_rows(limit, cast))
        chance = seen.probabilities[limit]
        word = UNCERTAIN if left_open else word_of(chance, problem.job.confidence)
        judged = _OPEN.get(limit.property, BURN_FIRST) if left_open else WITH_ITS_CHANCE
        met = bool(best >= -MET)
        out.append(LimitVerdict(limit, unit, value, limit.margin(value), chance, word, judged, met))
    return tuple(out)


def solution_of(problem: Problem, status: str, judged: Judgement) -> Solution:
    """Return the plain solution record of a judged mix."""
    answer = Solution(
        status=status,
        job=problem.job,
        mix=judged.mix,
        properties=judged.properties,
        limits=judged.limits,
        joint_probability=judged.assessment.joint_probability,
        decisive=judged.assessment.decisive,
        expected=judged.assessment.cost,
        parts_at_best_values=judged.cost_parts,
        turns=judged.turns,
        coats=judged.coats,
        cautions=judged.cautions,
        notes=judged.notes,
        barred_by=judged.broken,
        verdict=judged.verdict,
    )
    taught = problem.parameters.taught_text
    return replace(answer, fingerprint=fingerprint(problem.job, problem.catalogue, taught, answer.named_mix))


def sets_at_all(problem: Problem, cast: Cast) -> bool:
    """Return False for a mix with too little binder to harden."""
    return bool(cast.body.hydrates[0] >= float(problem.model["binder_floor"]) * (1.0 - _SLACK))


def broken_rules(problem: Problem, cast: Cast) -> tuple[str, ...]:
    """Return a sentence for each rule of the trade that the one mix of `cast` breaks."""
    return (*_water_rules(problem, cast), *_grain_rules(problem, cast), *_share_rules(problem, cast))


def _water_rules(problem: Problem, cast: Cast) -> Iterator[str]:
    body = cast.body
    if not sets_at_all(problem, cast):
        yield "Too little binder: this mix does not harden into a vessel."
        return
    powder = cast.mixes[0, :-1]
    ratio = float(cast.mixes[0, -1] / powder.sum())
    wanted = float(demand_of(problem.model, (powder / powder.sum())[None, :])[0])
    if body.degree[0] < 1.0 or ratio * float(powder.sum()) < float(body["bound"][0]):
        yield "Water is below what the binders need to hydrate: part of them stays powder."
    if ratio < wanted * (1.0 - 1e-3):
        yield f"Water {ratio:.3f} per powder is below the {wanted:.3f} it takes to pour: expect voids."
    ceiling = float(problem.model["water_ceiling"])
    if ratio > wanted * ceiling * (1.0 + _SLACK):
        yield f"Water {ratio:.3f} per powder is above {wanted * ceiling:.3f}: the mix bleeds and settles."


def _grain_rules(problem: Problem, cast: Cast) -> Iterator[str]:
    body, model = cast.body, problem.model
    grains = float(body["heavy"][0] + body["light"][0])
    if grains > float(model["grain_ceiling"]) + _SLACK:
        most = float(model["grain_ceiling"])
        yield f"Grains fill {grains:.0%} of the mix, above {most:.0%}: it will not flow."
    sand = float(body["sand"][0] / max(float(body["powder"][0]), 1e-9))
    ceiling = float(
        body.gypsum_share[0] * model["sand_ceiling_gypsum"] + body.csa_share[0] * model["sand_ceiling_csa"]
    )
    if sand > ceiling + _SLACK:
        yield f"Sand is {sand:.0%} of the powder, a mortar's own included; this binder carries {ceiling:.0%}."
    if sand > 0.0 and 1.0 - grains < float(model["paste_to_sand"]) * float(body["sand"][0]) / SAND_DENSITY:
        yield "There is too little paste to fill the voids of the sand."


def _share_rules(problem: Problem, cast: Cast) -> Iterator[str]:
    powder = cast.mixes[0, :-1]
    binder = float(powder @ problem.model.column("binder")[:-1])
    pigment = float(powder @ problem.model.column("pigment")[:-1])
    if pigment > float(problem.model["pigment_ceiling"]) * binder + _SLACK:
        share = pigment / max(binder, 1e-9)
        yield f"Pigments are {share:.0%} of the binder, above 10 % (ASTM C979, all pigments together)."
    gypsum = any(problem.model.kinds[k] == "gypsum" for k in np.flatnonzero(powder > 0.0))
    for k in np.flatnonzero(powder > 0.0):
        material, most = problem.materials[k], problem.bounds[k].most
        share = float(powder[k] / powder.sum())
        if material.role != "binder" and share > most + 1e-4:
            told = f"{100.0 * share:.3g} % of the powder, above the {100.0 * most:.3g} %"
            yield f"{material.label} is {told} it is used at."
        dose = 100.0 * powder[k] / max(binder, 1e-9)
        most_dose = 100.0 * problem.most_dose(int(k), gypsum=gypsum)
        if dose > most_dose * (1.0 + _SLACK):
            yield f"{material.label} is {dose:.2f} % of the binder, above {most_dose:g} %."


def heat_remedies(problem: Problem, mix: Array) -> Mapping[str, float]:
    """Return the heat margin that each remedy adds to one mix, negative where it makes things worse [K].

    Parameters
    ----------
    problem
        What is asked; without a candle there is nothing to mend.
    mix
        Kilograms per liter, shape (n + 1,) [kg/L].

    Notes
    -----
    Each is the whole estimate worked out again for the changed job. A burn test says nothing of another
    vessel or wick, so the estimate without it is compared.
    """
    candle = problem.job.candle
    if candle is None:
        return {}
    unread = replace(candle, measured_outer=None)
    before = _margin(problem, mix, replace(problem.job, candle=unread))
    return {name: _margin(problem, mix, job) - before for name, job in _changed(problem.job, unread).items()}


def remedy_note(remedies: Mapping[str, float]) -> str:
    """Return the remedies as one sentence, the best first.

    Examples
    --------
    >>> remedy_note({"a wall 2 mm thicker": -0.8, "a smaller wick": 3.06})
    'By estimate the heat margin changes by +3.1 K with a smaller wick, -0.8 K with a wall 2 mm thicker.'
    """
    best = sorted(remedies.items(), key=lambda pair: -pair[1])
    told = ", ".join(f"{change:+.1f} K with {name}" for name, change in best)
    return f"By estimate the heat margin changes by {told}."


def _changed(job: Job, candle: Candle) -> dict[str, Job]:
    vessel = job.vessel
    smaller = replace(candle, burn_rate=_SMALLER * candle.burn_rate)
    wider = replace(vessel, outer_diameter=vessel.outer_diameter + _WIDER)
    jobs = {
        f"a vessel {_WIDER:g} mm wider": replace(job, candle=candle, vessel=wider),
        "a wick that burns a fifth less": replace(job, candle=smaller),
    }
    if vessel.outer_diameter > 2.0 * (vessel.wall + _THICKER) + 1.0:
        thicker = replace(vessel, wall=vessel.wall + _THICKER)
        jobs[f"a wall {_THICKER:g} mm thicker"] = replace(job, candle=candle, vessel=thicker)
    return jobs


def _margin(problem: Problem, mix: Array, job: Job) -> float:
    there = cast_of(problem.model, conditions_of(job), mix[None, :])
    return float(np.ravel(PREDICTORS["heat_margin"](there))[0])
