"""Judge one mix from the property functions alone: properties with ranges, limits, money, cautions.

This is the certification every answer passes after rounding; it neither knows nor trusts a solver.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.canonical import canonical_text
from optimizer.fingerprint import fingerprint
from optimizer.limit_rows import limit_rows
from optimizer.money.mold_turns import turns_per_day
from optimizer.money.vessel_cost import vessel_cost
from optimizer.nomenclature import QUANTITIES
from optimizer.problem import Problem
from optimizer.property_model.predict import PREDICTORS, Cast, cast_of, predict
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
from optimizer.verdict.cautions import cautions_of
from optimizer.verdict.evidence import cement_notes, evidences, uses
from optimizer.verdict.heat_remedies import heat_remedies, remedy_note
from optimizer.verdict.mix_rules import broken_rules, sets_at_all

Array = NDArray[np.float64]

_OPEN = {"cost": NO_PRICE}
"""Why a limit is left open, by property; the others wait for a burn test."""


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
    problem
        What is asked.
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
    taught = _taught_text(problem)
    return replace(answer, fingerprint=fingerprint(problem.job, problem.catalogue, taught, answer.named_mix))


def _taught_text(problem: Problem) -> str:
    """Return what trials have taught the parameters as text; empty for shipped figures."""
    known = problem.parameters
    if not known.origin:
        return ""
    related = () if known.correlation is None else known.correlation.tolist()
    return canonical_text((known.items, related))
