"""What any mix must keep whatever the limits: judged for blends that a caster brings, said in sentences."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from optimizer.problem import Problem
from optimizer.property_model.coefficients import SAND_DENSITY
from optimizer.property_model.microstructure import demand_of
from optimizer.property_model.predict import Cast

_SLACK = 1e-6


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
    # Gypsum bears far less of an admixture than cement: its ceiling rules as soon as there is some of it.
    gypsum = any(problem.model.kinds[k] == "gypsum" for k in np.flatnonzero(powder > 0.0))
    for k in np.flatnonzero(powder > 0.0):
        material, most = problem.materials[k], problem.bounds[k].most
        share = float(powder[k] / powder.sum())
        if material.role != "binder" and share > most + 1e-4:
            told = f"{100.0 * share:.3g} % of the powder, above the {100.0 * most:.3g} %"
            yield f"{material.label} is {told} it is used at."
        dose = 100.0 * powder[k] / max(binder, 1e-9)
        most_dose = material.figure("max_dose_gypsum" if gypsum else "max_dose_csa", np.inf)
        if material.kind in ("retarder", "accelerator") and dose > most_dose:
            yield f"{material.label} is {dose:.2f} % of the binder, above {most_dose:g} %."
