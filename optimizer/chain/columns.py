"""What one kilogram of a material brings to a liter of slurry: columns that add up linearly.

Within one hydration regime every amount that the properties need (hydrate volumes, solids, bound water,
grain volume, cost-free sums for color, heat, carbon) is linear in the masses per liter. This module turns
a material record into those coefficients; nothing here knows a solver or a blend.

Regimes, by the sulfate ratio M = mol CaSO4 / mol ye'elimite: ``raw`` (nothing has reacted), ``idle`` (only
hemihydrate has), ``excess`` (M >= 2: ettringite and gypsum), ``short`` (M <= 2: ettringite and monosulfate).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from optimizer import constants as const
from optimizer.materials import Material
from optimizer.properties.color import absorption_ratio

__all__ = ["REGIMES", "Bound", "Hydrates", "Lookup", "bound_of", "hydrates_of", "own_regime", "plain_columns"]

Array = NDArray[np.float64]
Lookup = Callable[[str, float], Array]
"""Value of a parameter by name, else the default given; shape () or (draws,)."""

REGIMES = ("raw", "idle", "excess", "short")

_FORMATION = {
    **const.ENTHALPIES,
    "yeelimite": const.YEELIMITE_ENTHALPIES["2022"],
    # Alpha lies below beta by the difference of the older tables; the cement data set holds beta alone.
    "hemihydrate_alpha": const.ENTHALPIES["hemihydrate_beta"]
    + const.NBS_ENTHALPIES["hemihydrate_alpha"]
    - const.NBS_ENTHALPIES["hemihydrate_beta"],
}

_REACTIVE = ("hemihydrate_alpha", "hemihydrate_beta", "anhydrite", "gypsum", "yeelimite")
"""Phases of a `Bound`, in its order."""

_HEAT_CAPACITY = {"sand": 0.80, "hemihydrate_alpha": 0.82, "hemihydrate_beta": 0.82}
_POWDER_CAPACITY = 0.75
WATER_CAPACITY = 4.18
BOUND_WATER_CAPACITY = 2.2
"""Heat capacities [J/gK]: hemihydrate, sand, cement powder, water, bound water; handbook, from memory."""

_LN_QUARTZ = float(np.log(7.7))
"""Log of quartz's conductivity [W/mK]; handbook, from memory."""

SAND_DENSITY = 2.65
"""Quartz grain [g/cm3]; handbook."""


@dataclass(frozen=True)
class Bound:
    """Moles of reactive phases in one kilogram of a material [mol/kg]."""

    alpha: float
    beta: float
    anhydrite: float
    gypsum: float
    yeelimite: float

    @property
    def hemihydrate(self) -> float:
        """Both hemihydrates [mol/kg]."""
        return self.alpha + self.beta

    @property
    def sulfate(self) -> float:
        """All calcium sulfate [mol/kg]."""
        return self.hemihydrate + self.anhydrite + self.gypsum

    @property
    def any(self) -> bool:
        """True when there is anything that reacts with water."""
        return self.sulfate > 0.0 or self.yeelimite > 0.0


@dataclass(frozen=True)
class Hydrates:
    """Moles of products and of water bound, one kilogram of material in one regime [mol/kg]."""

    gypsum: float
    ettringite: float
    monosulfate: float
    aluminum_hydroxide: float
    water: float
    left: Bound

    def volume(self, kind: str) -> float:
        """Return the volume of the ``gypsum`` or ``csa`` type hydrates [L/kg]."""
        if kind == "gypsum":
            return self.gypsum * const.MOLAR_VOLUMES["gypsum"] * 1e-3
        return 1e-3 * (
            self.ettringite * const.MOLAR_VOLUMES["ettringite"]
            + self.monosulfate * const.MOLAR_VOLUMES["monosulfate"]
            + self.aluminum_hydroxide * const.MOLAR_VOLUMES["aluminum_hydroxide"]
        )

    def mass(self, phase: str) -> float:
        """Return the mass of one product [kg/kg]."""
        return float(getattr(self, phase)) * const.MOLAR_MASSES[phase] * 1e-3


