"""How far setting and hardening have come: gain curves and the set curve of hemihydrate."""

from __future__ import annotations

from typing import Final

import numpy as np

from optimizer.constants import GAS_CONSTANT, ZERO_CELSIUS
from optimizer.properties.arrays import Values

INITIAL_SET_DEGREE: Final = 0.10
"""Degree of hydration at initial set [fraction]: a convention, no source."""

FINAL_SET_DEGREE: Final = 0.65
"""Degree of hydration at final set [fraction]: a convention, no source."""

_INITIAL_DECAY: Final = -np.log1p(-INITIAL_SET_DEGREE)
_LOG_SPAN: Final = float(np.log(-np.log1p(-FINAL_SET_DEGREE) / _INITIAL_DECAY))
LEAST_SPAN: Final = 1.01
"""Least final over initial set that the curves tell apart [-]."""

SET_STRENGTH: Final = FINAL_SET_DEGREE**3
"""Share of its final wet strength that gypsum has at final set [fraction]."""

_LATE: Final = 1.0 - FINAL_SET_DEGREE
_LAST: Final = 0.02

_ENDLESS: Final = 1e100
"""Age that stands for "never" inside the arithmetic [any unit of time]; no share is infinity over itself."""


def arrhenius_rate(temperature: Values, activation_energy: Values, reference: float = 21.0) -> Values:
    """Return how many times faster than at `reference` a cement hardens.

    Parameters
    ----------
    temperature : Values
        Temperature of the casting [degC].
    activation_energy : Values
        Apparent activation energy [kJ/mol].
    reference : float
        Temperature the times and strengths of the specs hold at [degC].

    Returns
    -------
    Values
        Equivalent time per time [-].

    References
    ----------
    ASTM C1074, equivalent age (from memory); symbols in Carino and Lew, 2001.

    Examples
    --------
    >>> round(float(arrhenius_rate(30.0, 40.0, 23.0)), 4)
    1.4551
    """
    difference = 1.0 / (temperature + ZERO_CELSIUS) - 1.0 / (reference + ZERO_CELSIUS)
    return np.exp(-1000.0 * activation_energy / GAS_CONSTANT * difference)


def hyperbolic_gain(age: Values, rate: Values, start: Values) -> Values:
    """Return the share of the final strength reached at `age`.

    Parameters
    ----------
    age, start : Values
        Equivalent age, and the age at which strength begins [any one unit of time].
    rate : Values
        Rate constant [1 per that unit].

    Returns
    -------
    Values
        Share of the final strength [fraction]; 0 before `start`, also where that is never (infinity).

    References
    ----------
    Carino 1984, Cem. Concr. Aggreg. 6(2):61; ASTM C1074 (from memory).

    Examples
    --------
    >>> round(float(50.0 * hyperbolic_gain(3.0, 0.8, 0.5)), 3)
    33.333
    """
    grown = rate * np.maximum(np.minimum(age, _ENDLESS) - start, 0.0)
    return grown / (1.0 + grown)


def gain_rate_from_two(strength_ratio: Values, age_early: Values, age_late: Values, start: Values) -> Values:
    """Return the rate of the hyperbola through two strengths.

    Parameters
    ----------
    strength_ratio : Values
        Early strength over late strength [fraction].
    age_early, age_late, start : Values
        Ages of the two tests and of the first strength [any one unit of time],
        ``start < age_early < age_late``.

    Returns
    -------
    Values
        Rate for `hyperbolic_gain` [1 per that unit].

    Notes
    -----
    The ratio must lie between the ratio of the two ages (a straight line) and 1 (no gain after the
    early test); one outside is moved to the nearest ratio that has a hyperbola.

    Examples
    --------
    >>> round(float(gain_rate_from_two(0.4, 3.0, 24.0, 1.0)), 6)
    0.26087
    """
    early, late = age_early - start, age_late - start
    straight = early / late
    ratio = np.clip(strength_ratio, straight + 1e-3 * (1.0 - straight), 1.0 - 1e-3 * (1.0 - straight))
    return (ratio * late - early) / (early * late * (1.0 - ratio))


def avrami_parameters(initial_set: Values, final_set: Values) -> tuple[Values, Values]:
    """Return exponent and rate of the set curve through both set times.

    Parameters
    ----------
    initial_set, final_set : Values
        Set times [any one unit of time]; a final set closer than 1 % to the initial set counts as
        1 % later.

    Returns
    -------
    exponent : Values
        Avrami exponent [-].
    rate : Values
        Rate constant [1 per that unit].

    References
    ----------
    Avrami, J. Chem. Phys. 7 (1939) 1103 (from memory); for hemihydrate see Singh and Middendorf
    2007. The degrees at both set times are a convention of ours.

    Examples
    --------
    >>> exponent, rate = avrami_parameters(10.0, 18.0)
    >>> round(float(exponent), 2), round(float(rate), 4)
    (3.91, 0.0563)
    """
    exponent = _LOG_SPAN / np.log(np.maximum(final_set / initial_set, LEAST_SPAN))
    return exponent, _INITIAL_DECAY ** (1.0 / exponent) / initial_set


