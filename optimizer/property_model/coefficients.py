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
from optimizer.materials import Catalogue, Material
from optimizer.properties.color import absorption_ratio

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

SAND_DEMAND = 0.05
"""Water that standard sand itself takes up in a mortar test [g/g]; as silica_sand.toml, assumption."""

DRAWN_PHASES = ("yeelimite", "anhydrite")
"""Phases of a clinker that a bag does not state and that differ from one clinker to the next."""

FULL_DEGREE = 0.97
"""Degree of ye'elimite at which `room_moisture_csa` is stated [fraction]."""

_TIED = 5.8
"""Fall of the log of room moisture per unit of degree [-]: twice the moisture at 0.85; assumption."""

KNEE_WIDTH, KNEE_BLUR = 0.7, 0.12
"""Ramp of the sulfate knee in mol CaSO4 per mol ye'elimite, and how far a bag's unknown sulfate blurs it [-].

Where it starts is the model's figure `sulfate_knee`. Published optima of CSA with calcium sulfate lie far
apart, clinker by clinker (alite-modified clinker series 2019; phosphogypsum-derived clinker 2022: 1.1 to
1.5); pores alone would put them at 2. Width and blur are assumptions.
"""


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


def lookup_of(catalogue: Catalogue, values: Mapping[str, Array] | None = None) -> Lookup:
    """Return where parameters come from: `values` by name, then the best values of the catalogue's model."""
    best = {name: np.asarray(figure.value, float) for name, figure in catalogue.model.items()}
    known = best | dict(values or {})

    def lookup(name: str, default: float) -> Array:
        return known[name] if name in known else np.asarray(default, float)

    return lookup


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


@dataclass(frozen=True)
class _Unit:
    """What one mole of a phase brings in one regime; everything else is these times moles.

    Attributes
    ----------
    gypsum_volume, csa_volume : float
        Hydrates [L/mol].
    growth : float
        Volume of the products less that of the solids they were made of [L/mol].
    bound, gypsum_mass, ettringite_mass, monosulfate_mass, cement_mass : float
        Water used up and products [kg/mol].
    heat : float
        Heat released [J/mol].
    """

    gypsum_volume: float
    csa_volume: float
    growth: float
    bound: float
    gypsum_mass: float
    ettringite_mass: float
    monosulfate_mass: float
    cement_mass: float
    heat: float


_UNITS = tuple(_Unit.__dataclass_fields__)


@lru_cache(maxsize=64)
def _unit(place: int, regime: str) -> _Unit:
    """Return what one mole of the phase at `place` of `Bound` brings in a regime."""
    moles = [0.0] * len(_REACTIVE)
    moles[place] = 1.0
    phases = Bound(*moles)
    out = hydrates_of(phases, regime)
    gypsum, cement = out.volume("gypsum"), out.volume("csa")
    return _Unit(
        gypsum,
        cement,
        gypsum + cement - _reacted_volume(phases, out.left),
        out.water * const.MOLAR_MASSES["water"] * 1e-3,
        out.mass("gypsum"),
        out.mass("ettringite"),
        out.mass("monosulfate"),
        out.mass("ettringite") + out.mass("monosulfate") + out.mass("aluminum_hydroxide"),
        _heat(phases, out),
    )


def _reacted_volume(phases: Bound, left: Bound) -> float:
    volume = const.MOLAR_VOLUMES
    return 1e-3 * (
        (phases.alpha - left.alpha) * volume["hemihydrate_alpha"]
        + (phases.beta - left.beta) * volume["hemihydrate_beta"]
        + (phases.anhydrite - left.anhydrite) * volume["anhydrite"]
        + (phases.gypsum - left.gypsum) * volume["gypsum"]
        + (phases.yeelimite - left.yeelimite) * volume["yeelimite"]
    )


def _heat(phases: Bound, out: Hydrates) -> float:
    """Heat released [J], enthalpies of products less reactants."""
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


def moles_of(material: Material, lookup: Lookup) -> tuple[Array, ...]:
    """Return the moles of `Bound` in one kilogram that react, each of shape () or (draws,) [mol/kg].

    Ye'elimite and anhydrite of a clinker are known to the share that the figures `yeelimite_share` and
    `anhydrite_share` of the model give, and react to `yeelimite_degree`; the rest stays powder.
    """
    phases = bound_of(material)
    moles = {name: np.asarray(getattr(phases, name)) for name in Bound.__dataclass_fields__}
    degree = lookup("yeelimite_degree", 1.0)
    for name in DRAWN_PHASES:
        moles[name] = moles[name] * lookup(f"{material.name}.{name}", 1.0) * degree
    return tuple(moles.values())


def _amounts(moles: tuple[Array, ...], regime: str) -> dict[str, Array | float]:
    out: dict[str, Array | float] = dict.fromkeys(_UNITS, 0.0)
    for place, amount in enumerate(moles):
        if np.any(amount):
            unit = _unit(place, regime)
            out = {name: out[name] + amount * getattr(unit, name) for name in _UNITS}
    return out


def regime_columns(material: Material, regime: str, lookup: Lookup) -> dict[str, Array | float]:
    """Return the columns that depend on the regime, per kilogram of material.

    Volumes [L], masses [kg], heat [J], all per kilogram.
    """
    moles = moles_of(material, lookup)
    out, first = (_amounts(moles, x) for x in (regime, "raw" if regime == "raw" else "idle"))
    moisture = lookup("room_moisture_gypsum", 0.002) * out["gypsum_mass"] + (
        csa_moisture(lookup) * out["cement_mass"]
    )
    kept = ("gypsum_volume", "csa_volume", "bound", "gypsum_mass", "ettringite_mass", "monosulfate_mass")
    return {
        **{name: out[name] for name in kept},
        "solids": 1.0 / lookup(f"{material.name}.density", material.figure("density", 1.0)) + out["growth"],
        "dry": 1.0 + out["bound"],
        "moisture": moisture,
        "heat_gypsum": first["heat"],
        "heat_csa": (out["heat"] - first["heat"]) * lookup("csa_heat_factor", 1.0),
        "capacity": 1e3
        * (_powder_capacity(material) + out["bound"] * (BOUND_WATER_CAPACITY - WATER_CAPACITY)),
    }


