"""Trials beside the chain: whether what the chain leaves over follows the blend, and where.

A mixture surface of Scheffe is laid through the residuals of each kind of reading. Where it stands out
from its own scatter, the chain is wrong there in a way no figure of it can take up.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.calibration.agreement import compared, left_over
from optimizer.calibration.fit import Fit
from optimizer.calibration.lab_errors import KINDS
from optimizer.calibration.least_squares import LinearFit, least_squares

__all__ = ["Misfit", "misfits", "scheffe_names", "scheffe_terms"]

Array = NDArray[np.float64]

_SPARE: Final = 3
"""Readings beyond the terms of a surface before it is fitted [count]."""

_CHANCE: Final = 0.01
"""Chance of a pattern in mere scatter above which none is reported [-]."""

_WORTH: Final = 0.5
"""Smallest departure worth a word, over the lab error [-]."""

_PRESENT: Final = 1e-6


@dataclass(frozen=True)
class Misfit:
    """A kind of reading that the chain gets wrong in some blends.

    Attributes
    ----------
    kind : str
        Key of `optimizer.calibration.lab_errors.KINDS`.
    blend : Mapping[str, float]
        The blend of the trials where it is furthest off [share of the dry mass].
    departure, error : float
        How far readings stand above what the calibrated chain expects there, and the standard error
        [of the log, or the unit].
    readings : int
        Readings the surface was laid through [count].
    chance : float
        Chance of such a pattern in mere scatter [-].
    """

    kind: str
    blend: Mapping[str, float]
    departure: float
    error: float
    readings: int
    chance: float

    def sentence(self, labels: Mapping[str, str] | None = None) -> str:
        """Return the finding as a caster reads it; `labels` are the trade names of the materials."""
        labels = labels or {}
        kind = KINDS[self.kind]
        way = "above" if self.departure > 0.0 else "below"
        size = (
            f"{100.0 * abs(math.expm1(self.departure)):.0f} %" if kind.log else f"{abs(self.departure):.1f}"
        )
        parts = ", ".join(
            f"{100.0 * share:.0f} % {labels.get(name, name)}" for name, share in self.blend.items()
        )
        return (
            f"{kind.words} comes out {size} {way} what is expected near {parts} ({self.readings} readings)."
        )


def scheffe_terms(shares: Array, degree: int = 2) -> Array:
    """Return the terms of a mixture polynomial of Scheffe, shape (n, terms).

    Parameters
    ----------
    shares
        Shares of the components, shape (n, q); sums of 1, so that no constant is needed.
    degree
        1 linear, 2 with all cross products.

    References
    ----------
    Scheffe 1958, J. R. Stat. Soc. B 20:344; NIST/SEMATECH e-Handbook of Statistical Methods, 5.5.4.

    Examples
    --------
    >>> [float(term) for term in scheffe_terms(np.array([[0.5, 0.5, 0.0]]))[0]]
    [0.5, 0.5, 0.0, 0.25, 0.0, 0.0]
    """
    if degree == 1:
        return shares
    pairs = combinations(range(shares.shape[1]), 2)
    return np.column_stack([shares, *(shares[:, i] * shares[:, j] for i, j in pairs)])


def scheffe_names(names: Sequence[str], degree: int = 2) -> tuple[str, ...]:
    """Return the names of the terms of `scheffe_terms`.

    Examples
    --------
    >>> scheffe_names(("sand", "lime"))
    ('sand', 'lime', 'sand * lime')
    """
    pairs = combinations(names, 2) if degree > 1 else ()
    return (*names, *(f"{one} * {other}" for one, other in pairs))


def misfits(fit: Fit) -> tuple[Misfit, ...]:
    """Return where the calibrated chain is wrong in a way that follows the blend, worst first.

    Readings that were flagged, and bounds, do not enter.
    """
    found = [misfit for kind in KINDS for misfit in _of_kind(fit, kind)]
    return tuple(sorted(found, key=lambda one: one.chance))


def _of_kind(fit: Fit, kind: str) -> Iterator[Misfit]:
    seen = compared(fit, kind)
    if not seen:
        return
    blends = fit.evidence.mixes[[one.reading.place for one in seen], :-1]
    used = np.flatnonzero(np.any(blends > _PRESENT, axis=0))
    shares = blends[:, used]
    residual = np.array([left_over(one, one.after) for one in seen])
    surface = _surface(shares, residual)
    if surface is None:
        return
    terms, laid = surface
    departure, error = laid.predict(terms)
    worst = int(np.argmax(np.abs(departure)))
    chance = laid.chance_of_zero(residual)
    if chance < _CHANCE and abs(departure[worst]) > _WORTH * KINDS[kind].error:
        names = [fit.evidence.names[k] for k in used]
        blend = {name: float(s) for name, s in zip(names, shares[worst], strict=True) if s > _PRESENT}
        yield Misfit(kind, blend, float(departure[worst]), float(error[worst]), len(seen), chance)


def _surface(shares: Array, residual: Array) -> tuple[Array, LinearFit] | None:
    """Lay the richest surface that the readings carry; None when they carry none."""
    for degree in (2, 1):
        terms = scheffe_terms(shares, degree)
        if len(residual) < terms.shape[1] + _SPARE:
            continue
        try:
            return terms, least_squares(terms, residual)
        except ValueError:  # the blends of the trials do not tell all terms apart
            continue
    return None
