"""What the phases of a body bear: temperature limits by exposure, and the margin to them.

The limits are advisory. A calculated margin certifies nothing: burn one.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

import numpy as np

from optimizer.job_inputs import EXPOSURES
from optimizer.properties.arrays import Values

GYPSUM_LIMITS: Final = MappingProxyType(dict(zip(EXPOSURES, (45.0, 52.0, 60.0), strict=True)))
"""Advisory limit of gypsum by exposure [degC].

45: above 40 degC very dry air already takes crystal water (Wilkes et al. 2004, abstract read); 52: trade
rule of 125 degF, from memory; 60: powder turns to hemihydrate within weeks (Charola & Centeno 2002)."""

SINGLE_HOUR: Final = 8.0
"""How much more ettringite bears for one hour than for repeated burns [K]; judgement."""

HARD_STOP: Final = 80.0
"""Limit when neither phase is present [degC]; judgement."""


_RAMP: Final = (0.0, 0.10)


def _presence(share: Values) -> Values:
    """Return 0 without a phase, 1 from 10 % of the solids, and a smooth rise between [-]."""
    low, high = _RAMP
    part = np.clip((share - low) / (high - low), 0.0, 1.0)
    return part**2 * (3.0 - 2.0 * part)


def phase_limit(
    gypsum_share: Values, ettringite_share: Values, exposure: str, ettringite_limit: Values
) -> Values:
    """Return the lowest temperature limit of the phases present [degC].

    Parameters
    ----------
    gypsum_share, ettringite_share : Values
        Share of the dry solids, room moisture left out [fraction].
    exposure : str
        One of `shop.EXPOSURES`.
    ettringite_limit : Values
        What ettringite bears in repeated or continuous burns [degC]; `SINGLE_HOUR` more for one hour.

    Raises
    ------
    KeyError
        If the exposure is unknown.

    Notes
    -----
    A phase counts fully from 10 % of the solids; below that its limit comes down smoothly from `HARD_STOP`,
    so there is no step to park a blend on. In room air of 22 degC and 40 % humidity ettringite is at
    equilibrium at 49.8 degC (own arithmetic from Cemdata18).

    Examples
    --------
    >>> [float(phase_limit(0.6, share, "repeated burns", 50.0)) for share in (0.2, 0.0)]
    [50.0, 52.0]
    """
    bears = ettringite_limit + (SINGLE_HOUR if exposure == "single hour" else 0.0)
    gypsum = HARD_STOP - (HARD_STOP - GYPSUM_LIMITS[exposure]) * _presence(gypsum_share)
    ettringite = HARD_STOP - (HARD_STOP - bears) * _presence(ettringite_share)
    return np.minimum(gypsum, ettringite)


def heat_margin(limit: Values, outer: Values, inner: Values) -> Values:
    """Return how far the hottest wall stays below the limit, negative when above it [K].

    Parameters
    ----------
    limit : Values
        From `phase_limit` [degC].
    outer, inner : Values
        From `wall_temperatures` [degC].

    Notes
    -----
    A negative margin means slow loss of crystal water near the flame.

    Examples
    --------
    >>> float(heat_margin(52.0, 50.0, 58.5))
    -6.5
    """
    return limit - np.maximum(outer, inner)
