"""Volumes and densities with a scale and a bucket of water."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from optimizer.errors import QuantityError
from optimizer.trials.measured import Measured

_FILLING: Final = 0.005
"""Spread of one fill: meniscus, drops left behind [fraction]; judgement."""

_FEW: Final = 3
"""A sample spread of fewer readings than this is itself too uncertain to use alone."""


def water_density(temperature: float) -> float:
    """Return the density of air-free water at ordinary pressure [g/cm3].

    Parameters
    ----------
    temperature : float
        Water temperature, 0 to 40 [degC].

    Returns
    -------
    float
        Density [g/cm3].

    Raises
    ------
    QuantityError
        Outside 0 to 40 degC.

    References
    ----------
    Tanaka et al. 2001, Metrologia 38:301, the formula adopted by the CIPM (constants from memory, checked
    against values published with it).

    Examples
    --------
    >>> round(water_density(20.0), 7)
    0.9982067
    """
    if not 0.0 <= temperature <= 40.0:
        raise QuantityError(
            f"{temperature:g} degC", "water of 0 to 40 degC", "Use water at room temperature."
        )
    rise = (temperature - 3.983035) ** 2 * (temperature + 301.797)
    return 0.999974950 * (1.0 - rise / (522528.9 * (temperature + 69.34881)))


def scale_error(step: float) -> float:
    """Return the standard error of the difference of two readings of a scale [unit of `step`].

    Parameters
    ----------
    step : float
        What the scale resolves [g].

    Returns
    -------
    float
        Each reading is anywhere within its step, so ``step / sqrt(12)``, twice [g].

    References
    ----------
    JCGM 100:2008 (guide to the expression of uncertainty), 4.3.7.
    """
    return step * math.sqrt(2.0 / 12.0)


def mold_volume(
    water_masses: Sequence[float], temperature: float = 20.0, scale_step: float = 1.0
) -> Measured:
    """Return the volume of a mold from the water that fills it.

    Parameters
    ----------
    water_masses : Sequence[float]
        Water of one or more fills to the brim line [g].
    temperature : float
        Of the water [degC].
    scale_step : float
        What the scale resolves [g].

    Returns
    -------
    Measured
        Volume [mL]; the spread shrinks with repeated fills.

    Raises
    ------
    QuantityError
        Without a fill, or with one that is not positive.

    Notes
    -----
    ``V = m / rho_water``. The air the water displaces (0.1 %) is left out: less than any fill repeats.

    Examples
    --------
    >>> round(mold_volume([214.0, 215.0, 215.0], 22.0).value, 1)
    215.1
    """
    masses = [_positive(mass, "the water of one fill", "g") for mass in water_masses]
    if not masses:
        raise QuantityError("no fill", "one or more fills", "Fill the mold with water and weigh it.")
    mean = math.fsum(masses) / len(masses)
    density = water_density(temperature)
    spread = math.hypot(scale_error(scale_step), repeat_error(masses, _FILLING)) / density
    warnings = []
    if len(masses) < _FEW:
        warnings.append("Fill and weigh it three times: the spread of fewer fills is a guess.")
    if scale_step > 0.02 * mean:
        warnings.append("The scale is too coarse for this mold: use one that resolves 1 % of the water.")
    if max(masses) - min(masses) > 0.03 * mean:
        warnings.append("The fills differ by more than 3 %: look for a leak or an unclear brim line.")
    return Measured(mean / density, spread, "mL", f"weight of water, {len(masses)} fills", tuple(warnings))


def density_in_water(
    mass_in_air: float, mass_in_water: float, temperature: float = 20.0, scale_step: float = 1.0
) -> Measured:
    """Return the bulk density of a sealed or soaked piece from its weight in air and hanging in water.

    Parameters
    ----------
    mass_in_air : float
        Reading in air [g].
    mass_in_water : float
        Reading hanging free in water [g]; negative when it floats and has to be held under.
    temperature : float
        Of the water [degC].
    scale_step : float
        What the scale resolves [g].

    Returns
    -------
    Measured
        Density [g/cm3].

    Raises
    ------
    QuantityError
        When the reading in water is not less than that in air.

    Notes
    -----
    Archimedes: ``rho = m_air rho_water / (m_air - m_water)``. Surface voids and thread: 0.3 %, judgement.

    Examples
    --------
    >>> round(density_in_water(8.63, 7.80, scale_step=0.001).value, 1)
    10.4
    """
    air = _positive(mass_in_air, "the reading in air", "g")
    lift = air - mass_in_water
    if not lift > 0.0:
        raise QuantityError(f"{mass_in_water:g} g in water", f"less than {air:g} g", "Swap the two readings.")
    value = air * water_density(temperature) / lift
    # the reading in air stands above and below the line
    spread = value * math.hypot(scale_error(scale_step) / lift, 0.003)
    warnings = []
    if spread > 0.02 * value:
        warnings.append("The scale is too coarse for this piece: take a larger piece or a finer scale.")
    warnings.append(
        "A dry piece drinks water while it hangs: seal or soak it first, and weigh that state in air."
    )
    return Measured(value, spread, "g/cm3", "weight in air and in water", tuple(warnings))


def density_filled(
    mass_full: float, mass_empty: float, volume: Measured, scale_step: float = 1.0
) -> Measured:
    """Return the density of a slurry from a vessel of known volume.

    Parameters
    ----------
    mass_full, mass_empty : float
        Vessel with slurry to the brim line, and empty [g].
    volume : Measured
        Its volume, as `mold_volume` gives it [mL].
    scale_step : float
        What the scale resolves [g].

    Returns
    -------
    Measured
        Density [g/cm3].

    Raises
    ------
    QuantityError
        When the full vessel is not heavier than the empty one.

    Examples
    --------
    >>> cup = Measured(250.0, 1.0, "mL", "weight of water, 3 fills")
    >>> round(density_filled(520.0, 47.0, cup).value, 3)
    1.892
    """
    net = mass_full - mass_empty
    if not net > 0.0:
        repair = "Weigh the empty vessel first, then full."
        raise QuantityError(f"{mass_full:g} g full", f"more than {mass_empty:g} g, its mass empty", repair)
    value = net / volume.value
    shares = (scale_error(scale_step) / net, volume.spread / volume.value, _FILLING)
    return Measured(value, value * math.hypot(*shares), "g/cm3", "filled known volume", volume.warnings)


def repeat_error(readings: Sequence[float], typical: float) -> float:
    """Return the standard error of the mean of repeated readings [their unit].

    Parameters
    ----------
    readings : Sequence[float]
        One or more readings [any].
    typical : float
        Spread of a single reading known beforehand [fraction of the mean].

    Returns
    -------
    float
        Sample spread and the one known beforehand, which counts as three readings more, over root n [any].

    Notes
    -----
    Two readings that happen to agree prove little; the spread known beforehand keeps them from seeming exact.
    """
    mean = math.fsum(readings) / len(readings)
    scatter = math.fsum((reading - mean) ** 2 for reading in readings)
    variance = (_FEW * (typical * mean) ** 2 + scatter) / (_FEW + len(readings) - 1)
    return math.sqrt(variance / len(readings))


def _positive(value: float, what: str, unit: str) -> float:
    if not (math.isfinite(value) and value > 0.0):
        raise QuantityError(f"{value:g} {unit}", "a number above 0", f"Check {what}.")
    return value
