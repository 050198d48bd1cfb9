"""Why an answer is what it is, in sentences: prices of limits, the best single binder, proof and evidence."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from optimizer.job import Job
from optimizer.materials import Catalogue
from optimizer.nomenclature import QUANTITIES, USES, quantity
from optimizer.solution import Alternative, LimitVerdict, Prediction, Proof, Solution
from optimizer.units import System, display_value, show_amount, significant
from optimizer.verdict.evidence import EVIDENCE, EVIDENCE_WORDS
from ui.words import blend_words, money, saving_words, span_words, value_words

HEAT: Final = frozenset({"heat_margin", "outer_wall_temperature", "inner_wall_temperature"})
"""Properties of the vessel in use, which rest on a burn test or on an estimate."""

FILE_NAMES: Final[Mapping[str, str]] = {
    "bounds": "[bounds.{}]",
    "at_most_materials": "at_most_materials",
    "max_coats": "max_coats",
    "measured_outer": "measured_outer in [candle]",
}
"""What a job file calls the settings that reasons speak of."""

_FREE: Final = 5e-4
"""A change of cost below this is nobody's money [currency]."""

_NAMED: Final = 2
"""Limits named for each binder that is not sure enough alone."""

_CENT: Final = 0.005
"""Half the smallest amount printed [currency]."""


def price_words(verdict: LimitVerdict, job: Job, units: System = "metric") -> str:
    """Return what one step of a limit saves, as half a sentence; empty where it saves nothing.

    Examples
    --------
    >>> from optimizer.job import Limit, Vessel
    >>> from optimizer.solution import LimitPrice
    >>> white = Limit("whiteness", ">=", 88.0)
    >>> price_words(LimitVerdict(white, "-", 88.0, 0.0, 0.5, "holds", price=LimitPrice(1.0, -0.06, 0.07)),
    ...             Job("Cup", "EUR", (), Vessel(215.0)))
    'one point less whiteness L* saves 0.06 EUR'
    """
    price = verdict.price
    if price is None or price.loosen is None or abs(price.loosen) <= 1e-9:
        return ""
    if job.objective == "cost" and abs(price.loosen) < _FREE:
        return ""
    way = "more" if verdict.limit.sense == "<=" else "less"
    name = verdict.limit.property
    step = f"{_step_words(name, price.step, units)} {way} {quantity(name).label}"
    return f"{step} {_gain_words(price.loosen, job, units)}"


def _step_words(name: str, step: float, units: System) -> str:
    unit = quantity(name).unit
    if unit in ("-", "class", "count"):
        word = {"-": "point", "class": "class", "count": "step"}[unit]
        return f"one {word}" if step == 1.0 else f"{step:g} {word}s"
    if unit == "fraction":
        return f"{100.0 * step:g} points of"
    if units == "us" or unit == "degC":
        number, _, word = show_amount(step, "K" if unit == "degC" else unit, 2, units).partition(" ")
        return f"{float(number):g} {_bare(word)}"
    return f"{step:g} {unit}"


def _bare(unit: str) -> str:
    """Return a unit without the word difference: a step more or less of something is one anyway."""
    return unit.removesuffix(" difference")


def _gain_words(change: float, job: Job, units: System) -> str:
    if job.objective == "cost":
        return (
            f"saves {money(-change, job.currency)}"
            if change <= -0.005
            else f"saves under 0.01 {job.currency}"
        )
    label = quantity(job.objective).label
    number, unit = display_value(abs(change), job.objective, units)
    unit = _bare(unit)
    if quantity(job.objective).unit == "degC" and units == "us":
        number, unit = 1.8 * abs(change), "°F"
    return f"gives {significant(number, 2)} {unit} {'more' if change > 0.0 else 'less'} {label}".replace(
        "  ", " "
    )