def bound_of(material: Material) -> Bound:
    """Return the reactive phases of one kilogram of `material`."""
    return _bound(tuple(material.phases.get(phase, 0.0) for phase in _REACTIVE))


@lru_cache(maxsize=256)
def _bound(shares: tuple[float, ...]) -> Bound:
    return Bound(
        *(
            share * 1e3 / const.MOLAR_MASSES[phase.removesuffix("_alpha").removesuffix("_beta")]
            for phase, share in zip(_REACTIVE, shares, strict=True)
        )
    )


def own_regime(phases: Bound) -> str:
    """Return the regime of the material hydrated alone."""
    return "excess" if phases.sulfate >= 2.0 * phases.yeelimite else "short"


@lru_cache(maxsize=1024)
def hydrates_of(phases: Bound, regime: str) -> Hydrates:
    """Return the products of one kilogram; a blend's sum is its products if the blend is in `regime`.

    A single material may come out negative in a regime that is not its own (a cement short of sulfate
    "lends" gypsum): only the blend's sum is a physical amount.
    """
    if regime == "raw":
        return Hydrates(0.0, 0.0, 0.0, 0.0, 0.0, phases)
    if regime == "idle":
        left = Bound(0.0, 0.0, phases.anhydrite, 0.0, phases.yeelimite)
        gypsum = phases.hemihydrate + phases.gypsum
        return Hydrates(gypsum, 0.0, 0.0, 0.0, 1.5 * phases.hemihydrate, left)
    none = Bound(0.0, 0.0, 0.0, 0.0, 0.0)
    ettringite = phases.yeelimite if regime == "excess" else phases.sulfate / 2.0
    monosulfate = phases.yeelimite - ettringite
    gypsum = phases.sulfate - 2.0 * phases.yeelimite if regime == "excess" else 0.0
    alumina = 2.0 * phases.yeelimite
    water = (
        32.0 * ettringite
        + 12.0 * monosulfate
        + 2.0 * gypsum
        + 3.0 * alumina
        - 0.5 * phases.hemihydrate
        - 2.0 * phases.gypsum
    )
    return Hydrates(gypsum, ettringite, monosulfate, alumina, water, none)


@lru_cache(maxsize=1024)
def _reacted_volume(phases: Bound, left: Bound) -> float:
    volume = const.MOLAR_VOLUMES
    return 1e-3 * (
        (phases.alpha - left.alpha) * volume["hemihydrate_alpha"]
        + (phases.beta - left.beta) * volume["hemihydrate_beta"]
        + (phases.anhydrite - left.anhydrite) * volume["anhydrite"]
        + (phases.gypsum - left.gypsum) * volume["gypsum"]
        + (phases.yeelimite - left.yeelimite) * volume["yeelimite"]
    )


@lru_cache(maxsize=1024)
def _heat(phases: Bound, out: Hydrates) -> float:
    """Heat released by one kilogram [J/kg], enthalpies of products less reactants."""
    formation = _FORMATION
    before = (
        (phases.alpha - out.left.alpha) * formation["hemihydrate_alpha"]
        + (phases.beta - out.left.beta) * formation["hemihydrate_beta"]
        + (phases.anhydrite - out.left.anhydrite) * formation["anhydrite"]
        + (phases.gypsum - out.left.gypsum) * formation["gypsum"]
        + (phases.yeelimite - out.left.yeelimite) * formation["yeelimite"]
        + out.water * formation["water"]
    )
    after = (
        out.gypsum * formation["gypsum"]
        + out.ettringite * formation["ettringite"]
        + out.monosulfate * formation["monosulfate"]
        + out.aluminum_hydroxide * formation["aluminum_hydroxide"]
    )
    return (before - after) * 1e3


