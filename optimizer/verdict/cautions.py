"""The cautions that travel with a result, chosen by what is in the mix and what it will do.

Texts say what to do and defer to local codes, standards and accredited test houses.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from optimizer.chain.predict import Cast
from optimizer.problem import Problem
from optimizer.properties.casting_heat import adiabatic_temperature

__all__ = ["CAUTIONS", "cautions_of"]

CAUTIONS: Final[dict[str, str]] = {
    "silica": "Dust holds crystalline silica: wear a fitted N95/P2 mask or better when tipping and sanding, "
    "clean wet or with a HEPA vacuum, never dry-sweep (OSHA 29 CFR 1926.1153; follow local rules).",
    "dust": "Powder dust: keep it down, wear a dust mask, tip bags low.",
    "alkali": "Wet cement is caustic and burns without hurting at first: gloves that stand alkali, sealed "
    "goggles, rinse at once with plenty of water.",
    "skin": "Never cast on or around skin: setting mix grips and gets hot.",
    "setting_heat": "The mix may pass 48 degC while it sets: do not touch, and spread leftovers thin; a "
    "bucketful gets far hotter.",
    "candle": "A dry mineral wall drinks wax and can act as a wick: seal the inside with a heat-proof "
    "sealer, cure it, and burn at least three pieces to the end under watch before anyone else does.",
    "retest": "New blend, water or sealer makes a new vessel: repeat the seal check and the burn test.",
    "heat_estimate": "Heat in use is an estimate: burn one and enter the outer wall you measure.",
    "heat_negative": "The wall near the flame runs hotter than its mineral keeps its crystal water: expect "
    "slow powdering there. A smaller wick or a thicker or wider wall helps; a test burn decides.",
    "certify": "A calculated margin certifies nothing: local codes, the candle fire standards and an "
    "accredited test house have the last word.",
    "damp": "Late ettringite may crack this mix in damp: keep it dry, or use less gypsum beside cement.",
    "bleeding": "More water than the powders hold: grains settle and the face may bleed.",
    "gypsum_water": "Gypsum softens when wet: dry rooms only, not for food, dishwasher or frost.",
    "disposal": "Let leftovers set and bin them: never down the drain; keep gypsum out of organic waste.",
    "titanium_dust": "Titanium white dust: do not breathe it; weigh it in still air.",
    "extrapolated": "Nobody has published gypsum and cement mixed like this: cast a trial before you "
    "promise it.",
}
"""Caution texts by key."""

_TOUCH = 48.0
"""Stone-like surface that burns within 10 minutes [degC]: Czech Regulation 361/2007, as ISO 13732-1."""


def cautions_of(
    problem: Problem, cast: Cast, values: Mapping[str, float], extrapolated: bool
) -> tuple[str, ...]:
    """Return the keys of the cautions of one mix, most urgent first."""
    used = np.flatnonzero(cast.mixes[0, :-1] > 1e-9)
    stated = {key for k in used for key in problem.materials[k].cautions}
    keys = ["skin"] if any(problem.materials[k].role == "binder" for k in used) else []
    if values["crystalline_silica"] > 0.001:
        keys.append("silica")
    if any(problem.materials[k].kind == "csa" for k in used):
        keys.append("alkali")
    if values["casting_peak"] > _TOUCH or _bucket(problem, cast) > _TOUCH:
        keys.append("setting_heat")
    keys.extend(_heat_keys(problem, values))
    keys.extend(_body_keys(problem, cast, values))
    if extrapolated:
        keys.append("extrapolated")
    keys.extend(key for key in ("titanium_dust", "dust") if key in stated)
    keys.extend(("candle", "retest", "certify", "disposal"))
    return tuple(dict.fromkeys(keys))


def _bucket(problem: Problem, cast: Cast) -> float:
    """Return what a leftover in the bucket comes close to [degC]."""
    body = cast.body
    heat = body["heat_gypsum"] + np.maximum(body["heat_csa"], 0.0)
    hot = adiabatic_temperature(heat, body["capacity"], problem.job.shop.temperature)
    return float(np.ravel(hot)[0])


def _heat_keys(problem: Problem, values: Mapping[str, float]) -> list[str]:
    candle = problem.job.candle
    keys = [] if candle is not None and candle.measured_outer is not None else ["heat_estimate"]
    if values["heat_margin"] < 0.0:
        keys.append("heat_negative")
    return keys


def _body_keys(problem: Problem, cast: Cast, values: Mapping[str, float]) -> list[str]:
    keys = ["damp"] if values["damp_risk"] >= 1.0 else []
    wanted = cast.body["demand"][0]
    if wanted > 0.0 and cast.body["water"][0] > float(problem.model["bleeding_water"]) * wanted:
        keys.append("bleeding")
    if cast.body.gypsum_share[0] > 0.5:
        keys.append("gypsum_water")
    return keys