def own_columns(material: Material, lookup: Lookup) -> dict[str, Array | float]:
    """Return the columns of a material hydrated alone, in the regime its own sulfate puts it in."""
    *sulfate, yeelimite = moles_of(material, lookup)
    lean = sum(sulfate, np.asarray(0.0)) < 2.0 * yeelimite
    excess, short = (regime_columns(material, regime, lookup) for regime in ("excess", "short"))
    return {name: np.where(lean, short[name], excess[name]) for name in excess}


def csa_moisture(lookup: Lookup) -> Array:
    """Return the room moisture that cement hydrates hold [kg/kg].

    A scale cannot tell water that never reacted from water that is held, and weighed dry masses come out
    right: where less of the ye'elimite reacts, its hydrates are taken to hold more (assumption), so that the
    two are drawn together.
    """
    degree = lookup("yeelimite_degree", FULL_DEGREE)
    return np.asarray(lookup("room_moisture_csa", 0.05) * np.exp(_TIED * (FULL_DEGREE - degree)))


def _powder_capacity(material: Material) -> float:
    shares = material.phases or {"inert": 1.0}
    return sum(share * _HEAT_CAPACITY.get(phase, _POWDER_CAPACITY) for phase, share in shares.items())


def plain_columns(material: Material, lookup: Lookup) -> Mapping[str, Array | float]:
    """Return the columns that do not depend on the regime, per kilogram of material."""

    def figure(name: str) -> Array:
        return lookup(f"{material.name}.{name}", material.figure(name))

    phases, moles = bound_of(material), moles_of(material, lookup)
    density = lookup(f"{material.name}.density", material.figure("density", 1.0))
    sand = material.phases.get("sand", 0.0)
    heavy, light, conduct = _grains(material, density, sand, lookup)
    binder = 1.0 - sand if material.role == "binder" else 0.0
    demand = lookup(f"{material.name}.water_demand", material.figure("water_demand"))
    reflectance = lookup(f"{material.name}.reflectance", material.figure("reflectance", 0.8))
    scattering = lookup(f"{material.name}.scattering", material.figure("scattering", 0.0))
    heavy_quartz = material.kind == "heavy" and material.figure("crystalline_silica") > 0.5
    hundred = 100.0 if material.kind in ("retarder", "accelerator") else 0.0

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
        "filler_water": 0.0 if material.role == "binder" else demand,
        "hemihydrate_water": 1.5 * phases.hemihydrate * const.MOLAR_MASSES["water"] * 1e-3,
        "sulfate": sum(moles[:-1], np.asarray(0.0)),
        "yeelimite": moles[-1],
        "silica": figure("crystalline_silica"),
        "co2": lookup(f"{material.name}.embodied_co2", material.figure("embodied_co2")),
        "scatter": scattering,
        "absorb": scattering * absorption_ratio(reflectance),
        "retard_gypsum": hundred * (figure("gypsum_retardation") - figure("gypsum_acceleration")),
        "retard_csa": hundred * (figure("csa_retardation") - figure("csa_acceleration")),
        "weaken_gypsum": hundred * figure("gypsum_strength_loss"),
        "weaken_csa": hundred * figure("csa_strength_loss"),
        **_plasticizer(material, figure),
    }


def _plasticizer(material: Material, figure: Callable[[str], Array]) -> dict[str, Array | float]:
    """Return dosed plasticizer in full doses, and what full doses do to water demand and ln set time."""
    if material.kind != "plasticizer":
        return {}
    full = 100.0 / figure("dose")
    return {
        "plasticizer": full,
        "plasticizer_cut": full * figure("water_reduction"),
        "plasticizer_set": full * np.log(figure("set_factor")),
    }


def _grains(
    material: Material, density: Array, sand: float, lookup: Lookup
) -> tuple[Array | float, Array | float, Array | float]:
    """Return heavy and light grain volume [L/kg] and the log of their conductivity."""
    if material.role == "binder":
        return sand / SAND_DENSITY, 0.0, _LN_QUARTZ
    if material.role not in ("filler", "pigment"):
        return 0.0, 0.0, 0.0
    conduct = np.log(lookup(f"{material.name}.conductivity", material.figure("conductivity", 3.0)))
    volume = 1.0 / density
    return (0.0, volume, conduct) if material.kind == "light" else (volume, 0.0, conduct)


def sulfate_knee(sulfate: Array | float, yeelimite: Array | float, start: Array | float) -> Array:
    """Return how far excess sulfate weakens the cement part, from 0 well below `start` to 1 [-].

    Parameters
    ----------
    sulfate, yeelimite
        Amounts in one molar unit [mol].
    start
        Sulfate ratio at which the loss begins [-].

    Examples
    --------
    >>> round(float(sulfate_knee(1.75, 1.0, 1.4)), 6)
    0.5
    """
    ratio = np.asarray(sulfate, float) / np.maximum(yeelimite, 1e-9)
    past = np.exp(np.minimum((ratio - start) / KNEE_BLUR, 300.0))  # long past the knee
    ramp = np.log((1.0 + past) / (1.0 + past * np.exp(-KNEE_WIDTH / KNEE_BLUR)))
    return np.asarray(ramp * (KNEE_BLUR / KNEE_WIDTH))
