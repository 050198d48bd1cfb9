"""Limits as rows of a relaxation: exact where a property is linear in the masses, an estimate elsewhere.

An estimate never shuts out a mix that meets the limit. Limits for which no such rows are known are left
out, which weakens the bound and is said in the certificate.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.build import Builder
from optimizer.certificate.case_constants import EXCESS
from optimizer.certificate.drying_relaxation import add_days
from optimizer.certificate.flexural_relaxation import Need
from optimizer.certificate.heat import Conduct, GrainParts, HeatParts, Walls, lowest_limit
from optimizer.certificate.layout import FREE, Coefficients, Row
from optimizer.certificate.terms import sum_of
from optimizer.job import Limit
from optimizer.problem import Problem, held_bound
from optimizer.properties.color import absorption_ratio
from optimizer.properties.drying import coat_edges
from optimizer.property_model.predict import burn_of
from optimizer.property_model.strength import FLEXURAL_POWER, bending_need

__all__ = ["LOWER", "UPPER", "absorption_row", "lay_limit", "line_of"]

Array = NDArray[np.float64]

_NEVER = Row({}, 1.0, FREE)


def _per_vessel(problem: Problem) -> float:
    return problem.conditions.vessel.cavity_volume


Sums = Mapping[str, Array]


def _masses(weights: Callable[[Problem, Sums], Array]) -> Callable[[Problem, Sums], Array]:
    return lambda problem, sums: weights(problem, sums) * _per_vessel(problem)


LOWER: Final[Mapping[str, Callable[[Problem, Sums], Array]]] = {
    "fresh_density": lambda problem, sums: sums["powder"] + sums["water"],
    "demolded_mass": _masses(
        lambda problem, sums: (sums["powder"] + sums["water"]) * (1.0 - float(problem.model["loss_in_mold"]))
    ),
    "dry_mass": _masses(lambda problem, sums: sums["dry"]),
    "porosity": lambda problem, sums: sums["pores"],
    "embodied_co2": _masses(lambda problem, sums: sums["co2"]),
}
"""Sums of masses within a regime that a property never falls below; most are the property itself."""

UPPER: Final[Mapping[str, Callable[[Problem, Sums], Array]]] = {
    **LOWER,
    "demolded_mass": _masses(lambda problem, sums: sums["powder"] + sums["water"]),
    "dry_mass": _masses(lambda problem, sums: sums["dry_most"]),
}
"""The same from above: no water lost in the mold, all room moisture held."""


def line_of(
    problem: Problem, sums: Mapping[str, Array], limit: Limit, shift: float
) -> tuple[Array, float, float] | None:
    """Return a limit as one row over the masses (weights, lower, upper), or None when it is not linear."""
    if limit.property in LOWER:
        bound = held_bound(limit, shift)
        weights = (UPPER if limit.sense == ">=" else LOWER)[limit.property](problem, sums)
        return (weights, bound, FREE) if limit.sense == ">=" else (weights, -FREE, bound)
    if limit.property == "crystalline_silica":
        weights = sums["silica"] - held_bound(limit, shift) * sums["powder"]
        return (weights, 0.0, FREE) if limit.sense == ">=" else (weights, -FREE, 0.0)
    if limit.property == "whiteness":
        return _whiteness_line(sums, limit, held_bound(limit, shift))
    return None


def _whiteness_line(sums: Mapping[str, Array], limit: Limit, bound: float) -> tuple[Array, float, float]:
    at_least = limit.sense == ">="
    if bound <= 0.0 or bound > 100.0:
        # Lightness runs from 0 to 100: beyond that the limit always holds or never does.
        holds = (bound <= 0.0) == at_least
        return np.zeros_like(sums["absorb"]), -FREE if holds else 1.0, FREE
    weights = sums["absorb"] - _most_absorbed(bound) * sums["scatter"]
    return (weights, -FREE, 0.0) if at_least else (weights, 0.0, FREE)


def _most_absorbed(least: float) -> float:
    """Return the largest absorbed over scattered light whose face has lightness `least`, by CIE 15 [-]."""
    luminance = ((least + 16.0) / 116.0) ** 3 if least > 8.0 else 3.0 * least * (6.0 / 29.0) ** 2 / 116.0
    return float(absorption_ratio(luminance))


def lay_limit(builder: Builder, limit: Limit, shifts: tuple[float, ...]) -> bool:
    """Add the rows of a curved limit; return False when none are known and it is left out.

    Parameters
    ----------
    builder
        Relaxation under construction.
    limit
        The bound.
    shifts
        How far each row of the limit must be over-met.
    """
    lay = _CURVED.get((limit.property, limit.sense))
    warm = builder.problem.job.shop.water_temperature is not None
    if lay is None or (warm and limit.property in _TIMED):
        return False  # with water of its own temperature each mix sets at another one
    lay(builder, limit, shifts)
    return True


def _row(builder: Builder, row: Row) -> None:
    builder.layout.row(row.coefficients, row.lower, row.upper)


def _strength(builder: Builder, *, dry: bool) -> Coefficients:
    """Return hydrates times ln end strength: never less than what is there at any age."""
    return {builder.strength: 1.0} | ({builder.form("ln_dry_ratio"): 1.0} if dry else {})


def _plain_strength(builder: Builder, limit: Limit, shift: float, *, dry: bool) -> None:
    bound = held_bound(limit, shift)
    if bound <= 0.0:
        return
    parts = _strength(builder, dry=dry)
    _row(builder, Row(sum_of((1.0, parts), (-math.log(bound), {builder.form("hydrates"): 1.0}))))


def _dry_strength(builder: Builder, limit: Limit, shifts: tuple[float, ...]) -> None:
    _plain_strength(builder, limit, shifts[0], dry=True)


def _wet_strength(builder: Builder, limit: Limit, shifts: tuple[float, ...]) -> None:
    _plain_strength(builder, limit, shifts[0], dry=False)


def _flexural(builder: Builder, limit: Limit, shifts: tuple[float, ...]) -> None:
    bound = held_bound(limit, shifts[0])
    if bound > 0.0:
        _need(builder, _strength(builder, dry=True), bound, 0.0)


def _need(builder: Builder, strength: Coefficients, wanted: float, shift: float) -> None:
    """Compressive strength enough for a flexural one: ``ln S >= (ln wanted - f0(h)) / f1(h) + shift``."""
    model = builder.problem.model
    gypsum, cement = (math.log(float(model[f"flexural_{kind}"])) for kind in ("gypsum", "csa"))
    above = (math.log(wanted) - gypsum, gypsum - cement)
    below = (FLEXURAL_POWER["gypsum"], FLEXURAL_POWER["csa"] - FLEXURAL_POWER["gypsum"])
    columns = (builder.form("hydrates"), builder.form("cement"))
    builder.terms.append(Need(builder.layout, columns, builder.share, strength, (above, below), shift))


def _demold(builder: Builder, limit: Limit, shifts: tuple[float, ...]) -> None:
    shop = builder.problem.job.shop
    if limit.bound < shop.demold_floor or limit.bound <= 0.0:
        _row(builder, _NEVER)
        return
    latest = math.log(limit.bound) - shifts[1]
    _row(builder, Row({builder.form("hydrates"): latest, builder.ln_final: -1.0}))
    bending = float(bending_need(builder.problem.model, builder.problem.conditions.vessel.wall))
    _need(builder, _strength(builder, dry=False), bending, shifts[0])


def _ln_initial(builder: Builder) -> Coefficients:
    return {builder.ln_final: 1.0, builder.form("set_gap"): -1.0}


def _window(builder: Builder, limit: Limit, shifts: tuple[float, ...]) -> None:
    sign = 1.0 if limit.sense == ">=" else -1.0
    least = limit.bound + builder.problem.job.shop.mixing
    if least <= 0.0:
        if sign < 0.0:
            _row(builder, _NEVER)
        return
    target = {builder.form("hydrates"): -(math.log(least) + sign * shifts[0])}
    _row(builder, Row(sum_of((sign, _ln_initial(builder)), (sign, target))))


def absorption_row(builder: Builder) -> Callable[[float], Row]:
    """Return the row ``absorption <= bound`` as a function of the bound; its estimate is laid out now."""
    model = builder.problem.model
    opened = (float(model["open_pores_gypsum"]), float(model["open_pores_csa"]))
    taken = builder.by_share("open pores", "pores", opened, low=True)
    dry = builder.form("dry_most")
    return lambda bound: Row(sum_of((-1.0, taken), (bound, {dry: 1.0})))


def _absorption(builder: Builder, limit: Limit, shifts: tuple[float, ...]) -> None:
    _row(builder, absorption_row(builder)(held_bound(limit, shifts[0])))


def _coats(builder: Builder, limit: Limit, shifts: tuple[float, ...]) -> None:
    shop = builder.problem.job.shop
    edge = float(coat_edges(shop.target_absorption, shop.coat_factor, max(int(limit.bound), 0))[-1])
    _absorption(builder, Limit("absorption", "<=", edge), shifts)


def _drying(builder: Builder, limit: Limit, shifts: tuple[float, ...]) -> None:
    _row(builder, Row({add_days(builder): -1.0}, -held_bound(limit, shifts[0])))


def _heat(builder: Builder, limit: Limit, shifts: tuple[float, ...]) -> None:
    problem = builder.problem
    if problem.conditions.wall is None:
        _row(builder, _NEVER)
        return
    bound = held_bound(limit, shifts[0])
    faces = {"outer_wall_temperature": (True, False), "inner_wall_temperature": (False, True)}
    if limit.property == "heat_margin":
        exposure = (
            "repeated burns" if problem.conditions.candle is None else problem.conditions.candle.exposure
        )
        warmest = lowest_limit(exposure, float(problem.model["ettringite_limit"]), bound)
    else:

        def warmest(gypsum: float, ettringite: float) -> float:
            return bound

    walls = Walls(problem.conditions.wall, burn_of(problem.model))
    both = faces.get(limit.property, (True, True))
    builder.terms.append(Conduct(builder.layout, _heat_parts(builder), walls, warmest, both))


def _heat_parts(builder: Builder) -> HeatParts:
    model = builder.problem.model
    solids = (float(model["solid_conductivity_gypsum"]), float(model["solid_conductivity_csa"]))
    gypsum = builder.regime == EXCESS and builder.any("gypsum_mass")
    return HeatParts(
        paste=builder.form("paste"),
        pores=builder.form("pores"),
        porosity=builder.ratio("paste porosity", "pores", "paste"),
        share=builder.share,
        grains=tuple(_grain_parts(builder, kind) for kind in ("heavy", "light") if builder.any(kind)),
        gypsum_phase=builder.ratio("gypsum in the solids", "gypsum_mass", "dry") if gypsum else None,
        ettringite_phase=builder.ratio("ettringite in the solids", "ettringite_mass", "dry"),
        ln_solid=(math.log(solids[0]), math.log(solids[1])),
        weight=float(model["conductivity_weight"]),
    )


def _grain_parts(builder: Builder, kind: str) -> GrainParts:
    return GrainParts(
        volume=builder.form(kind),
        conduct=builder.form(f"{kind}_conduct"),
        part=builder.ratio(f"{kind} grains beside paste", kind, "paste"),
        mean=builder.ratio(f"conductivity of {kind} grains", f"{kind}_conduct", kind),
    )


_TIMED: Final = ("dry_strength", "wet_strength", "flexural_strength", "demold_time", "working_window")

_Lay = Callable[[Builder, Limit, tuple[float, ...]], None]

_CURVED: Final[Mapping[tuple[str, str], _Lay]] = {
    ("dry_strength", ">="): _dry_strength,
    ("wet_strength", ">="): _wet_strength,
    ("flexural_strength", ">="): _flexural,
    ("demold_time", "<="): _demold,
    ("working_window", ">="): _window,
    ("working_window", "<="): _window,
    ("absorption", "<="): _absorption,
    ("sealer_coats", "<="): _coats,
    ("drying_time", "<="): _drying,
    ("heat_margin", ">="): _heat,
    ("outer_wall_temperature", "<="): _heat,
    ("inner_wall_temperature", "<="): _heat,
}