def avrami_degree(time: Values, exponent: Values, rate: Values) -> Values:
    """Return the degree of hydration at `time`.

    Parameters
    ----------
    time : Values
        Time from powder meeting water [any unit of time].
    exponent : Values
        Avrami exponent [-].
    rate : Values
        Rate constant [1 per that unit].

    Returns
    -------
    Values
        Degree [fraction].

    Examples
    --------
    >>> round(float(avrami_degree(18.0, *avrami_parameters(10.0, 18.0))), 2)
    0.65
    """
    return -np.expm1(-((rate * np.maximum(time, 0.0)) ** exponent))


def avrami_time(degree: Values, exponent: Values, rate: Values) -> Values:
    """Return the time at which `degree` is reached: the inverse of `avrami_degree`.

    Parameters
    ----------
    degree : Values
        Degree of hydration, below 1 [fraction].
    exponent : Values
        Avrami exponent [-].
    rate : Values
        Rate constant [1 per unit of time].

    Returns
    -------
    Values
        Time [that unit].

    Examples
    --------
    >>> round(float(avrami_time(0.90, *avrami_parameters(10.0, 18.0))), 1)
    22.0
    """
    return (-np.log1p(-degree)) ** (1.0 / exponent) / rate


def hemihydrate_degree(time: Values, initial_set: Values, final_set: Values, end: Values) -> Values:
    """Return the degree of hydration of hemihydrate at `time`, from its set times.

    Parameters
    ----------
    time : Values
        Time from powder meeting water [min].
    initial_set, final_set : Values
        Set times [min].
    end : Values
        Time of 98 % hydration over the final set, above 1 [-].

    Returns
    -------
    Values
        Degree [fraction]: 0.10 at initial set, 0.65 at final set, 0.98 at `end` times the final set.

    Notes
    -----
    The set curve up to the final set, a hyperbola from there: crystals go on growing long after the needle
    stops sinking. No factor for temperature: hemihydrate sets at nearly one pace between 20
    and 40 degC (from memory).

    References
    ----------
    Winkler et al. 1998, J. Prosthet. Dent. 79:532 (abstract): needle set at 3 and 10 min, X-rays show
    hydration to end at about 20 and 60 min; which needle is not said.

    Examples
    --------
    >>> [round(float(hemihydrate_degree(t, 10.0, 16.0, 6.0)), 3) for t in (10.0, 16.0, 96.0)]
    [0.1, 0.65, 0.98]
    """
    final_set = np.maximum(final_set, LEAST_SPAN * initial_set)
    young = avrami_degree(np.minimum(time, final_set), *avrami_parameters(initial_set, final_set))
    return young + (1.0 - young) * _late_share(time, final_set, end)


def _late_share(time: Values, final_set: Values, end: Values) -> Values:
    """Return the share of what is missing at final set that has come by `time` [fraction]: a hyperbola."""
    grown = late_pace(end) * np.maximum(np.minimum(time, _ENDLESS) / final_set - 1.0, 0.0)
    return grown / (1.0 + grown)


def late_pace(end: Values) -> Values:
    """Return how fast what is missing at final set comes, per final set: of the hyperbola after it [-].

    Parameters
    ----------
    end : Values
        As for `hemihydrate_degree`.
    """
    return (_LATE / _LAST - 1.0) / (np.maximum(end, 1.01) - 1.0)


def gypsum_gain(time: Values, initial_set: Values, final_set: Values, end: Values) -> Values:
    """Return the share of its final wet strength that gypsum has reached at `time`.

    Parameters
    ----------
    time, initial_set, final_set, end : Values
        As for `hemihydrate_degree`.

    Returns
    -------
    Values
        Share [fraction].

    Notes
    -----
    The cube of the degree up to the final set; from there strength comes in step with the hydration still
    missing (assumption).

    Examples
    --------
    >>> [round(float(gypsum_gain(t, 10.0, 16.0, 6.0)), 2) for t in (10.0, 16.0, 32.0, 96.0)]
    [0.0, 0.27, 0.83, 0.96]
    """
    final_set = np.maximum(final_set, LEAST_SPAN * initial_set)
    late = _late_share(time, final_set, end)
    if np.all(time >= final_set):  # by then the first part is the same for all: most ages that are asked for
        return SET_STRENGTH + (1.0 - SET_STRENGTH) * late
    young = hemihydrate_degree(np.minimum(time, final_set), initial_set, final_set, end) ** 3
    return young + (1.0 - young) * late
