"""From daily weighings to the day a piece is dry, and to what it will weigh then."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from optimizer.errors import NoVerdict, QuantityError
from optimizer.trials.drying_curve import Approach, Beforehand, fit_approach
from optimizer.trials.measuring import Measured
from optimizer.trials.records import Weighing

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

CONSTANT: Final = 0.001
"""Constant mass: change over 24 h [fraction of the mass]; as in standards for gypsum, from memory."""

_TYPICAL: Final = Beforehand(time=0.6, factor=2.5, steady=0.4, steady_error=0.2)
"""Drying in a room [d]: steady while the surface is wet, then slowing; judgement for 6 to 12 mm walls.

A 10 mm wall of gypsum dries at a steady rate for 26 h and behind a receding front for some 28 h in still
air of 20 degC and 50 % (calculated, no measured split)."""

_DRY_SHARE: Final = (0.86, 0.07)
"""Dry over demolded mass and its spread, when nothing better is known [fraction]: stoichiometry of gypsum
at water ratios of 0.3 to 0.7 gives 0.91 to 0.70, sand in the mix more."""

_SHAPE: Final = 0.15
"""Spread of the time still to go that the shape of the curve leaves open [fraction]; judgement."""

_HANDLING: Final = 2e-4
"""Spread of one weighing beside the scale: damp of the room, dust, drops [fraction]; judgement."""

_NEARLY_A_DAY: Final = 0.95


def constant_since(weighings: Sequence[Weighing], after: float = 0.0) -> float | None:
    """Return when the piece was first seen to be at constant mass [d since demolding].

    Age of the weighing that showed at most 0.1 % change per 24 h against one a day or more before, and was
    followed by no lighter one; None when none did.

    Parameters
    ----------
    weighings : Sequence[Weighing]
        Oldest first.
    after : float
        Weighings before this, while the piece was kept damp, do not count [d].

    Examples
    --------
    >>> constant_since([Weighing(0, 420.0), Weighing(1, 372.0), Weighing(2, 365.0), Weighing(3, 364.9)])
    3
    """
    counted = [weighing for weighing in weighings if weighing.age >= after]
    for place, late in enumerate(counted):
        lightest_later = min((one.mass for one in counted[place + 1 :]), default=late.mass)
        if late.mass - lightest_later > 3.0 * CONSTANT * late.mass:
            continue
        for early in counted[:place]:
            days = late.age - early.age
            if days >= _NEARLY_A_DAY and abs(early.mass - late.mass) <= CONSTANT * late.mass * days:
                return late.age
    return None


def days_to_constant_mass(
    weighings: Sequence[Weighing],
    scale_step: float = 1.0,
    expected_dry: tuple[float, float] | None = None,
    after: float = 0.0,
) -> Measured:
    """Return the day the piece is, or will be, at constant mass.

    Days since demolding until a weighing would show at most 0.1 % change over 24 h [d].

    Parameters
    ----------
    weighings : Sequence[Weighing]
        Oldest first; three or more, or two with `expected_dry`.
    scale_step : float
        What the scale resolves [g].
    expected_dry : tuple[float, float] | None
        Dry mass from the batch card and its standard error [g]; sharpens an early forecast.
    after : float
        End of the damp cure [d since demolding].

    Raises
    ------
    NoVerdict
        With too few weighings.
    QuantityError
        When masses or ages are not in order.

    Notes
    -----
    The masses are fitted by a steady stage, while the surface is wet, and an exponential approach after
    it. While the loss is still steady it says little about the end: the spread is then wide.

    Examples
    --------
    >>> masses = (420.0, 387.0, 374.0, 369.0)
    >>> found = days_to_constant_mass([Weighing(day, mass) for day, mass in enumerate(masses)])
    >>> 5.0 < found.value < 7.0
    True
    """
    seen = constant_since(weighings, after)
    warnings = _warnings(weighings, scale_step, expected_dry, seen)
    if seen is not None:
        before = max(weighing.age for weighing in weighings if weighing.age < seen)
        return Measured(seen, (seen - before) / 2.0, "d", "seen: two weighings alike", tuple(warnings))
    fit = _fit(weighings, scale_step, expected_dry, after)
    value = float(_day_constant(fit.end, fit.gap, math.log(fit.time), fit.steady)) + after
    low, high = _middle_two_thirds(_day_constant(*fit.draws.T))
    last = weighings[-1].age
    if value <= last:
        warnings.append("By the fit it is already dry: weigh it again a day later to see.")
    spread = math.hypot((high - low) / 2.0, _SHAPE * max(value - last, 0.0))
    return Measured(max(value, last), spread, "d", "forecast from weighings", tuple(warnings))


def dry_mass_forecast(
    weighings: Sequence[Weighing],
    scale_step: float = 1.0,
    expected_dry: tuple[float, float] | None = None,
    after: float = 0.0,
) -> Measured:
    """Return what the piece will weigh at constant mass [g].

    Parameters
    ----------
    weighings, scale_step, expected_dry, after
        As in `days_to_constant_mass`.

    Raises
    ------
    NoVerdict, QuantityError
        As in `days_to_constant_mass`.

    Examples
    --------
    >>> masses = (420.0, 387.0, 374.0, 369.0)
    >>> round(dry_mass_forecast([Weighing(day, mass) for day, mass in enumerate(masses)]).value)
    366
    """
    seen = constant_since(weighings, after)
    warnings = tuple(_warnings(weighings, scale_step, expected_dry, seen))
    if seen is not None:
        dry = [weighing.mass for weighing in weighings if weighing.age >= seen]
        spread = _reading_error(dry[-1], scale_step)
        return Measured(math.fsum(dry) / len(dry), spread, "g", "weighed at constant mass", warnings)
    fit = _fit(weighings, scale_step, expected_dry, after)
    low, high = _middle_two_thirds(fit.draws[:, 0])
    return Measured(fit.end, (high - low) / 2.0, "g", "forecast from weighings", warnings)


def _fit(
    weighings: Sequence[Weighing], scale_step: float, expected_dry: tuple[float, float] | None, after: float
) -> Approach:
    counted = [weighing for weighing in weighings if weighing.age >= after]
    if len(counted) < (3 if expected_dry is None else 2):
        raise NoVerdict(
            "too few weighings to forecast: weigh the piece on three days, or give its expected dry mass"
        )
    for before, late in pairwise(counted):
        if late.age <= before.age:
            raise QuantityError(
                f"{late.age:g} d", f"later than {before.age:g} d", "Put the weighings in order."
            )
    if counted[-1].mass >= counted[0].mass:
        raise NoVerdict("the piece has lost no mass yet: go on weighing")
    wet = counted[0].mass
    end, error = expected_dry or (_DRY_SHARE[0] * wet, _DRY_SHARE[1] * wet)
    return fit_approach(
        [weighing.age - after for weighing in counted],
        [weighing.mass for weighing in counted],
        [_reading_error(weighing.mass, scale_step) for weighing in counted],
        replace(_TYPICAL, end=end, end_error=error),
    )


def _day_constant(
    end: NDArray[np.float64] | float,
    gap: NDArray[np.float64] | float,
    log_time: NDArray[np.float64] | float,
    steady: NDArray[np.float64] | float,
) -> NDArray[np.float64]:
    """Return the first day whose change over the 24 h before is 0.1 % [d].

    Solved for the approach: ``left e^(-T/tau) (e^(1/tau) - 1) = 0.001 (end + left e^(-T/tau))``, T from the
    end of the steady stage; never before a full day has passed.
    """
    import numpy as np

    time = np.exp(log_time)
    step = np.expm1(np.minimum(1.0 / time, 700.0)) - CONSTANT
    left = np.maximum((1.0 - steady) * gap, 1e-9)
    reach = left * np.maximum(step, 1e-9) / (CONSTANT * np.maximum(end, 1e-9))
    turn = steady / (1.0 - steady) * time
    return np.asarray(np.maximum(turn + time * np.log(np.maximum(reach, 1.0)), 1.0))


def _middle_two_thirds(draws: NDArray[np.float64]) -> tuple[float, float]:
    from optimizer.property_model.samples import points_of

    low, high = points_of(draws, (0.1587, 0.8413))
    return float(low), float(high)


def _reading_error(mass: float, scale_step: float) -> float:
    return math.hypot(scale_step / math.sqrt(12.0), _HANDLING * mass)


def _warnings(
    weighings: Sequence[Weighing],
    scale_step: float,
    expected_dry: tuple[float, float] | None,
    seen: float | None,
) -> list[str]:
    warnings = []
    if weighings and scale_step > 2.0 * CONSTANT * weighings[-1].mass:
        grams = CONSTANT * weighings[-1].mass
        warnings.append(
            f"The scale cannot show 0.1 % ({grams:.1f} g): weigh several pieces together, or wait longer."
        )
    if expected_dry is not None and seen is not None:
        mass, error = (
            weighings[-1].mass,
            math.hypot(expected_dry[1], _reading_error(weighings[-1].mass, scale_step)),
        )
        if mass > expected_dry[0] + 3.0 * error:
            warnings.append("Constant, but heavier than expected: still damp inside, or kept in damp air.")
        if mass < expected_dry[0] - 3.0 * error:
            warnings.append("Lighter than expected: too warm a dryer takes crystal water; lower its heat.")
    steps = [
        (early.mass - late.mass) / (late.age - early.age)
        for early, late in pairwise(weighings)
        if late.age > early.age
    ]
    if seen is None and len(steps) > 1 and steps[-1] > 0.7 * max(steps):
        warnings.append("Still losing water at a steady rate: the forecast is wide until the loss slows.")
    return warnings
