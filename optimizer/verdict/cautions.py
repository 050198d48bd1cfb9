"""The cautions that travel with a result, chosen by what is in the mix and what it will do."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from optimizer.caution_words import CAUTIONS
from optimizer.problem import Problem
from optimizer.properties.casting_heat import adiabatic_temperature
from optimizer.property_model.predict import Cast

_TOUCH = 48.0
"""Stone-like surface that burns within 10 minutes [degC]: Czech Regulation 361/2007, as ISO 13732-1."""


def cautions_of(
    problem: Problem,
    cast: Cast,
    values: Mapping[str, float],
    *,
    hottest: float,
    latest: float,
    extrapolated: bool,
) -> tuple[str, ...]:
    """Return the keys of the cautions of one mix, the gravest first, as `CAUTIONS` orders them.

    Parameters
    ----------
    problem, cast
        What is asked, and the one mix.
    values
        Its properties at best values.
    hottest
        Upper end of the likely range of its peak in the mold [degC].
    latest
        Upper end of the likely range of its demold time [min]; infinity when it may never leave the mold.
    extrapolated
        Whether a property is predicted for a mix nobody has published.
    """
    used = np.flatnonzero(cast.mixes[0, :-1] > 1e-9)
    stated = {key for k in used for key in problem.materials[k].cautions}
    keys = ["skin"] if any(problem.materials[k].role == "binder" for k in used) else []
    if values["crystalline_silica"] > 0.001:
        keys.append("silica")
    cement = any(problem.materials[k].kind == "csa" for k in used)
    if cement:
        keys.append("alkali")
    if hottest > _TOUCH:
        keys.append("setting_heat")
    elif cement or _bucket(problem, cast) > _TOUCH:
        keys.append("bucket_heat")
    keys.extend(_heat_keys(problem, values))
    keys.extend(_body_keys(problem, cast, values))
    if not np.isfinite(latest):
        keys.append("stays_soft")
    if extrapolated:
        keys.append("extrapolated")
    keys.extend(key for key in ("titanium_dust", "dust") if key in stated)
    keys.extend(("candle", "retest", "certify", "disposal"))
    return tuple(key for key in CAUTIONS if key in keys)


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
