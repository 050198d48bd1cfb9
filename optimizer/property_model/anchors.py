"""Solve a binder's own parameters from its reference points, so that no strength is ever typed in.

The whole chain (its sand, the air, the gain curve, the sulfate term) is inverted at the points of the
spec: wet points fix the intrinsic strength (latest age) and the gain rate (earliest), a dry point fixes
the ratio of dry to wet strength. The pure binder at its reference mix then returns its reference value.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import WATER_DENSITY
from optimizer.materials import Catalogue, Material, ReferencePoint
from optimizer.properties.maturity import gain_rate_from_two, gypsum_gain, hyperbolic_gain
from optimizer.property_model.coefficients import (
    SAND_DEMAND,
    SAND_DENSITY,
    Lookup,
    lookup_of,
    moles_of,
    own_columns,
    plain_columns,
    sulfate_knee,
)
from optimizer.property_model.parameters import dry_wet_ratio, ln_spread

Array = NDArray[np.float64]

DISAGREEMENT = math.log(1.30)
"""Gap between a binder's own intrinsic strength and that of the cement it names [ln] that gets a note."""

_DEFAULT_RATE = 0.003
_TINY = 1e-12


@dataclass(frozen=True)
class Anchor:
    """What a binder's reference points say, each of shape () or (draws,).

    Attributes
    ----------
    ln_intrinsic : Array
        Log of the strength of the pore-free hydrates [ln MPa].
    ln_top : Array
        Log of the end strength at the reference mix, never dried [ln MPa].
    ln_dry_ratio : Array
        Log of dry over wet strength [-].
    ln_initial, ln_final : Array
        Logs of initial and final set at the reference water [ln min].
    ln_rate : Array
        Log of the gain rate of the cement part [ln 1/min].
    """

    ln_intrinsic: Array
    ln_top: Array
    ln_dry_ratio: Array
    ln_initial: Array
    ln_final: Array
    ln_rate: Array


def anchor_in(materials: Mapping[str, Material], name: str, lookup: Lookup) -> Anchor:
    """Solve the anchor of the binder `name` of a catalogue; the cement it names lends what it lacks.

    Nothing but the two records enters: other binders of the same cement move nothing.

    Raises
    ------
    ValueError
        If the spec of the binder, or of the cement it names, holds no wet reference point.
    """
    material = materials[name]
    lender = materials.get(material.cement) if material.cement != name else None
    return anchor_of(material, lookup, None if lender is None else anchor_of(lender, lookup))


def anchor_of(material: Material, lookup: Lookup, family: Anchor | None = None) -> Anchor:
    """Solve the anchor of one binder.

    Parameters
    ----------
    family
        Anchor of the cement that the binder names: lends its gain rate to a binder with one wet point, its
        ratio of dry to wet strength to one that states none.

    Raises
    ------
    ValueError
        If the spec of the binder holds no wet reference point.
    """
    wet = sorted((p for p in material.reference_points if p.state == "wet"), key=lambda point: point.age)
    if not wet:
        msg = f"{material.path or material.name}: a binder needs at least one wet reference point"
        raise ValueError(msg)
    early, late = wet[0], wet[-1]
    stated = [np.asarray(np.log(material.figures[key].value)) for key in ("set_initial", "set_final")]
    # A point is of a bag that sets as stated: one that sets later is late with its strength, not stronger.
    rate = _gain_rate(material, early, late, stated[1], lookup, family)
    ln_gain = _ln_gain(material, late, stated, rate, lookup)
    ln_end = _ln_strength(material, late, lookup) - ln_gain
    ln_intrinsic = ln_end - _ln_mix_factor(material, late, lookup)
    # Trade and handbooks set the dry strength of gypsum beside that of a wet test, not beside its end.
    tested = np.asarray(ln_gain if material.kind == "gypsum" else 0.0)
    ln_dry = _ln_dry_ratio(material, ln_intrinsic, tested, lookup, family)
    ln_initial, ln_final = (_ln_time(material, key, lookup) for key in ("set_initial", "set_final"))
    return Anchor(ln_intrinsic, ln_end, ln_dry, ln_initial, ln_final, np.log(rate))


def family_gap(catalogue: Catalogue, name: str) -> float:
    """Return how far a binder's own points put its strength above that of the cement it names [ln].

    At the best values of all figures; zero without such a cement.
    """
    material = catalogue[name]
    if material.cement in ("", name):
        return 0.0

    lookup = lookup_of(catalogue)
    own, lender = (anchor_of(catalogue[key], lookup).ln_intrinsic for key in (name, material.cement))
    return float(own - lender)


def _ln_time(material: Material, key: str, lookup: Lookup) -> Array:
    figure = material.figures[key]
    return np.asarray(
        math.log(figure.value) + lookup(f"{material.name}.set_time", 0.0) * ln_spread(figure), float
    )


def _ln_strength(material: Material, point: ReferencePoint, lookup: Lookup) -> Array:
    spread = ln_spread(point.strength)
    return np.asarray(
        math.log(point.strength.value) + lookup(f"{material.name}.strength", 0.0) * spread, float
    )