def limit_sentence(solution: Solution, units: System = "metric") -> str:
    """Return which limit costs most and what one step of each tight limit would save."""
    job = solution.job
    priced = [v for v in solution.limits if price_words(v, job, units)]
    if not priced:
        if any(v.price is not None for v in solution.limits):
            return "No limit is in the way: none of them alone would improve the blend if loosened by a step."
        return ""
    priced.sort(key=lambda v: -abs(v.price.loosen or 0.0) if v.price else 0.0)
    costs = "costs most" if job.objective == "cost" else "holds most back"
    if job.objective == "cost" and abs(priced[0].price.loosen or 0.0 if priced[0].price else 0.0) < _CENT:
        return f"No limit costs much: a step less of any saves under 0.01 {job.currency} a vessel."
    steps = "; ".join(price_words(v, job, units) for v in priced)
    each = " a vessel" if job.objective == "cost" else ""
    label = quantity(priced[0].limit.property).label
    return f"{label[0].upper()}{label[1:]} {costs}: {steps}{each}."


def single_binder_words(solution: Solution, catalogue: Catalogue, units: System = "metric") -> str:
    """Return how the blend compares with the best mix of one binder at equal limits; empty if not known."""
    alone = [a for a in solution.alternatives if a.name.endswith(" alone")]
    if not alone or solution.mix is None:
        return ""
    sign = -1.0 if solution.job.maximize else 1.0
    able = [a for a in alone if a.objective is not None]
    if not able:
        reasons = "; ".join(f"{a.name.partition(' (')[0]}: {_labels(a.fails[:_NAMED])}" for a in alone)
        return f"No binder without another is as sure as asked; the least sure of each: {reasons}."
    best = min(able, key=lambda a: sign * (a.objective or 0.0))
    if set(best.blend) == set(solution.mix.blend):
        return "One binder is enough: no other beside it makes a better blend."
    names = blend_words(best.blend, catalogue)
    return f"The best mix with one binder at the same limits: {names}, {_against(solution, best, units)}."


def _against(solution: Solution, other: Alternative, units: System) -> str:
    job, value = solution.job, other.objective or 0.0
    if job.objective != "cost" or solution.cost is None:
        return value_words(job.objective, value, units)
    saved = saving_words(value, solution.cost, job.currency)
    return f"{money(value, job.currency)}; this blend {saved}"


def _labels(names: Sequence[str]) -> str:
    return _listed([quantity(name).label if name in QUANTITIES else name for name in names])


def _listed(words: Sequence[str]) -> str:
    return " and ".join(words) if len(words) < 3 else f"{', '.join(words[:-1])} and {words[-1]}"


def proof_words(proof: Proof) -> str:
    """Return how near the best blend at best values, from which the search starts, is to the best there is.

    Examples
    --------
    >>> proof_words(Proof(True, 3.408, 0.0006, 0.09, True))
    'With every figure at its best value, the search is proved within 0.1 % of the best there is.'
    """
    if proof.infeasible:
        return "Proved: no blend of these materials meets the limits in this model."
    if not math.isfinite(proof.gap):
        return "How near the search comes to the best there is, even at best values, is not proved."
    within = f"{significant(100.0 * max(proof.gap, 1e-4), 1)} %"
    near = "0.1 %" if proof.proved and proof.gap <= 1e-3 else within
    shown = "proved within" if proof.proved else "within"
    return f"With every figure at its best value, the search is {shown} {near} of the best there is."


def barred_words(solution: Solution) -> tuple[str, ...]:
    """Return the rules of mixing that stand against an answer, a sentence each.

    Of a blend those that it breaks, of an answer without one those that keep out blends which would do.
    """
    if not solution.barred_by:
        return ()
    if solution.mix is not None:
        return (*solution.barred_by, "No design breaks a rule of mixing.")
    rules = "; or ".join(solution.barred_by)
    return (f"A rule of mixing keeps out blends that would meet them at best values: {rules}.",)


