"""Fitted figures in the words of the trade: what each is, before and after the trials."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from optimizer.calibration.record import Learned, figure_spread
from optimizer.materials import Catalogue

__all__ = ["figure_words", "size_words"]

_MODEL: Final[Mapping[str, str]] = MappingProxyType(
    {
        "b_gypsum": "how fast pores take strength from gypsum",
        "b_csa": "how fast pores take strength from cement",
        "filler_exponent_gypsum": "what sand and flour cost gypsum in strength",
        "filler_exponent_csa": "what sand and flour cost cement in strength",
        "light_exponent": "what light fillers cost in strength",
        "gamma": "strength of gypsum and cement half and half, over what each gives alone",
        "gamma_damp": "the same in damp use, over dry use",
        "gamma_time": "set time of gypsum and cement half and half, over what each takes alone",
        "set_water": "how strongly more water slows the set, as a power of it",
        "demold_bending": "strength in bending that a casting needs to leave its mold [MPa]",
        "kappa": "how much surplus gypsum takes from the cement's strength",
        "csa_activation_energy": "how strongly cold slows the cement [kJ/mol]",
        "air": "air stirred into the mix",
        "loss_in_mold": "water lost in the open mold",
        "csa_heat_half_time": "time to half of the cement's setting heat [min]",
        "csa_heat_factor": "setting heat of the cement",
        "room_moisture_gypsum": "moisture that dry gypsum holds",
        "room_moisture_csa": "moisture that dry cement holds",
        "open_pores_gypsum": "share of gypsum's pores that drink",
        "open_pores_csa": "share of cement's pores that drink",
        "vapor_resistance_gypsum": "how hard vapor leaves gypsum",
        "vapor_resistance_csa": "how hard vapor leaves cement",
        "solid_conductivity_gypsum": "heat conduction of solid gypsum [W/mK]",
        "solid_conductivity_csa": "heat conduction of solid cement [W/mK]",
        "conductivity_weight": "how well grains pass heat on",
        "flame_share": "share of the flame's heat that reaches the wall",
        "pool_temperature": "temperature of the wax pool [°C]",
    }
)
_MATERIAL: Final[Mapping[str, str]] = MappingProxyType(
    {
        "strength": "strength",
        "set_time": "set time",
        "density": "density of the grains [g/cm3]",
        "water_demand": "water it asks for, per mass",
        "dry_wet_ratio": "strength dry over wet",
        "scattering": "hiding power",
        "reflectance": "whiteness, as light reflected",
        "gypsum_acceleration": "how it hastens gypsum",
        "csa_acceleration": "how it hastens cement",
        "gypsum_retardation": "how long it holds gypsum back",
        "csa_retardation": "how long it holds cement back",
        "gypsum_strength_loss": "what it costs gypsum in strength",
        "csa_strength_loss": "what it costs cement in strength",
        "water_reduction": "water it saves",
        "set_factor": "how it draws out the set",
    }
)
_SHARES: Final = frozenset(
    {
        "air",
        "loss_in_mold",
        "room_moisture_gypsum",
        "room_moisture_csa",
        "open_pores_gypsum",
        "open_pores_csa",
        "flame_share",
        "reflectance",
        "water_reduction",
    }
)
_HALF_AND_HALF: Final[Mapping[str, float]] = MappingProxyType(
    {"gamma": 1.0, "gamma_damp": 1.0, "gamma_time": 0.25}
)
"""Log of a factor at half and half, per unit of the figure: the chain takes ``4 gamma x y`` of strength
and ``gamma_time x y`` of time."""


def figure_words(name: str, catalogue: Catalogue) -> str:
    """Return what a fitted figure is, as a caster says it.

    Parameters
    ----------
    name : str
        As in `optimizer.property_model.parameters` [-].
    catalogue : Catalogue
        For the labels of the materials.

    Examples
    --------
    >>> from optimizer.specs import load_catalogue
    >>> figure_words("gypsum_cement.strength", load_catalogue())
    'gypsum cement: strength'
    >>> figure_words("air", load_catalogue())
    'air stirred into the mix'
    """
    material, _, figure = name.rpartition(".")
    if not material:
        return _MODEL.get(name, name.replace("_", " "))
    label = material.replace("_", " ")
    if material in catalogue:
        label = catalogue[material].label.partition(",")[0].partition("(")[0].strip()
    return f"{label}: {_MATERIAL.get(figure, figure.replace('_', ' '))}"


def size_words(one: Learned, catalogue: Catalogue) -> tuple[str, str]:
    """Return a fitted figure before and after the trials, each with its standard error.

    What only says how far a binder or a blend departs is said in percent of what was shipped.

    Parameters
    ----------
    one : Learned
        The figure.
    catalogue : Catalogue
        The figures as shipped.

    Examples
    --------
    >>> from optimizer.specs import load_catalogue
    >>> size_words(Learned("gypsum_cement.strength", False, 0.0, 1.0, -0.5, 0.5, 3), load_catalogue())
    ('100 % ± 18 %', '91 % ± 8 %')
    >>> size_words(Learned("air", True, -3.9, 0.42, -3.7, 0.3, 3), load_catalogue())
    ('2.0 % ± 0.9 %', '2.5 % ± 0.7 %')
    """
    material, _, figure = one.name.rpartition(".")
    scale = _log_scale(one.name, material, figure, catalogue)
    sides = ((one.prior_center, one.prior_spread), (one.center, one.spread))
    if scale is not None:
        (before, doubt), (after, left) = (_factor(scale * center, scale * spread) for center, spread in sides)
        return _percent(before, doubt), _percent(after, left)
    shown = _percent if figure in _SHARES else _plain
    return shown(*one.before), shown(*one.after)


def _log_scale(name: str, material: str, figure: str, catalogue: Catalogue) -> float | None:
    """Return the log of a factor that one unit of the figure stands for; None where it is no factor."""
    if name in _HALF_AND_HALF:
        return _HALF_AND_HALF[name]
    if material in catalogue and figure in ("strength", "set_time"):
        return figure_spread(catalogue, material, figure)
    return None


def _factor(log: float, error: float) -> tuple[float, float]:
    return math.exp(log), math.exp(log) * error


def _percent(value: float, error: float) -> str:
    places = 0 if value >= 0.095 else 1
    return f"{100.0 * value:.{places}f} % ± {100.0 * error:.{places}f} %"


def _plain(value: float, error: float) -> str:
    """Return a value to the digits its error allows: two digits of the error."""
    places = min(max(0, 1 - math.floor(math.log10(error))), 4) if error > 0.0 else 3
    return f"{value:.{places}f} ± {error:.{places}f}"