def _water_factor(material: Material, point: ReferencePoint, lookup: Lookup) -> Array:
    demand = lookup(f"{material.name}.water_demand", material.figure("water_demand"))
    left = np.maximum(point.water_ratio - SAND_DEMAND * point.added_sand, 1e-9)
    return np.asarray(np.clip((left / demand) ** 2, 0.5, 2.0))


def _gain_rate(
    material: Material,
    early: ReferencePoint,
    late: ReferencePoint,
    ln_final: Array,
    lookup: Lookup,
    family: Anchor | None,
) -> Array:
    if material.kind == "gypsum" or early is late:
        lent = _DEFAULT_RATE if family is None else np.exp(family.ln_rate)
        return np.asarray(lent)
    ratio = np.exp(_ln_strength(material, early, lookup) - _ln_strength(material, late, lookup))
    # The two ages may belong to different waters; the earliest point's own final set starts the gain.
    start = np.exp(ln_final) * _water_factor(material, early, lookup)
    start = np.minimum(start, 0.9 * early.age)
    return np.asarray(gain_rate_from_two(np.clip(ratio, 0.02, 0.98), early.age, late.age, start))


def _ln_gain(
    material: Material,
    point: ReferencePoint,
    stated: Sequence[Array],
    rate: Array,
    lookup: Lookup,
) -> Array:
    factor = _water_factor(material, point, lookup)
    initial, final = (np.exp(ln_set) * factor for ln_set in stated)
    if material.kind == "gypsum":
        end = lookup("gypsum_end", 6.0)
        gain = gypsum_gain(point.age, initial, final, end)
        return np.asarray(np.log(np.maximum(gain, 1e-3)))
    return np.asarray(np.log(np.maximum(hyperbolic_gain(point.age, rate, final), 1e-3)))


def _ln_mix_factor(material: Material, point: ReferencePoint, lookup: Lookup) -> Array:
    """Return ln of strength over intrinsic strength at a reference mix (pores, grains, sulfate)."""
    own = {**plain_columns(material, lookup), **own_columns(material, lookup)}
    sand = point.added_sand / SAND_DENSITY
    liters = (own["volume"] + point.water_ratio / WATER_DENSITY + sand) / (1.0 - lookup("air", 0.02))
    heavy = (own["heavy"] + sand) / liters
    porosity = 1.0 - (own["solids"] + sand) / liters
    paste = np.maximum(porosity / (1.0 - heavy), lookup("min_paste_porosity", 0.12))
    hydrates = own["gypsum_volume"] + own["csa_volume"]
    gypsum = own["gypsum_volume"] / hydrates
    cement = 1.0 - gypsum
    slope = gypsum * lookup("b_gypsum", 4.63) + cement * lookup("b_csa", 6.0)
    grain = gypsum * lookup("filler_exponent_gypsum", 1.5) + cement * lookup("filler_exponent_csa", 0.5)
    *sulfate, yeelimite = moles_of(material, lookup)
    knee = sulfate_knee(sum(sulfate, np.asarray(0.0)), yeelimite, lookup("sulfate_knee", 1.4))
    return np.asarray(
        -slope * paste
        + grain * np.log1p(-heavy)
        + 4.0 * lookup("gamma", -0.13) * gypsum * cement
        - lookup("kappa", 0.6) * cement * knee
    )


def _ln_dry_ratio(
    material: Material, ln_intrinsic: Array, tested: Array, lookup: Lookup, family: Anchor | None
) -> Array:
    ratio = dry_wet_ratio(material)
    ln_drawn = np.log(lookup(f"{material.name}.dry_wet_ratio", ratio.value))
    dry = [point for point in material.reference_points if point.state == "dry"]
    if dry:
        latest = max(dry, key=lambda point: point.age)
        wet_there = ln_intrinsic + _ln_mix_factor(material, latest, lookup)
        return _ln_dry_strength(material, latest, ln_drawn, lookup) - wet_there
    if family is not None and "dry_wet_ratio" not in material.figures:
        return np.asarray(family.ln_dry_ratio + (ln_drawn - math.log(ratio.value)))
    return np.asarray(ln_drawn + tested, float)


def _ln_dry_strength(material: Material, dry: ReferencePoint, ln_ratio: Array, lookup: Lookup) -> Array:
    """Return ln of a dry point's strength, as far tied to the wet one's as the three stated ranges say.

    Of ranges of wet strength, dry strength and their ratio any two give the third only with how the first
    two go together. That tie is taken from all three, so that each comes out as stated; a stronger bag is
    never weaker dry.
    """
    ratio = dry_wet_ratio(material)
    wet = max((p for p in material.reference_points if p.state == "wet"), key=lambda point: point.age)
    wets, dries, ratios = (ln_spread(each) for each in (wet.strength, dry.strength, ratio))
    tie = (wets**2 + dries**2 - ratios**2) / max(2.0 * wets * dries, _TINY)
    tie = min(max(tie, 0.0), 1.0)
    own = math.sqrt(1.0 - tie**2) * dries / max(ratios, _TINY)
    bag = lookup(f"{material.name}.strength", 0.0)
    apart = ln_ratio - math.log(ratio.value)
    return np.asarray(math.log(dry.strength.value) + tie * dries * bag + own * apart, float)
