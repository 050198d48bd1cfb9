"""Judge one mix from the property functions alone: properties with ranges, limits, money, cautions.

This is the certification every answer passes after rounding; it neither knows nor trusts a solver.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.canonical import canonical_text
from optimizer.chain.predict import PREDICTORS, cast_of, predict
from optimizer.chain.spreads import Around, ranges_of
from optimizer.fingerprint import fingerprint
from optimizer.limit_rows import limit_rows
from optimizer.money.turns import turns_per_day
from optimizer.money.vessel_cost import vessel_cost
from optimizer.nomenclature import QUANTITIES
from optimizer.problem import Problem
from optimizer.shop import Limit
from optimizer.solution import LimitVerdict, Prediction, Solution, WeighedMix
from optimizer.verdict.cautions import cautions_of
from optimizer.verdict.confidence import Doubt, nominal_only
from optimizer.verdict.evidence import cement_notes, evidences, uses
from optimizer.verdict.mix_rules import broken_rules, sets_at_all

__all__ = ["MEETING", "Judgement", "cost_parts_of", "judge", "mix_of_grams", "worst_verdict"]

Array = NDArray[np.float64]

MEETING = 1e-6
"""Row violation that still counts as met: far below what any scale or trial resolves."""

_VERDICTS = ("meets", "too close to call", "fails")


@dataclass(frozen=True)
class Judgement:
    """All that is known of one mix; `sets` is False for one that never hardens into a vessel."""

    mix: WeighedMix
    values: Mapping[str, float]
    properties: Mapping[str, Prediction]
    limits: tuple[LimitVerdict, ...]
    cost_parts: Mapping[str, float]
    turns: int
    coats: float
    cautions: tuple[str, ...]
    notes: tuple[str, ...] = ()
    sets: bool = True

    @property
    def cost(self) -> float | None:
        """Cost of one good vessel [currency], or None without prices."""
        return sum(self.cost_parts.values()) if self.cost_parts else None


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


def judge(problem: Problem, grams: Array, doubt: Doubt | None = None) -> Judgement:
    """Judge the mix of `grams` for one filled cavity.

    Parameters
    ----------
    problem
        What is asked.
    grams
        Masses by material and, last, water, shape (n + 1,) [g].
    doubt
        Compiled uncertainty to reuse.
    """
    doubt = doubt or Doubt(problem)
    mix, per_liter = mix_of_grams(problem, grams)
    cast = cast_of(problem.model, problem.bench, per_liter[None, :])
    values = {name: float(np.ravel(value)[0]) for name, value in predict(cast).items()}
    around = doubt.around(cast)
    ranges = ranges_of(around, values)
    words = evidences(problem, cast, PREDICTORS)
    good_for = uses(problem, cast, words)
    properties = {
        name: Prediction(values[name], *ranges[name], QUANTITIES[name].unit, words[name], good_for[name])
        for name in PREDICTORS
    }
    parts = cost_parts_of(problem, grams, values)
    verdicts = _verdicts(problem, around, values, parts, doubt)
    extrapolated = any(p.evidence == "extrapolated" for p in properties.values())
    turns = turns_per_day(values["demold_time"], problem.job.shop)
    hottest, latest = ranges["casting_peak"][1], ranges["demold_time"][1]
    keys = cautions_of(problem, cast, values, hottest=hottest, latest=latest, extrapolated=extrapolated)
    notes = (*broken_rules(problem, cast), *cement_notes(problem.catalogue, mix.blend))
    sets = sets_at_all(problem, cast)
    return Judgement(
        mix, values, properties, verdicts, parts, turns, values["sealer_coats"], keys, notes, sets
    )


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
    problem: Problem, around: Around, values: Mapping[str, float], parts: Mapping[str, float], doubt: Doubt
) -> tuple[LimitVerdict, ...]:
    chances = doubt.probabilities(problem.job.limits, around)
    out = []
    for limit in problem.job.limits:
        if limit.property == "cost":
            out.append(_cost_verdict(problem, limit, parts))
            continue
        best = min(float(np.ravel(row)[0]) for row in limit_rows(limit, around.center))
        at_best = nominal_only(problem, limit)
        chance = float(best >= -MEETING) if at_best else chances[limit]
        verdict = _word(chance, best >= -MEETING, 0.5 if at_best else problem.job.confidence)
        value = values[limit.property]
        unit = QUANTITIES[limit.property].unit
        judged = "at best value" if at_best else "with its chance"
        if not np.isfinite(value) and limit.property.endswith(("margin", "temperature")):
            verdict = "too close to call"
        out.append(LimitVerdict(limit, unit, value, limit.margin(value), chance, verdict, judged))
    return tuple(out)


def _cost_verdict(problem: Problem, limit: Limit, parts: Mapping[str, float]) -> LimitVerdict:
    value = sum(parts.values()) if parts else float("nan")
    margin = limit.margin(value)
    met = margin >= -1e-9
    word = "meets" if met else "fails" if parts else "too close to call"
    return LimitVerdict(limit, problem.job.currency, value, margin, float(met), word, "at best value")


def _word(chance: float, met: bool, confidence: float) -> str:
    """meets, fails, or neither with the wanted confidence; at even odds the best value decides."""
    if confidence <= 0.5:
        return "meets" if met else "fails"
    if chance >= confidence - 5e-4:
        return "meets"
    return "fails" if chance <= 1.0 - confidence else "too close to call"


def worst_verdict(verdicts: Sequence[LimitVerdict]) -> str:
    """Return the worst of the verdicts; ``meets`` for none."""
    return max((v.verdict for v in verdicts), key=_VERDICTS.index, default="meets")


def solution_of(problem: Problem, status: str, judged: Judgement) -> Solution:
    """Return the plain solution record of a judged mix."""
    answer = Solution(
        status=status,
        job=problem.job,
        mix=judged.mix,
        properties=judged.properties,
        limits=judged.limits,
        cost_parts=judged.cost_parts,
        turns=judged.turns,
        coats=judged.coats,
        cautions=judged.cautions,
        notes=judged.notes,
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