def no_blend_words(solution: Solution, names: Mapping[str, str] = FILE_NAMES) -> list[str]:
    """Return what to know before a limit is loosened: how sure the heat is, what else stands.

    Parameters
    ----------
    solution : Solution
        An answer without a blend.
    names : Mapping[str, str]
        What the reader knows the settings by; those of the job file, unless others are given [-].
    """
    changed = [limit for change in solution.relaxations for limit in change.limits]
    hot = [limit.property for limit in (*solution.conflict, *changed) if limit.property in HEAT]
    shelf = stock_words(solution.job, dict.fromkeys(solution.job.shelf, ""))
    return [*shelf, *(_heat_words(solution, names) if hot else ()), *_bound_words(solution, names)]


def stock_words(job: Job, labels: Mapping[str, str]) -> list[str]:
    """Return what counted of a shelf that alone may be poured from; nothing where powders may be bought.

    Parameters
    ----------
    labels : Mapping[str, str]
        What the reader knows the powders by; an empty text leaves the name of the job file [-].
    """
    if not job.shelf:
        return []
    names = ", ".join(labels.get(name) or name for name in job.shelf)
    return [f"Only what stands on the shelf counts: {names}. A powder that states no stock counts as none."]


def _heat_words(solution: Solution, names: Mapping[str, str]) -> Iterator[str]:
    candle = solution.job.candle
    if candle is not None and candle.measured_outer is None:
        yield (
            "The heat in use is an estimate without a burn test: burn one under watch and write the outer "
            f"wall you measure as {names['measured_outer']}."
        )
    yield "A smaller wick, fewer wicks, or a thicker or wider wall lower the heat with the same blend."


def _bound_words(solution: Solution, names: Mapping[str, str]) -> Iterator[str]:
    job = solution.job
    held = [names["bounds"].format(name) for name in job.bounds]
    held += [names["at_most_materials"]] if job.at_most_materials is not None else []
    held += [names["max_coats"]] if "shop.max_coats" in job.stated else []
    if held:
        alone = any(len(change.limits) == 1 for change in solution.relaxations)
        start = "The limits stand" if alone else "No single limit is enough: they stand"
        yield f"{start} beside what the job sets with {_listed(held)}; widening that may do as well."


def evidence_words(properties: Mapping[str, Prediction]) -> list[str]:
    """Return what the predictions rest on, one line for each kind of evidence."""
    kinds: dict[str, list[str]] = {}
    for name, prediction in properties.items():
        kinds.setdefault(prediction.evidence, []).append(quantity(name).label)
    if len(kinds) == 1:
        return [f"{EVIDENCE_WORDS[key]}: {EVIDENCE[key]}." for key in kinds]
    return [f"{EVIDENCE_WORDS[key]} ({EVIDENCE[key]}): {'; '.join(labels)}." for key, labels in kinds.items()]


def fit_words(solution: Solution, units: System = "metric") -> str:
    """Return what setting and drying do to the vessel's outside, for whoever fits lids, jars or cartons."""
    vessel = solution.job.vessel
    told = []
    for name, words in (("setting_expansion", "setting adds"), ("drying_shrinkage", "drying takes")):
        known = solution.properties[name]
        best, *ends = (
            show_amount(vessel.wider(each), "mm", 2, units) for each in (known.value, known.low, known.high)
        )
        told.append(f"{words} {best} ({span_words(*ends)})")
    outside = show_amount(vessel.outer_diameter, "mm", 3, units)
    return f"Lids and jars: over {outside} outside, {' and '.join(told)}; measure yours before you order."


def use_words(properties: Mapping[str, Prediction]) -> list[str]:
    """Return what the predictions are good for, one line for each use, in the order of `USES`."""
    kinds: dict[str, list[str]] = {use: [] for use in USES}
    for name, prediction in properties.items():
        kinds[prediction.use].append(quantity(name).label)
    return [
        f"{words[0].upper()}{words[1:]}: {'; '.join(kinds[use])}."
        for use, words in USES.items()
        if kinds[use]
    ]
