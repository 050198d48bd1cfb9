"""Density, pores and water of a mix, by absolute volume; and the plain gypsum forms by water ratio."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from optimizer.constants import MOLAR_MASSES, MOLAR_VOLUMES, WATER_DENSITY
from optimizer.properties.arrays import TINY, Values
from optimizer.properties.hydration import Hydrates

__all__ = [
    "GYPSUM_YIELD",
    "WATER_OF_HYDRATION",
    "PlainGypsum",
    "absorption",
    "dry_density",
    "evaporable_water",
    "fresh_density",
    "fresh_volume",
    "paste_porosity",
    "plain_gypsum",
    "pore_volume",
    "porosity",
    "sorbed_moisture",
]

WATER_OF_HYDRATION: Final = 1.5 * MOLAR_MASSES["water"] / MOLAR_MASSES["hemihydrate"]
"""Water hemihydrate takes up [g/g]."""

GYPSUM_YIELD: Final = 1.0 + WATER_OF_HYDRATION
"""Gypsum from hemihydrate [g/g]."""

_GYPSUM_DENSITY: Final = MOLAR_MASSES["gypsum"] / MOLAR_VOLUMES["gypsum"]
_ALPHA_DENSITY: Final = MOLAR_MASSES["hemihydrate"] / MOLAR_VOLUMES["hemihydrate_alpha"]


def fresh_volume(solid_volume: Values, water: Values, air: Values = 0.0) -> Values:
    """Return the volume of a slurry.

    Parameters
    ----------
    solid_volume : Values
        Volume of all dry material, the sum of mass over density [L].
    water : Values
        Water [kg].
    air : Values
        Air share of the slurry [fraction].

    Returns
    -------
    Values
        Volume [L]. Any other unit of mass with its volume will do.

    Examples
    --------
    >>> round(fresh_volume(1.0 / 2.757, 0.35), 4)
    0.7134
    """
    return (solid_volume + water / WATER_DENSITY) / (1.0 - air)


def fresh_density(solid_mass: Values, solid_volume: Values, water: Values, air: Values = 0.0) -> Values:
    """Return the density of a slurry.

    Parameters
    ----------
    solid_mass : Values
        All dry material [kg].
    solid_volume, water, air
        As for `fresh_volume`.

    Returns
    -------
    Values
        Density, air included [g/cm3], the same as kilograms per liter.

    References
    ----------
    Method of absolute volumes, as in ACI 211.1 (from memory).

    Examples
    --------
    >>> round(fresh_density(1.0, 1.0 / 2.757, 0.35), 3)
    1.892
    """
    return (solid_mass + water) / fresh_volume(solid_volume, water, air)


def pore_volume(bulk_volume: Values, solid_volume: Values, growth: Values) -> Values:
    """Return the pores of the set body: water space, chemical shrinkage and air.

    Parameters
    ----------
    bulk_volume : Values
        Volume of the body [L].
    solid_volume : Values
        Volume of the dry material before mixing [L].
    growth : Values
        `hydration.solid_growth` [L].

    Returns
    -------
    Values
        Pores [L].

    Examples
    --------
    >>> round(pore_volume(1.0, 0.5, 0.2), 2)
    0.3
    """
    return bulk_volume - solid_volume - growth


def porosity(pores: Values, bulk_volume: Values = 1.0) -> Values:
    """Return the pore share of the body.

    Parameters
    ----------
    pores, bulk_volume : Values
        Pores and body [L].

    Returns
    -------
    Values
        Porosity [fraction], for density, absorption and heat.
    """
    return pores / bulk_volume


def paste_porosity(pores: Values, filler_volume: Values, bulk_volume: Values = 1.0) -> Values:
    """Return the pore share of what lies between the grains.

    Parameters
    ----------
    pores : Values
        Pores [L].
    filler_volume : Values
        All grains, whoever brings them: the sand inside a mortar too [L].
    bulk_volume : Values
        Body [L].

    Returns
    -------
    Values
        Paste porosity [fraction], for strength only.

    Notes
    -----
    Grain holds no pores. With the porosity of the whole body instead, sand would seem to make a
    plaster stronger.

    Examples
    --------
    >>> paste_porosity(0.2, 0.5)
    0.4
    """
    return pores / (bulk_volume - filler_volume)


def dry_density(
    solid_mass: Values, bound_water: Values, bulk_volume: Values = 1.0, sorbed: Values = 0.0
) -> Values:
    """Return the density of the dry body.

    Parameters
    ----------
    solid_mass, bound_water, sorbed : Values
        Dry material, water it has bound, and moisture it holds in room air [kg].
    bulk_volume : Values
        Volume of the body [L].

    Returns
    -------
    Values
        Density [kg/L, g/cm3].

    Examples
    --------
    >>> round(dry_density(1.0, 0.1862, 0.7134), 3)
    1.663
    """
    return (solid_mass + bound_water + sorbed) / bulk_volume


def sorbed_moisture(hydrates: Hydrates) -> Values:
    """Return the moisture the dry body holds in room air of 50 % humidity.

    Parameters
    ----------
    hydrates : Hydrates
        What the mix has become [mass].

    Returns
    -------
    Values
        Moisture: 0.2 % of gypsum and 5 % of CSA hydrates (judgement) [same mass].
    """
    csa = hydrates.ettringite + hydrates.monosulfate + hydrates.aluminum_hydroxide
    return 0.002 * hydrates.gypsum + 0.05 * csa


def evaporable_water(water: Values, bound_water: Values, sorbed: Values = 0.0) -> Values:
    """Return the water that must leave before the body is at constant mass.

    Parameters
    ----------
    water, bound_water, sorbed : Values
        Water of the mix, bound in hydrates, and held in room air [kg].

    Returns
    -------
    Values
        Water to dry out [kg], never negative.

    Examples
    --------
    >>> round(float(evaporable_water(0.35, 0.1862)), 4)
    0.1638
    """
    return np.maximum(water - bound_water - sorbed, 0.0)


def absorption(body_porosity: Values, body_density: Values, open_share: Values) -> Values:
    """Return the water a dry body takes up.

    Parameters
    ----------
    body_porosity : Values
        Pore share of the body [fraction].
    body_density : Values
        Dry density [g/cm3].
    open_share : Values
        Share of the pores water gets into [fraction]: 0.95 gypsum, 0.55 CSA (judgement).

    Returns
    -------
    Values
        Absorption by dry mass [fraction].

    Examples
    --------
    >>> round(absorption(0.325, 1.555, 1.0), 3)
    0.209
    """
    return body_porosity * open_share * WATER_DENSITY / body_density


@dataclass(frozen=True)
class PlainGypsum:
    """A body of hemihydrate and water alone.

    Attributes
    ----------
    fresh_density, dry_density : Values
        Densities [g/cm3].
    porosity : Values
        Pores of the dry body [fraction].
    dry_share, evaporated_share : Values
        Dry body and water to dry out, per mass of slurry [fraction].
    """

    fresh_density: Values
    dry_density: Values
    porosity: Values
    dry_share: Values
    evaporated_share: Values


def plain_gypsum(
    water_ratio: Values,
    density: Values = _ALPHA_DENSITY,
    air: Values = 0.0,
    expansion: Values = 0.0,
) -> PlainGypsum:
    """Return density and pores of a body of hemihydrate and water alone.

    Parameters
    ----------
    water_ratio : Values
        Water per powder by mass [-].
    density : Values
        Density of the hemihydrate [g/cm3]: alpha 2.757, beta 2.63.
    air : Values
        Air share of the slurry [fraction].
    expansion : Values
        Linear setting expansion [fraction]; it opens pores.

    Returns
    -------
    PlainGypsum
        The figures of the body.

    Notes
    -----
    Absolute volumes per gram of powder. Below a ratio of 0.186 part of the powder stays unreacted.

    Examples
    --------
    >>> body = plain_gypsum(0.35)
    >>> round(float(body.dry_density), 3), round(float(body.porosity), 3)
    (1.663, 0.283)
    """
    degree = np.minimum((water_ratio + TINY) / WATER_OF_HYDRATION, 1.0)
    slurry = fresh_volume(1.0 / density, water_ratio, air)
    body = slurry * (1.0 + expansion) ** 3
    dry = 1.0 + WATER_OF_HYDRATION * degree
    solids = GYPSUM_YIELD * degree / _GYPSUM_DENSITY + (1.0 - degree) / density
    return PlainGypsum(
        fresh_density=(1.0 + water_ratio) / slurry,
        dry_density=dry / body,
        porosity=1.0 - solids / body,
        dry_share=dry / (1.0 + water_ratio),
        evaporated_share=(1.0 + water_ratio - dry) / (1.0 + water_ratio),
    )
