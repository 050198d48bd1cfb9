"""Water absorption by a soak test: dry, a day under water, wiped, weighed."""

from __future__ import annotations

import math
from typing import Final

from optimizer.errors import QuantityError
from optimizer.trials.measured import Measured
from optimizer.trials.measuring import scale_error

_WIPING: Final = 0.04
"""Spread that wiping leaves [fraction of the water taken up]; judgement."""

_COARSE: Final = 0.05
_SMALL: Final = 50.0
"""A piece lighter than this has more wet surface than body [g]; common practice, no source."""


def absorption_soaked(dry: float, soaked: float, scale_step: float = 1.0) -> Measured:
    """Return the water absorption of a piece from its mass dry and after a day under water.

    Parameters
    ----------
    dry : float
        Mass at constant weight, bare of sealer [g].
    soaked : float
        Mass after 24 h under water, its surface wiped with a damp cloth [g].
    scale_step : float
        What the scale resolves [g].

    Returns
    -------
    Measured
        Water taken up over the dry mass [fraction].

    Raises
    ------
    QuantityError
        When a mass is not above 0, or the soaked piece is lighter than the dry one.

    Notes
    -----
    ``(soaked - dry) / dry``, the 24 h absorption of ASTM C97 and C642 (procedure from memory). Gypsum
    dissolves a little, 2.4 g in a liter of water (handbook figure, from memory): use little more water than
    covers the piece.

    Examples
    --------
    >>> found = absorption_soaked(120.0, 140.4, 0.1)
    >>> round(found.value, 3), round(found.spread, 4)
    (0.17, 0.0068)
    """
    for mass, what in ((dry, "the dry piece"), (soaked, "the soaked piece")):
        if not (math.isfinite(mass) and mass > 0.0):
            raise QuantityError(f"{mass:g} g", "a mass above 0", f"Check the mass of {what}.")
    gain = soaked - dry
    if gain < 0.0:
        repair = "Swap the two masses, or dry the piece to constant mass first."
        raise QuantityError(f"{soaked:g} g soaked", f"at least the {dry:g} g it weighed dry", repair)
    value = gain / dry
    spread = math.hypot(scale_error(scale_step) / dry, _WIPING * value)
    warnings = []
    if scale_error(scale_step) > _COARSE * max(gain, scale_step / 10.0):
        warnings.append("The scale is too coarse for this piece: take a larger piece or a finer scale.")
    if dry < _SMALL:
        warnings.append("The piece is small, and what wiping leaves counts: soak one of 100 g or more.")
    return Measured(value, spread, "fraction", "soaked for a day and wiped", tuple(warnings))
