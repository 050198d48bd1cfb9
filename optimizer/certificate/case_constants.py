"""The numbers of the property chain that a case fixes, and the sums it needs per regime."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.formulation import Case
from optimizer.problem import Problem
from optimizer.property_model.strength import speed

__all__ = ["EXCESS", "SHORT", "Laws", "laws_of", "sums_of"]

Array = NDArray[np.float64]

EXCESS, SHORT = "excess", "short"


@dataclass(frozen=True)
class Laws:
    """Constants of the strength and set laws for one case, as in `optimizer.property_model`.

    Attributes
    ----------
    slope_gypsum, slope_csa : float
        Slopes of ln strength on paste porosity [-].
    grain_gypsum, grain_csa, grain_light : float
        Exponents of the volume left beside grains [-].
    mixing, time_mixing : float
        Curvature of ln strength and of ln set time in the hydrate shares, on ``h_G h_C`` [-].
    set_water : float
        Power of the water ratio that set times follow [-].
    kappa, least_pores : float
        Sulfate term, smallest paste porosity [-].
    weak_gypsum : float
        ln of the strength that gypsum keeps beside the case's retarder [-].
    slow_gypsum, slow_csa, plasticized, ln_fast : float
        What the case's admixtures and the room add to ln set time [-].
    """

    slope_gypsum: float
    slope_csa: float
    grain_gypsum: float
    grain_csa: float
    grain_light: float
    mixing: float
    time_mixing: float
    set_water: float
    kappa: float
    least_pores: float
    weak_gypsum: float
    slow_gypsum: float
    slow_csa: float
    plasticized: float
    ln_fast: float


def laws_of(problem: Problem, case: Case) -> Laws:
    """Return the constants of a case at the centers of the parameters."""
    model, shop = problem.model, problem.job.shop

    def figure(name: str) -> float:
        return float(model[name])

    per_binder = {
        key: sum(dose * float(model.column(key)[k]) for k, dose in case.doses.items())
        for key in ("retard_gypsum", "retard_csa", "weaken_gypsum")
    }
    gamma = figure("gamma") + (figure("gamma_damp") if shop.damp_service else 0.0)
    most = figure("most_retarder_loss")
    full, plasticized = (
        sum(dose * float(model.column(key)[k]) for k, dose in case.doses.items())
        for key in ("plasticizer", "plasticizer_set")
    )
    return Laws(
        slope_gypsum=figure("b_gypsum"),
        slope_csa=figure("b_csa"),
        grain_gypsum=figure("filler_exponent_gypsum"),
        grain_csa=figure("filler_exponent_csa"),
        grain_light=figure("light_exponent"),
        mixing=4.0 * gamma,
        time_mixing=figure("gamma_time"),
        set_water=figure("set_water"),
        kappa=figure("kappa"),
        least_pores=figure("min_paste_porosity"),
        weak_gypsum=math.log1p(most * math.expm1(-per_binder["weaken_gypsum"] / most)),
        slow_gypsum=per_binder["retard_gypsum"],
        slow_csa=per_binder["retard_csa"],
        plasticized=plasticized / max(full, 1.0),
        ln_fast=math.log(float(speed(model, shop.temperature))),
    )


def sums_of(problem: Problem, regime: str, laws: Laws) -> dict[str, Array]:
    """Return the weights of every sum the relaxation may need, per kilogram, shape (n + 1,) each."""
    model = problem.model

    def column(name: str) -> Array:
        return model.column(name, regime)

    volumes = column("volume") / (1.0 - float(model["air"]))
    gypsum, cement = column("gypsum_volume"), column("csa_volume")
    heavy, light = column("heavy"), column("light")
    plain = [
        "ln_dry_ratio",
        "ln_final",
        "ln_intrinsic_gypsum",
        "ln_intrinsic_csa",
        "reference_water",
        "water",
        "powder",
        "binder",
        "dry",
        "sand",
        "silica",
        "co2",
        "scatter",
        "absorb",
        "gypsum_mass",
        "ettringite_mass",
        "heavy_conduct",
        "light_conduct",
        "sulfate",
        "yeelimite",
        "bound",
    ]
    sums = {name: column(name) for name in plain}
    return sums | {
        "volumes": volumes,
        "hydrates": gypsum + cement,
        "gypsum": gypsum,
        "cement": cement,
        "heavy": heavy,
        "light": light,
        "pores": volumes - column("solids"),
        "paste": volumes - heavy - light,
        "slope": laws.slope_gypsum * gypsum + laws.slope_csa * cement,
        "grain": max(laws.grain_gypsum, 0.0) * gypsum + max(laws.grain_csa, 0.0) * cement,
        "set_gap": column("ln_final") - column("ln_initial"),
        "free_water": column("water") - column("bound"),
        "binder_water": column("water") - column("filler_water"),
        "dry_most": column("dry") + column("moisture"),
        "ln_strength": column("ln_intrinsic_gypsum") + column("ln_intrinsic_csa") + laws.weak_gypsum * gypsum,
    }
