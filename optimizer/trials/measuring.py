"""What the bench shows, with how far to trust it: volume, density, water absorption, wall in a test burn.

Volumes and densities take a scale and a bucket of water; absorption a day under water, the piece wiped and
weighed; a wall its readings while the candle burns on. A burn test certifies nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from optimizer.errors import NoVerdict, QuantityError
from optimizer.job import Candle, Vessel
from optimizer.trials.drying_curve import Beforehand, fit_approach

_FILLING: Final = 0.005
"""Spread of one fill: meniscus, drops left behind [fraction]; judgement."""

_FEW: Final = 3
"""A sample spread of fewer readings than this is itself too uncertain to use alone."""

_WIPING: Final = 0.04
"""Spread that wiping leaves [fraction of the water taken up]; judgement."""

_COARSE: Final = 0.05
_SMALL: Final = 50.0
"""A piece lighter than this has more wet surface than body [g]; common practice, no source."""

_TYPICAL: Final = Beforehand(time=0.7, factor=2.0)
"""A cast jar warming up [h]; judgement."""

_LONG_ENOUGH: Final = 0.9
"""Share of the way that the last reading should have come [fraction]; judgement."""


def water_density(temperature: float) -> float:
    """Return the density of air-free water at ordinary pressure [g/cm3].

    Parameters
    ----------
    temperature : float
        Water temperature, 0 to 40 [degC].

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

    Each reading is anywhere within its step, so ``step / sqrt(12)``, twice [g].

    Parameters
    ----------
    step : float
        What the scale resolves [g].

    References
    ----------
    JCGM 100:2008 (guide to the expression of uncertainty), 4.3.7.
    """
    return step * math.sqrt(2.0 / 12.0)


def mold_volume(
    water_masses: Sequence[float], temperature: float = 20.0, scale_step: float = 1.0
) -> Measured:
    """Return the volume of a mold from the water that fills it.

    Volume [mL]; the spread shrinks with repeated fills.

    Parameters
    ----------
    water_masses : Sequence[float]
        Water of one or more fills to the brim line [g].
    temperature : float
        Of the water [degC].
    scale_step : float
        What the scale resolves [g].

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

    Density [g/cm3].

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

    Density [g/cm3].

    Parameters
    ----------
    mass_full, mass_empty : float
        Vessel with slurry to the brim line, and empty [g].
    volume : Measured
        Its volume, as `mold_volume` gives it [mL].
    scale_step : float
        What the scale resolves [g].

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

    Sample spread and the one known beforehand, which counts as three readings more, over root n [any].

    Parameters
    ----------
    readings : Sequence[float]
        One or more readings [any].
    typical : float
        Spread of a single reading known beforehand [fraction of the mean].

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


@dataclass(frozen=True)
class Measured:
    """One figure from the bench.

    Attributes
    ----------
    value : float
        Best value, in `unit`.
    spread : float
        Its standard error, in `unit`: two times in three the truth is nearer than this.
    unit : str
        Unit of the two numbers.
    method : str
        How it was measured, in one line.
    warnings : tuple[str, ...]
        What may be wrong with it, each as one sentence that says what to do.
    """

    value: float
    spread: float
    unit: str
    method: str
    warnings: tuple[str, ...] = ()


def absorption_soaked(dry: float, soaked: float, scale_step: float = 1.0) -> Measured:
    """Return the water absorption of a piece from its mass dry and after a day under water.

    Water taken up over the dry mass [fraction].

    Parameters
    ----------
    dry : float
        Mass at constant weight, bare of sealer [g].
    soaked : float
        Mass after 24 h under water, its surface wiped with a damp cloth [g].
    scale_step : float
        What the scale resolves [g].

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


def steady_wall_temperature(readings: Sequence[tuple[float, float]], error: float = 1.0) -> Measured:
    """Return the temperature a wall settles at while the candle burns on.

    Steady temperature [degC].

    Parameters
    ----------
    readings : Sequence[tuple[float, float]]
        (hours since lighting [h], wall temperature [degC]); three or more, at one place of the wall.
    error : float
        Standard error of one reading [K]: 1 for a contact probe, 2 or more for an infrared thermometer.

    Raises
    ------
    NoVerdict
        With fewer than three readings.
    QuantityError
        When the times are not in order, or the error is not positive.

    Notes
    -----
    Exponential approach, fitted; a wall that is still warming gives a wide spread.

    Examples
    --------
    >>> found = steady_wall_temperature([(0.0, 21.0), (1.0, 38.0), (2.0, 43.0), (3.0, 44.5), (4.0, 45.0)])
    >>> round(found.value)
    45
    """
    if not error > 0.0:
        raise QuantityError(f"{error:g} K", "an error above 0 K", "Give what the thermometer is good for.")
    if len(readings) < 3:
        raise NoVerdict("too few readings: read the wall at 0, 1, 2, 3 and 4 h")
    hours = [float(hour) for hour, _ in readings]
    if any(late <= early for early, late in pairwise(hours)) or hours[0] < 0.0:
        raise QuantityError(str(hours), "hours since lighting, ascending", "Put the readings in order.")
    values = [float(value) for _, value in readings]
    fit = fit_approach(hours, values, [error] * len(hours), _TYPICAL)
    # every reading of the last hour shares the thermometer's own offset, which no fit can take off
    spread = math.hypot(float(fit.draws[:, 0].std()), error)
    warnings = []
    come = 1.0 - math.exp(-hours[-1] / fit.time)
    if come < _LONG_ENOUGH:
        warnings.append("The wall was still warming at the last reading: burn longer, up to 4 h.")
    if fit.misfit > 2.0:
        warnings.append("The readings do not settle smoothly: look for draft, a moved probe or a relit wick.")
    return Measured(
        fit.end, spread, "degC", f"burn test, {len(hours)} readings to {hours[-1]:g} h", tuple(warnings)
    )


def flame_share(outer: Measured, vessel: Vessel, candle: Candle) -> Measured:
    """Return the share of the flame's heat that the burn shows in the wall.

    Share [fraction].

    Parameters
    ----------
    outer : Measured
        Steady outer wall, as `steady_wall_temperature` gives it [degC].
    vessel, candle : Vessel, Candle
        What was burned; the room temperature and burn rate of the test are the candle's.

    Examples
    --------
    >>> found = flame_share(Measured(45.0, 1.0, "degC", "burn test"), Vessel(215.0), Candle())
    >>> 0.05 < found.value < 0.25
    True
    """
    from optimizer.properties.service_heat import flame_share_from_burn, wall_case

    case = wall_case(vessel, candle)
    value, low, high = (
        float(flame_share_from_burn(case, outer.value + step)) for step in (0.0, -outer.spread, outer.spread)
    )
    return Measured(value, (high - low) / 2.0, "fraction", f"from {outer.method}", outer.warnings)
