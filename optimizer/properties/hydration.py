"""What the binder phases turn into, how far the body moves by it, and what damp may do to it later.

The rules, in the order they act (complete reaction; Glasser and Zhang, Cem. Concr. Res. 31 (2001)
1881, and Lothenbach et al., ibid. 115 (2019) 472, from memory):

1. hemihydrate takes its own water first and becomes gypsum: it dissolves fastest;
2. ye'elimite reacts to one common degree, limited by the water left; anhydrite dissolves to the same
   degree (a judgement: no published rule for mixes short of water);
3. lime, where there is any, goes first, then ettringite forms while there is sulfate, then either
   monosulfate (sulfate short) or gypsum (sulfate left): never both.

Moles per mole of ye'elimite rule every line below, so the balance of mass and atoms is exact.
Belite is left inert: it is slow, and its late gain is part of a cement's own strength curve.

Damp later: a rigid body that still holds ye'elimite beside gypsum makes ettringite once water comes back, and
the new solid is more than twice the volume of what it replaces. Bizzozero (2014) found a critical
gypsum content above which bodies under water fail; the classes below are a judgement built on it.

Expansion while setting and shrinkage while drying are changes of length without any restraint but that of
the grains in the paste; a mold that does not give way, and a face that dries first, are not looked at.
Magnitudes are known to a factor of two at best.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import MOLAR_MASSES, MOLAR_VOLUMES
from optimizer.properties.arrays import TINY, Values

NO_YEELIMITE: Final = 1e6
"""Ceiling of the sulfate ratio, and its value where sulfate meets no ye'elimite at all."""

_YEELIMITE: Final = MOLAR_MASSES["yeelimite"]
_HEMIHYDRATE: Final = MOLAR_MASSES["hemihydrate"]
_ANHYDRITE: Final = MOLAR_MASSES["anhydrite"]
_GYPSUM: Final = MOLAR_MASSES["gypsum"]
_LIME: Final = MOLAR_MASSES["lime"]
_WATER: Final = MOLAR_MASSES["water"]
_ETTRINGITE: Final = MOLAR_MASSES["ettringite"]
_MONOSULFATE: Final = MOLAR_MASSES["monosulfate"]
_ALUMINUM: Final = MOLAR_MASSES["aluminum_hydroxide"]

GROWTH_PER_MOLE: Final = (
    MOLAR_VOLUMES["ettringite"]
    + 2.0 * MOLAR_VOLUMES["aluminum_hydroxide"]
    - MOLAR_VOLUMES["yeelimite"]
    - 2.0 * MOLAR_VOLUMES["gypsum"]
)
"""Solid volume gained where ye'elimite and gypsum turn into ettringite [cm3/mol ye'elimite]."""

NEARLY_PURE: Final = 0.95
"""Share of hemihydrate in the binder from which too little ye'elimite is left to matter (judgement)."""

_TRACE: Final = 1e-9

_MUCH_PLASTER: Final = 0.10
"""Share of hemihydrate from which lime beside it counts [fraction] (Telesca et al. 2013)."""

_FAR: Final = 50.0
"""Margin where nothing is near [-]."""


@dataclass(frozen=True)
class Hydrates:
    """What a mix has become. All masses are in the unit of the masses given to `hydrate`.

    Attributes
    ----------
    ettringite, monosulfate, gypsum, aluminum_hydroxide : Values
        Hydrates [mass]; `gypsum` includes gypsum that was in the mix from the start.
    given_yeelimite, given_hemihydrate, given_anhydrite, given_gypsum, given_lime : Values
        Amounts in the mix [mass].
    reacted_lime : Values
        Lime used up [mass].
    bound_water : Values
        Water used up [mass].
    full_demand : Values
        Water the mix needs for complete reaction [mass].
    degree : Values
        Degree of reaction of ye'elimite and anhydrite [fraction]; 1 where there is neither.
    hemihydrate_degree : Values
        Degree of reaction of hemihydrate [fraction]; 1 where there is none.
    sulfate_ratio : Values
        Moles of calcium sulfate, all forms, per mole of ye'elimite [-], at most `NO_YEELIMITE`
        (its value where there is sulfate and no ye'elimite; 0 where there is neither).
    """

    ettringite: Values
    monosulfate: Values
    gypsum: Values
    aluminum_hydroxide: Values
    given_yeelimite: Values
    given_hemihydrate: Values
    given_anhydrite: Values
    given_gypsum: Values
    given_lime: Values
    reacted_lime: Values
    bound_water: Values
    full_demand: Values
    degree: Values
    hemihydrate_degree: Values
    sulfate_ratio: Values

    @property
    def yeelimite(self) -> Values:
        """Ye'elimite left over [mass]."""
        return self.given_yeelimite - self.reacted_yeelimite

    @property
    def hemihydrate(self) -> Values:
        """Hemihydrate left over [mass]."""
        return self.given_hemihydrate - self.reacted_hemihydrate

    @property
    def anhydrite(self) -> Values:
        """Anhydrite left over [mass]."""
        return self.given_anhydrite - self.reacted_anhydrite

    @property
    def lime(self) -> Values:
        """Lime left over [mass]."""
        return self.given_lime - self.reacted_lime

    @property
    def reacted_yeelimite(self) -> Values:
        """Ye'elimite used up [mass]."""
        return self.given_yeelimite * self.degree

    @property
    def reacted_hemihydrate(self) -> Values:
        """Hemihydrate used up [mass]."""
        return self.given_hemihydrate * self.hemihydrate_degree

    @property
    def reacted_anhydrite(self) -> Values:
        """Anhydrite used up [mass]."""
        return self.given_anhydrite * self.degree