def regime_columns(material: Material, regime: str, lookup: Lookup) -> dict[str, Array | float]:
    """Return the columns that depend on the regime, per kilogram of material.

    Volumes [L], masses [kg], heat [J], all per kilogram.
    """
    phases = bound_of(material)
    out = hydrates_of(phases, regime)
    first = hydrates_of(phases, "raw" if regime == "raw" else "idle")
    bound = out.water * const.MOLAR_MASSES["water"] * 1e-3
    cement = out.mass("ettringite") + out.mass("monosulfate") + out.mass("aluminum_hydroxide")
    moisture = lookup("room_moisture_gypsum", 0.002) * out.mass("gypsum") + (
        lookup("room_moisture_csa", 0.05) * cement
    )
    gypsum_heat = _heat(phases, first)
    return {
        "gypsum_volume": out.volume("gypsum"),
        "csa_volume": out.volume("csa"),
        "solids": 1.0 / lookup(f"{material.name}.density", material.figure("density", 1.0))
        - _reacted_volume(phases, out.left)
        + out.volume("gypsum")
        + out.volume("csa"),
        "bound": bound,
        "gypsum_mass": out.mass("gypsum"),
        "ettringite_mass": out.mass("ettringite"),
        "monosulfate_mass": out.mass("monosulfate"),
        "dry": 1.0 + bound + moisture,
        "heat_gypsum": gypsum_heat,
        "heat_csa": (_heat(phases, out) - gypsum_heat) * lookup("csa_heat_factor", 1.0),
        "capacity": 1e3 * (_powder_capacity(material) + bound * (BOUND_WATER_CAPACITY - WATER_CAPACITY)),
    }


def _powder_capacity(material: Material) -> float:
    shares = material.phases or {"inert": 1.0}
    return sum(share * _HEAT_CAPACITY.get(phase, _POWDER_CAPACITY) for phase, share in shares.items())


def plain_columns(material: Material, lookup: Lookup) -> Mapping[str, Array | float]:
    """Return the columns that do not depend on the regime, per kilogram of material."""
    phases = bound_of(material)
    density = lookup(f"{material.name}.density", material.figure("density", 1.0))
    sand = material.phases.get("sand", 0.0)
    heavy, light, conduct = _grains(material, density, sand)
    binder = 1.0 - sand if material.role == "binder" else 0.0
    demand = lookup(f"{material.name}.water_demand", material.figure("water_demand"))
    reflectance = lookup(f"{material.name}.reflectance", material.figure("reflectance", 0.8))
    scattering = lookup(f"{material.name}.scattering", material.figure("scattering", 0.0))
    heavy_quartz = material.kind == "heavy" and material.figure("crystalline_silica") > 0.5
    hundred = 100.0 if material.kind == "retarder" else 0.0
    return {
        "volume": 1.0 / density,
        "powder": 1.0,
        "binder": binder,
        "heavy": heavy,
        "light": light,
        "heavy_conduct": heavy * conduct,
        "light_conduct": light * conduct,
        "sand": sand if material.role == "binder" else float(heavy_quartz),
        "pigment": float(material.role == "pigment"),
        "demand": demand,
        "reference_water": demand if material.role == "binder" else 0.0,
        "hemihydrate_water": 1.5 * phases.hemihydrate * const.MOLAR_MASSES["water"] * 1e-3,
        "sulfate": phases.sulfate,
        "yeelimite": phases.yeelimite,
        "silica": material.figure("crystalline_silica"),
        "co2": lookup(f"{material.name}.embodied_co2", material.figure("embodied_co2")),
        "scatter": scattering,
        "absorb": scattering * absorption_ratio(reflectance),
        "retard_gypsum": hundred * material.figure("gypsum_retardation"),
        "retard_csa": hundred * material.figure("csa_retardation"),
        "weaken_gypsum": hundred * material.figure("gypsum_strength_loss"),
        "weaken_csa": hundred * material.figure("csa_strength_loss"),
        "plasticizer": float(material.kind == "plasticizer"),
    }


def _grains(material: Material, density: Array, sand: float) -> tuple[Array | float, Array | float, float]:
    """Return heavy and light grain volume [L/kg] and the log of their conductivity."""
    if material.role == "binder":
        return sand / SAND_DENSITY, 0.0, _LN_QUARTZ
    if material.role not in ("filler", "pigment"):
        return 0.0, 0.0, 0.0
    conduct = float(np.log(material.figure("conductivity", 3.0)))
    volume = 1.0 / density
    return (0.0, volume, conduct) if material.kind == "light" else (volume, 0.0, conduct)
