"""From readings during a test burn to the steady temperature of the wall. A burn test certifies nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from optimizer.errors import NoVerdict, QuantityError
from optimizer.job_inputs import Candle, Vessel
from optimizer.trials.drying_curve import Beforehand, fit_approach
from optimizer.trials.measured import Measured

_TYPICAL: Final = Beforehand(time=0.7, factor=2.0)
"""A cast jar warming up [h]; judgement."""

_LONG_ENOUGH: Final = 0.9
"""Share of the way that the last reading should have come [fraction]; judgement."""


def steady_wall_temperature(readings: Sequence[tuple[float, float]], error: float = 1.0) -> Measured:
    """Return the temperature a wall settles at while the candle burns on.

    Parameters
    ----------
    readings : Sequence[tuple[float, float]]
        (hours since lighting [h], wall temperature [degC]); three or more, at one place of the wall.
    error : float
        Standard error of one reading [K]: 1 for a contact probe, 2 or more for an infrared thermometer.

    Returns
    -------
    Measured
        Steady temperature [degC].

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

    Parameters
    ----------
    outer : Measured
        Steady outer wall, as `steady_wall_temperature` gives it [degC].
    vessel, candle : Vessel, Candle
        What was burned; the room temperature and burn rate of the test are the candle's.

    Returns
    -------
    Measured
        Share [fraction].

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
