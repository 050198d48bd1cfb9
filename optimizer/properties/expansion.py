"""Setting expansion of gypsum binders, as far as published figures carry it."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from optimizer.properties.arrays import Values

__all__ = ["SETTING_EXPANSION", "WATER_EXPONENT", "setting_expansion"]

WATER_EXPONENT: Final = 1.86
"""Fall of the expansion with the water ratio [-]: from 0.41 % at 0.45 to 0.24 % at 0.60, beta plaster
(Phillips, from memory; own arithmetic)."""

SETTING_EXPANSION: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "hemihydrate_alpha": (0.0009, 0.30),
        "hemihydrate_beta": (0.0029, 0.50),
    }
)
"""Linear expansion [fraction] and the water ratio [-] it holds at: dental stone 0.08 to 0.10 %, plaster
0.29 % (textbook figures, from memory)."""


def setting_expansion(water_ratio: Values, hemihydrate: str = "hemihydrate_alpha") -> Values:
    """Return the linear expansion of a gypsum body while it sets in the open.

    Parameters
    ----------
    water_ratio : Values
        Water per powder by mass [-].
    hemihydrate : str
        ``hemihydrate_alpha`` or ``hemihydrate_beta``.

    Returns
    -------
    Values
        Linear expansion [fraction]. Less water, more expansion; the slope is measured on beta plaster
        only and borrowed for alpha (judgement). Set under water the figure about doubles.

    Examples
    --------
    >>> round(setting_expansion(0.50, "hemihydrate_beta"), 4)
    0.0029
    """
    at_reference, reference = SETTING_EXPANSION[hemihydrate]
    return at_reference * (water_ratio / reference) ** -WATER_EXPONENT