@dataclass(frozen=True)
class _Demand:
    """What is left to react once lime has had its share, and what water that takes.

    Moles of water per unit of degree: ettringite by way of gypsum takes 34, monosulfate 18 and the
    lime reaction 90 before the water its gypsum brings; a mole of sulfate holds 2 while it is in
    excess (`rich`) and takes 10 into ettringite while it is short (`lean`).
    """

    yeelimite: Values
    sulfate: Values
    rich: Values
    lean: Values
    lime_reaction: Values = 0.0


def _demand(yeelimite: Values, anhydrite: Values, sulfate: Values, lime: Values) -> _Demand:
    """Return the demand of ye'elimite and anhydrite beside `sulfate` and `lime` [all mol]."""
    if isinstance(lime, float | int) and lime == 0.0:
        return _Demand(
            yeelimite, anhydrite, 34.0 * yeelimite + 2.0 * anhydrite, 18.0 * yeelimite + 10.0 * anhydrite
        )
    extent = np.minimum(yeelimite, np.minimum(lime / 6.0, sulfate / 8.0))
    plain, pool = yeelimite - extent, anhydrite - 8.0 * extent
    return _Demand(
        plain,
        pool,
        90.0 * extent + 34.0 * plain + 2.0 * pool,
        90.0 * extent + 18.0 * plain + 10.0 * pool,
        extent,
    )


def hydrate(
    yeelimite: Values,
    hemihydrate: Values,
    anhydrite: Values,
    gypsum: Values,
    lime: Values,
    water: Values,
    most: Values = 1.0,
) -> Hydrates:
    """Return the hydrates, left-overs and bound water of a mix.

    Parameters
    ----------
    yeelimite, hemihydrate, anhydrite, gypsum, lime, water : Values
        Amounts in the mix [any one unit of mass], none negative; they broadcast. `lime` is slaked
        lime, or the lime that Portland cement sets free; a plain 0.0 skips its lines.
    most : Values
        Degree to which ye'elimite and anhydrite react with water in plenty [fraction].

    Returns
    -------
    Hydrates
        Masses in the unit of the inputs.

    Notes
    -----
    With `s` moles of sulfate and `y` of ye'elimite at hand, ettringite takes ``min(y, s/2)``. The
    water used up is then the lesser of two straight lines in the degree, one for enough sulfate and
    one for too little, so the degree that a given water allows is the greater of two quotients.

    Examples
    --------
    >>> plaster = hydrate(0.0, 100.0, 0.0, 0.0, 0.0, 35.0)
    >>> round(float(plaster.gypsum), 2), round(float(plaster.bound_water), 2)
    (118.62, 18.62)
    """
    y, h = yeelimite / _YEELIMITE, hemihydrate / _HEMIHYDRATE
    a, g, w = anhydrite / _ANHYDRITE, gypsum / _GYPSUM, water / _WATER
    sulfate, own = h + a + g, 1.5 * h
    need = _demand(y, a, sulfate, lime / _LIME)
    started = np.minimum((w + TINY) / (own + TINY), 1.0)
    pool, rest = h * started + g, np.maximum(w - own, 0.0)
    degree = np.maximum((rest + TINY) / (need.rich + TINY), (rest - 8.0 * pool) / (need.lean + TINY))
    degree = np.minimum(degree, most)
    reacted, left = degree * need.yeelimite, np.maximum(pool + degree * need.sulfate, 0.0)
    early = np.minimum(reacted, 0.5 * left)
    limed = degree * need.lime_reaction
    taken = np.minimum(degree * need.rich, degree * need.lean + 8.0 * pool)
    return Hydrates(
        ettringite=_ETTRINGITE * (early + 3.0 * limed),
        monosulfate=_MONOSULFATE * (reacted - early),
        gypsum=_GYPSUM * (left - 2.0 * early),
        aluminum_hydroxide=(2.0 * _ALUMINUM) * reacted,
        given_yeelimite=yeelimite,
        given_hemihydrate=hemihydrate,
        given_anhydrite=anhydrite,
        given_gypsum=gypsum,
        given_lime=lime,
        reacted_lime=(6.0 * _LIME) * limed,
        bound_water=_WATER * (own * started + taken),
        full_demand=_WATER * (own + np.minimum(need.rich, need.lean + 8.0 * (h + g))),
        degree=degree,
        hemihydrate_degree=started,
        sulfate_ratio=np.minimum(sulfate / (y + TINY), NO_YEELIMITE),
    )


