"""What damp may do to a set body later: the late-ettringite potential and its class.

A rigid body that still holds ye'elimite beside gypsum makes ettringite once water comes back, and
the new solid is more than twice the volume of what it replaces. Bizzozero (2014) found a critical
gypsum content above which bodies under water fail; the classes below are a judgement built on it.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import MOLAR_MASSES, MOLAR_VOLUMES
from optimizer.properties.arrays import TINY, Values
from optimizer.properties.hydration import Hydrates

GROWTH_PER_MOLE: Final = (
    MOLAR_VOLUMES["ettringite"]
    + 2.0 * MOLAR_VOLUMES["aluminum_hydroxide"]
    - MOLAR_VOLUMES["yeelimite"]
    - 2.0 * MOLAR_VOLUMES["gypsum"]
)
"""Solid volume gained where ye'elimite and gypsum turn into ettringite [cm3/mol ye'elimite]."""

NEARLY_PURE: Final = 0.95
"""Share of hemihydrate in the binder from which too little ye'elimite is left to matter (judgement)."""

_LOW, _MEDIUM, _HIGH = 0, 1, 2
_TRACE: Final = 1e-9


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
    share = np.asarray(_reactive_share(hydrates) if hemihydrate_share is None else hemihydrate_share)
    sulfate = np.asarray(hydrates.given_hemihydrate) + hydrates.given_gypsum
    excess = (np.asarray(hydrates.sulfate_ratio) > 2.0) & (np.asarray(hydrates.given_yeelimite) > 0.0)
    late = (np.asarray(hydrates.monosulfate) > _TRACE) & (sulfate > _TRACE)
    limed = (np.asarray(hydrates.given_lime) > 0.0) & (share > 0.10)
    wet = np.where(excess & (potential > 0.5 * porosity), _HIGH, np.where(excess | late, _MEDIUM, _LOW))
    return np.maximum(np.where(share < NEARLY_PURE, wet, _LOW), np.where(limed, _MEDIUM, _LOW))
