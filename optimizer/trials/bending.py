"""Strength from a cast bar, two rails and a bucket: three-point bending, and what it says of crushing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from optimizer.errors import QuantityError
from optimizer.property_model.strength import compressive_for_flexural, flexural_power
from optimizer.specs import load_catalogue
from optimizer.trials.measuring import Measured, repeat_error

GRAVITY: Final = 9.80665
"""Standard acceleration [m/s2]; 3rd CGPM 1901. The real one is within 0.3 % anywhere."""

_BAR_SCATTER: Final = 0.15
"""Spread between bars of one batch [fraction]; judgement, brittle bars poured by hand."""

_RELATION_SPREAD: Final = (0.10, 0.25)
"""Spread of flexural strength about its relation to compressive, gypsum and CSA [fraction].

Gypsum: the grade pairs lie within 15 %, read as the 90 % band. CSA: judgement."""

_KNOWN_RANGE: Final = (2.0, 25.0)
"""Compressive strengths the gypsum relation was fitted to [MPa]."""


@dataclass(frozen=True)
class BentBar:
    """One bar broken over two supports by a load at mid-span.

    Attributes
    ----------
    load : float
        Bucket with everything in it when the bar broke, hook and strap too [g].
    span : float
        Distance between the supports [mm].
    width, depth : float
        Width, and height in the direction of the load, at the break [mm].
    mass, length : float
        Mass of the whole bar [g] and its length [mm], for its own weight; 0: left out.
    """

    load: float
    span: float
    width: float
    depth: float
    mass: float = 0.0
    length: float = 0.0


def bending_strength(force: float, span: float, width: float, depth: float) -> float:
    """Return the stress at the underside of a bar broken by a force at mid-span [MPa].

    Modulus of rupture ``3 P L / (2 b d^2)`` [MPa].

    Parameters
    ----------
    force : float
        Force at break [N].
    span, width, depth : float
        Distance of the supports, width and height of the bar [mm].

    References
    ----------
    ASTM C293/C293M (center-point loading; formula from memory); ASTM C348 uses it for 40 mm prisms on
    119 mm.

    Examples
    --------
    >>> round(bending_strength(300.0, 44.0, 11.0, 5.3), 2)
    64.08
    """
    return 3.0 * force * span / (2.0 * width * depth**2)


def bar_strength(bar: BentBar) -> float:
    """Return the modulus of rupture of one bar, with its own weight [MPa].

    Raises
    ------
    QuantityError
        When a measure is not positive, or the bar is shorter than the span.

    Notes
    -----
    The weight W of a bar of length l bends mid-span by ``W (2 L - l) / 8``: statics of a beam with two
    overhangs. A force at mid-span bends it by ``P L / 4``.

    Examples
    --------
    >>> round(bar_strength(BentBar(load=20_000.0, span=100.0, width=40.0, depth=20.0)), 2)
    1.84
    """
    for name in ("load", "span", "width", "depth"):
        if not getattr(bar, name) > 0.0:
            raise QuantityError(
                f"{getattr(bar, name):g}", "a number above 0", f"Check the {name} of the bar."
            )
    length = bar.length or bar.span
    if length < bar.span:
        raise QuantityError(
            f"{length:g} mm long", f"at least the span, {bar.span:g} mm", "Measure both again."
        )
    own = bar.mass * (2.0 * bar.span - length) / (2.0 * bar.span)
    return bending_strength((bar.load + own) * 1e-3 * GRAVITY, bar.span, bar.width, bar.depth)


def modulus_of_rupture(
    bars: Sequence[BentBar], load_step: float = 50.0, caliper: float = 0.1, rule: float = 1.0
) -> Measured:
    """Return the modulus of rupture from one or more bars of a batch.

    Modulus of rupture [MPa].

    Parameters
    ----------
    load_step : float
        How finely the load at break is known: what was poured between two looks [g].
    caliper, rule : float
        What width and depth, and the span, are read to [mm].

    Raises
    ------
    QuantityError
        Without a bar, or as `bar_strength`.

    Notes
    -----
    Between bars 15 % is assumed beforehand and corrected by what the bars show. Depth counts twice.

    Examples
    --------
    >>> bars = [BentBar(20_000.0 + more, 100.0, 40.0, 20.0) for more in (0.0, 1_500.0, -900.0)]
    >>> round(modulus_of_rupture(bars).value, 2)
    1.86
    """
    if not bars:
        raise QuantityError("no bar", "one or more bars", "Break at least one bar.")
    strengths = [bar_strength(bar) for bar in bars]
    mean = math.fsum(strengths) / len(strengths)
    reading = max(_reading_error(bar, load_step, caliper, rule) for bar in bars)
    spread = math.hypot(repeat_error(strengths, _BAR_SCATTER), reading * mean)
    method = f"three-point bending, {len(bars)} bar{'s' if len(bars) > 1 else ''}"
    return Measured(mean, spread, "MPa", method, tuple(_bar_warnings(bars)))


def compressive_estimate(flexural: Measured, gypsum_share: float) -> Measured:
    """Return the compressive strength that goes with a bending strength, roughly.

    Compressive strength of the same age and state [MPa]; the spread holds that of the relation.

    Parameters
    ----------
    flexural : Measured
        Modulus of rupture [MPa].
    gypsum_share : float
        Gypsum-type share of the binder, the rest CSA [fraction].

    Raises
    ------
    QuantityError
        When the share is not between 0 and 1, or the strength not positive.

    Notes
    -----
    Inverse of the chain's own law at the shipped factors, mixed by share on the log. An error of F grows by
    one over the exponent.

    Examples
    --------
    >>> round(compressive_estimate(Measured(6.0, 0.5, "MPa", "three-point bending"), 1.0).value, 1)
    16.2
    """
    if not 0.0 <= gypsum_share <= 1.0:
        raise QuantityError(
            f"{gypsum_share:g}", "a share from 0 to 1", "Give the gypsum share of the binder."
        )
    if not flexural.value > 0.0:
        raise QuantityError(f"{flexural.value:g} MPa", "a strength above 0", "Check the bending test.")
    figures = {name: figure.value for name, figure in load_catalogue().model.items()}
    value = float(compressive_for_flexural(figures, flexural.value, np.asarray(gypsum_share)))
    exponent = float(flexural_power(gypsum_share))
    relation = gypsum_share * _RELATION_SPREAD[0] + (1.0 - gypsum_share) * _RELATION_SPREAD[1]
    share = math.hypot(flexural.spread / flexural.value, relation) / exponent
    warnings = list(flexural.warnings)
    if not _KNOWN_RANGE[0] <= value <= _KNOWN_RANGE[1]:
        warnings.append("Outside 2 to 25 MPa the relation is a guess: have a cube crushed.")
    if gypsum_share < 1.0:
        warnings.append(
            "For CSA and mixed binders the relation is judgement: have a cube crushed to calibrate it."
        )
    method = f"from bending strength, gypsum share {gypsum_share:.2f}"
    return Measured(value, share * value, "MPa", method, tuple(warnings))


def _reading_error(bar: BentBar, load_step: float, caliper: float, rule: float) -> float:
    step = 1.0 / math.sqrt(12.0)
    return math.hypot(
        load_step * step / bar.load,
        rule * step / bar.span,
        caliper * step / bar.width,
        2.0 * caliper * step / bar.depth,
    )


def _bar_warnings(bars: Sequence[BentBar]) -> list[str]:
    warnings = []
    if len(bars) < 3:
        warnings.append("Break three bars or more: one bar may have held a bubble.")
    if any(bar.span < 2.5 * bar.depth for bar in bars):
        warnings.append(
            "The span is under 2.5 depths: the bar arches and seems too strong; use a longer span."
        )
    if any(not bar.mass for bar in bars):
        warnings.append("Own weight left out: weigh the bar.")
    return warnings