def _reactive_share(hydrates: Hydrates) -> Values:
    """Return hemihydrate among the phases that react [fraction]."""
    plaster = hydrates.given_hemihydrate
    others = hydrates.given_yeelimite + hydrates.given_anhydrite + hydrates.given_gypsum
    return plaster / (plaster + others + hydrates.given_lime + TINY)


def late_ettringite_potential(hydrates: Hydrates, bulk_volume: Values) -> Values:
    """Return the solid growth still possible, as a share of the body's volume.

    Parameters
    ----------
    hydrates : Hydrates
        What the mix has become [mass].
    bulk_volume : Values
        Volume of the body [cm3 per gram of the mass unit, L per kg]: 1 for amounts per liter.

    Returns
    -------
    Values
        Late-ettringite potential [fraction].

    Notes
    -----
    Left-over ye'elimite reacts as far as the sulfate left over beside it goes.

    References
    ----------
    Molar volumes of Cemdata18; the measure itself is a judgement.
    """
    yeelimite = hydrates.yeelimite / MOLAR_MASSES["yeelimite"]
    sulfate = (
        hydrates.gypsum / MOLAR_MASSES["gypsum"]
        + hydrates.anhydrite / MOLAR_MASSES["anhydrite"]
        + hydrates.hemihydrate / MOLAR_MASSES["hemihydrate"]
    )
    return GROWTH_PER_MOLE * np.minimum(yeelimite, 0.5 * sulfate) / bulk_volume


def damp_class(
    hydrates: Hydrates,
    potential: Values,
    porosity: Values,
    hemihydrate_share: Values | None = None,
) -> NDArray[np.int64]:
    """Return the late-ettringite class: 0 low, 1 medium, 2 high.

    Parameters
    ----------
    hydrates : Hydrates
        What the mix has become [mass].
    potential : Values
        `late_ettringite_potential` [fraction].
    porosity : Values
        Pore share of the body [fraction].
    hemihydrate_share : Values, optional
        Hemihydrate materials in the binder, by dry mass [fraction]; by default hemihydrate among the
        reactive phases, which is a little more.

    Returns
    -------
    NDArray
        Index into the words low, medium, high.

    Notes
    -----
    What the body would do if it stood in damp. High: sulfate in excess (ratio above 2) and a potential above
    half the pore space. Medium: sulfate in excess, monosulfate beside added hemihydrate or gypsum, or lime
    beside more than 10 % hemihydrate (Telesca et al. 2013). Low: all else, and a binder that is at least 95 %
    hemihydrate, which has no ye'elimite to speak of. All a judgement. Late ettringite only: 20 to 30 % of CSA
    is reported to help gypsum through wetting and drying (Ambroise et al. 2006, ACI SP-235:125, abstract),
    and gypsum's own solubility is a caution of its own.

    Examples
    --------
    >>> from optimizer.properties.hydration import hydrate
    >>> short_of_water = hydrate(40.0, 20.0, 12.0, 0.0, 0.0, 35.0)
    >>> int(damp_class(short_of_water, late_ettringite_potential(short_of_water, 70.16), 0.125))
    2
    """
    first, second = damp_margins(hydrates, potential, porosity, hemihydrate_share)
    return np.asarray((first < 0.0).astype(np.int64) + (second < 0.0))


