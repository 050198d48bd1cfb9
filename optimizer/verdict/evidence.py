"""What a prediction rests on, what it is good for, and the cautions that go with what is in the mix."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from optimizer.materials import Catalogue, Material, ReferencePoint
from optimizer.nomenclature import CAUTIONS, quantity
from optimizer.problem import Problem
from optimizer.properties.casting_heat import adiabatic_temperature
from optimizer.property_model.anchors import DISAGREEMENT, family_gap
from optimizer.property_model.predict import Cast

EVIDENCE: Final[dict[str, str]] = {
    "anchored": "a single binder near a mix whose value its spec states",
    "calibrated": "figures fitted to trials or a burn test",
    "prior": "shipped figures, no trial of yours behind it",
    "extrapolated": "gypsum and cement mixed where nobody has published measurements",
}
"""The keys of JSON and code, and what they mean."""

EVIDENCE_WORDS: Final[dict[str, str]] = {
    "anchored": "near a reference mix",
    "calibrated": "fitted to trials",
    "prior": "from tables",
    "extrapolated": "untested mix",
}
"""What people read for each key."""

_BLEND_PROPERTIES: Final = frozenset(
    {
        "wet_strength",
        "dry_strength",
        "flexural_strength",
        "working_window",
        "demold_time",
        "drying_time",
        "setting_expansion",
        "drying_shrinkage",
        "damp_risk",
    }
)
_TAUGHT_BY: Final[dict[str, tuple[str, ...]]] = {
    "wet_strength": ("strength",),
    "dry_strength": ("strength",),
    "working_window": ("set_time",),
    "demold_time": ("set_time", "strength"),
    "whiteness": ("reflectance",),
}
"""Figures of each binder that trials of a property teach; one of them is enough."""

_LAW_OF_MIXING: Final = {"strength": "gamma", "set_time": "gamma_time"}
"""What trials of blends teach of how gypsum and cement mix, by figure."""

_TAUGHT_BY_ALL: Final[dict[str, str]] = {
    "fresh_density": "air",
    "demolded_mass": "air",
    "dry_mass": "air",
    "porosity": "air",
}
"""The one figure of the whole model that trials of a property teach."""

_HEAT_IN_USE: Final = frozenset({"outer_wall_temperature", "inner_wall_temperature", "heat_margin"})
_POINT_STATE: Final = {"wet_strength": "wet", "demold_time": "wet", "dry_strength": "dry"}
"""State of the reference points that a property is anchored at."""

_SETS: Final = frozenset({"working_window", "demold_time"})
_UNKNOWN_SHARE: Final = (0.30, 0.95)
"""Hemihydrate over hemihydrate plus cement without sand, by mass, for which no series is published [-]."""

_NEAR: Final = 0.10
"""How far water and sand may lie from a reference mix that still speaks for a mix [-]; judgement."""

_TOUCH = 48.0
"""Stone-like surface that burns within 10 minutes [degC]: Czech Regulation 361/2007, as ISO 13732-1."""


def evidences(problem: Problem, cast: Cast, names: Iterable[str]) -> dict[str, str]:
    """Return the evidence key of each property of `names` for the one mix of `cast`.

    Each property is judged for itself: a strength is anchored only near a mix whose strength in that state
    the spec states, water and sand within a tenth; set times only near the water they are stated at;
    masses, drying, color and heat at no reference mix at all.
    """
    low, high = _UNKNOWN_SHARE
    unknown = low <= hemihydrate_share(problem, cast) <= high
    out = {}
    for name in names:
        if _is_taught(problem, cast, name):
            out[name] = "calibrated"
        elif unknown and name in _BLEND_PROPERTIES:
            out[name] = "extrapolated"
        else:
            out[name] = "anchored" if _near_reference(problem, cast, name) else "prior"
    return out


def uses(problem: Problem, cast: Cast, words: Mapping[str, str]) -> dict[str, str]:
    """Return what each prediction is good for, by `optimizer.nomenclature.USES`, from its evidence key.

    The table of quantities says it for the best known bodies: strength of gypsum without cement, whiteness
    without sand. What trials of the caster's own stand behind may decide; any other blend is ranked.
    """
    gypsum = hemihydrate_share(problem, cast) > _UNKNOWN_SHARE[1]
    sandy = float(cast.body["sand"][0]) > 0.0
    narrow = {"wet_strength": gypsum, "dry_strength": gypsum, "whiteness": not sandy}
    out = {}
    for name, word in words.items():
        use = quantity(name).use
        if word == "calibrated":
            use = "decide"
        elif use == "decide" and not narrow.get(name, True):
            use = "rank"
        out[name] = use
    return out


def _is_taught(problem: Problem, cast: Cast, name: str) -> bool:
    """Return True where trials stand behind the figures that `name` rests on, for every binder used."""
    origin = problem.parameters.origin
    if name in _HEAT_IN_USE:
        candle = problem.job.candle
        return (candle is not None and candle.measured_outer is not None) or origin.get("flame_share", 0) > 0
    if name in _TAUGHT_BY_ALL:
        return origin.get(_TAUGHT_BY_ALL[name], 0) > 0
    return name in _TAUGHT_BY and _trials_behind(problem, cast, _TAUGHT_BY[name]) > 0


def hemihydrate_share(problem: Problem, cast: Cast) -> float:
    """Return hemihydrate binders over all binders, sand left out, by mass [-]."""
    masses = cast.mixes[0, :-1] * problem.model.column("binder")[:-1]
    gypsum = sum(m for m, kind in zip(masses, problem.model.kinds, strict=True) if kind == "gypsum")
    return float(gypsum / max(float(masses.sum()), 1e-9))


def _trials_behind(problem: Problem, cast: Cast, figures: tuple[str, ...]) -> int:
    """Return how many trials stand behind the least known of what the blend rests on.

    That is each of its binders and, where gypsum and cement meet, the law of mixing them.
    """
    origin = problem.parameters.origin
    used = [problem.materials[k] for k in np.flatnonzero(cast.mixes[0, :-1] > 1e-9)]
    binders = [material for material in used if material.role == "binder"]
    counts = [max(origin.get(f"{binder.name}.{figure}", 0) for figure in figures) for binder in binders]
    laws = [_LAW_OF_MIXING[figure] for figure in figures if figure in _LAW_OF_MIXING]
    if laws and len({binder.kind for binder in binders}) > 1:
        counts.append(max(origin.get(law, 0) for law in laws))
    return min(counts, default=0)


def _near_reference(problem: Problem, cast: Cast, name: str) -> bool:
    """Return True for one binder, with sand at most, near all reference mixes that `name` is anchored at."""
    alone = _binder_and_sand(problem, cast)
    if alone is None or name not in _SETS | set(_POINT_STATE):
        return False
    binder, per = alone
    near = True
    if name in _POINT_STATE:
        points = [p for p in binder.reference_points if p.state == _POINT_STATE[name]]
        near = any(_as_tested(per, point) for point in points)
    if name in _SETS:
        near = near and per.sand == 0.0 and _close(per.water, binder.figure("water_demand"))
    return near


@dataclass(frozen=True)
class _PerBinder:
    """Water and sand of a mix, per mass of its binder [-]."""

    water: float
    sand: float


def _binder_and_sand(problem: Problem, cast: Cast) -> tuple[Material, _PerBinder] | None:
    """Return the only binder of a mix with its water and sand; None where the mix holds anything else."""
    masses = cast.mixes[0, :-1]
    used = np.flatnonzero(masses > 1e-3 * masses.sum())
    binders = [k for k in used if problem.materials[k].role == "binder"]
    grain = [k for k in used if k not in binders]
    sand = problem.model.column("sand")
    if len(binders) != 1 or any(sand[k] < 1.0 for k in grain):
        return None
    own = float(masses[binders[0]])
    per = _PerBinder(float(cast.mixes[0, -1]) / own, float(masses[grain].sum()) / own)
    return problem.materials[binders[0]], per


def _as_tested(per: _PerBinder, point: ReferencePoint) -> bool:
    return _close(per.water, point.water_ratio) and _close(1.0 + per.sand, 1.0 + point.added_sand)


def _close(value: float, reference: float) -> bool:
    return abs(value / max(reference, 1e-9) - 1.0) < _NEAR


def cement_notes(catalogue: Catalogue, names: Iterable[str]) -> tuple[str, ...]:
    """Return a sentence for each material whose points disagree with the cement it names by over 30 %."""
    out = []
    for name in names:
        gap = family_gap(catalogue, name)
        if abs(gap) > DISAGREEMENT:
            lender = catalogue[catalogue[name].cement].label
            share, side = f"{abs(np.expm1(gap)):.0%}", "above" if gap > 0.0 else "below"
            out.append(
                f"The strengths stated for {catalogue[name].label} put its paste {share} {side} {lender}."
            )
    return tuple(out)


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
