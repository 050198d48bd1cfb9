"""Small laws of strength: pores, moisture, grain, and bending from compression."""

from __future__ import annotations

from typing import Final

import numpy as np

from optimizer.properties.arrays import Values
from optimizer.properties.volumes import WATER_OF_HYDRATION, plain_gypsum

__all__ = [
    "LIGHT_EXPONENT",
    "elastic_modulus_gypsum",
    "filler_factor",
    "flexural_csa",
    "flexural_gypsum",
    "moisture_strength",
    "plain_gypsum_strength",
    "porosity_strength",
]

LIGHT_EXPONENT: Final = 2.86
"""Exponent of strength on what light grain leaves of the body [-]: fit to gypsum series with light
fillers (own arithmetic on the published table)."""

_DRYING_OUT: Final = 0.012
_FLEXURAL_RANGE: Final = 40.0


def porosity_strength(intrinsic: Values, slope: Values, pores: Values) -> Values:
    """Return the compressive strength of a porous body.

    Parameters
    ----------
    intrinsic : Values
        Strength at no pores [MPa].
    slope : Values
        Loss of log strength per unit of porosity [-].
    pores : Values
        Paste porosity [fraction].

    Returns
    -------
    Values
        Strength [MPa].

    References
    ----------
    Ryshkewitch, J. Am. Ceram. Soc. 36 (1953) 65, and Duckworth, ibid. 68 (from memory).

    Examples
    --------
    >>> round(float(porosity_strength(69.0, 4.63, 0.229)), 1)
    23.9
    """
    return intrinsic * np.exp(-slope * pores)


def plain_gypsum_strength(water_ratio: Values, intrinsic: Values = 69.0, slope: Values = 4.63) -> Values:
    """Return the compressive strength of hemihydrate and water alone, one hour old and wet.

    Parameters
    ----------
    water_ratio : Values
        Water per powder by mass [-]. Below the water of hydration nothing more is gained.
    intrinsic, slope : Values
        As for `porosity_strength`; the defaults are a fit to nine dental plasters and stones.

    Returns
    -------
    Values
        Strength [MPa]; a dry body has about twice that.

    References
    ----------
    Craig, Restorative Dental Materials, gypsum chapter (from memory): the nine points; the fit is own
    arithmetic, 9 % root mean square.

    Examples
    --------
    >>> round(float(plain_gypsum_strength(0.30)), 1)
    23.9
    """
    ratio = np.maximum(water_ratio, WATER_OF_HYDRATION)
    return porosity_strength(intrinsic, slope, plain_gypsum(ratio).porosity)


def moisture_strength(wet: Values, dry: Values, free_water: Values) -> Values:
    """Return the strength of a gypsum body that is not yet dry.

    Parameters
    ----------
    wet, dry : Values
        Strength never dried and at constant mass [MPa].
    free_water : Values
        Free water per dry mass [fraction].

    Returns
    -------
    Values
        Strength [MPa]. Nearly nothing is gained until the last free water leaves.

    References
    ----------
    Shape after Phillips, drying of model plaster at 45 degC (from memory); the 1.2 % is a judgement.

    Examples
    --------
    >>> round(float(moisture_strength(10.0, 20.0, 0.05)), 1)
    10.2
    """
    return wet + (dry - wet) * np.exp(-np.maximum(free_water, 0.0) / _DRYING_OUT)


def flexural_gypsum(compressive: Values) -> Values:
    """Return the bending strength of gypsum from its compressive strength.

    Parameters
    ----------
    compressive : Values
        Compressive strength [MPa].

    Returns
    -------
    Values
        Bending strength [MPa]. The fit spans 2 to 25 MPa; above 40 the value at 40 is kept, which
        stays inside the 8 to 13 MPa known of dry dense bodies (from memory).

    References
    ----------
    Grades of GOST 125-79 (pairs from memory); the fit is own arithmetic.

    Examples
    --------
    >>> round(float(flexural_gypsum(16.0)), 2)
    5.96
    """
    return 0.772 * np.minimum(compressive, _FLEXURAL_RANGE) ** 0.737


def flexural_csa(compressive: Values) -> Values:
    """Return the bending strength of a CSA body from its compressive strength.

    Parameters
    ----------
    compressive : Values
        Compressive strength [MPa].

    Returns
    -------
    Values
        Bending strength [MPa] (judgement).

    Examples
    --------
    >>> round(float(flexural_csa(40.0)), 1)
    6.6
    """
    return 0.60 * np.asarray(compressive, dtype=float) ** 0.65


def filler_factor(
    heavy: Values, light: Values, exponent: Values, light_exponent: Values = LIGHT_EXPONENT
) -> Values:
    """Return the share of the paste's strength that a body with grain keeps.

    Parameters
    ----------
    heavy, light : Values
        Volume of heavy and of light grain per body [fraction].
    exponent : Values
        Exponent for heavy grain [-]: 1.5 (0.8 to 2.9) in gypsum, 0.5 (0 to 1.2) in CSA (judgement).
    light_exponent : Values
        Exponent for light grain [-].

    Returns
    -------
    Values
        Factor [fraction], never above 1.

    Examples
    --------
    >>> round(filler_factor(0.2, 0.0, 1.5), 3)
    0.716
    """
    return (1.0 - heavy) ** exponent * (1.0 - light) ** light_exponent


def elastic_modulus_gypsum(pores: Values) -> Values:
    """Return Young's modulus of a set gypsum body.

    Parameters
    ----------
    pores : Values
        Porosity [fraction].

    Returns
    -------
    Values
        Modulus [GPa], within 40 %.

    References
    ----------
    Solid 45.7 GPa: Meille and Garboczi, Modelling Simul. Mater. Sci. Eng. 9 (2001) 371 (from memory);
    the exponent is a judgement between 2.7 and 3.8.

    Examples
    --------
    >>> round(elastic_modulus_gypsum(0.408), 1)
    9.5
    """
    return 45.7 * (1.0 - pores) ** 3