def damp_margins(
    hydrates: Hydrates,
    potential: Values,
    porosity: Values,
    hemihydrate_share: Values | None = None,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return how far a body is from class medium, and from class high; negative where it is of that class.

    Parameters
    ----------
    hydrates : Hydrates
        What the mix has become [mass].
    potential : Values
        `late_ettringite_potential` [fraction].
    porosity : Values
        Pore share of the body [fraction].
    hemihydrate_share : Values, optional
        Hemihydrate materials in the binder, by dry mass [fraction]; default as in `damp_class`.

    Returns
    -------
    tuple[NDArray, NDArray]
        Natural logarithms of ratios [-], or parts of a share, within 50 of 0: continuous where the class
        steps.

    References
    ----------
    The rules of `damp_class`, each as a distance.
    """
    share = np.asarray(_reactive_share(hydrates) if hemihydrate_share is None else hemihydrate_share, float)
    given = np.asarray(hydrates.given_yeelimite, float) > 0.0
    balanced = np.where(given, _log_ratio(2.0, hydrates.sulfate_ratio), _FAR)
    roomy = _log_ratio(0.5 * np.asarray(porosity, float), potential)
    added = np.asarray(hydrates.given_hemihydrate, float) + hydrates.given_gypsum
    early = _log_ratio(_TRACE, np.minimum(hydrates.monosulfate, added))
    pure = share / NEARLY_PURE - 1.0
    limed = np.where(np.asarray(hydrates.given_lime, float) > 0.0, 1.0 - share / _MUCH_PLASTER, _FAR)
    medium = np.minimum(np.maximum(pure, np.minimum(balanced, early)), limed)
    high = np.maximum(pure, np.maximum(balanced, roomy))
    return medium, high


def _log_ratio(above: Values, below: Values) -> NDArray[np.float64]:
    ratio = np.asarray(above, float) / np.maximum(np.asarray(below, float), 1e-30)
    return np.asarray(np.clip(np.log(np.maximum(ratio, 1e-30)), -_FAR, _FAR))


def grain_restraint(grains: Values, exponent: Values) -> Values:
    """Return the share of the paste's own change of length that a body with grains makes [fraction].

    Parameters
    ----------
    grains : Values
        Share of the volume that stiff grains take, below 1 [fraction].
    exponent : Values
        1.2 to 1.7 for sand and gravel [-].

    References
    ----------
    Pickett 1956, J. Am. Concr. Inst. 52:581 (from memory).

    Examples
    --------
    >>> round(float(grain_restraint(0.7, 1.7)), 2)
    0.13
    """
    return (1.0 - grains) ** exponent


def setting_expansion(
    gypsum_share: Values, gypsum: Values, cement: Values, together: Values, restraint: Values = 1.0
) -> Values:
    """Return how much a body lengthens from the liquid mix to the set body, before it dries [mm/m].

    Parameters
    ----------
    gypsum_share : Values
        Gypsum-type share of the hydrates, by volume [fraction].
    gypsum, cement : Values
        What the paste of each alone does, at its water; negative where it shrinks [mm/m].
    together : Values
        What half of each adds: sulfate beside cement makes ettringite in a body that is rigid by then [mm/m].
    restraint : Values
        `grain_restraint` [fraction].

    Notes
    -----
    Linear between the two, with a bow that is full at half of each (assumption). That more sulfate makes the
    same clinker swell is the trade of self-stressing cement, which may swell 13 mm/m under water (GB 20472,
    from memory).

    Examples
    --------
    >>> [round(float(setting_expansion(share, 2.0, 0.3, 1.5)), 2) for share in (1.0, 0.5, 0.0)]
    [2.0, 2.65, 0.3]
    """
    other = 1.0 - gypsum_share
    own = gypsum_share * gypsum + other * cement + 4.0 * gypsum_share * other * together
    return own * restraint


def drying_shrinkage(gypsum_share: Values, gypsum: Values, cement: Values, restraint: Values = 1.0) -> Values:
    """Return how much a body shortens from damp to the moisture of a room [mm/m].

    Parameters
    ----------
    gypsum_share : Values
        Gypsum-type share of the hydrates, by volume [fraction].
    gypsum, cement : Values
        Shrinkage of the paste of each alone [mm/m].
    restraint : Values
        `grain_restraint` [fraction].

    Notes
    -----
    On the log between the two, as other properties of the paste (assumption). Water is left out: one abstract
    has less shrinkage of CSA mortars with more water (Golaszewska 2024, Materials 17:2806), against what
    portland cement does.

    Examples
    --------
    >>> round(float(drying_shrinkage(0.0, 0.3, 1.7, grain_restraint(0.58, 1.7))), 2)
    0.39
    """
    return np.exp(gypsum_share * np.log(gypsum) + (1.0 - gypsum_share) * np.log(cement)) * restraint
