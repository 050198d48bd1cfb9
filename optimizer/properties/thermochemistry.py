"""Heat of setting: enthalpy of the reactions, heat of a mix, and the carbon dioxide of calcination."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

from optimizer.constants import (
    ENTHALPIES,
    MOLAR_MASSES,
    NBS_ENTHALPIES,
    YEELIMITE_ENTHALPIES,
)
from optimizer.properties.arrays import Values
from optimizer.properties.hydration import Hydrates
from optimizer.properties.reactions import REACTIONS

__all__ = [
    "calcination_co2",
    "heat_of_hydration",
    "heat_released",
    "reaction_enthalpy",
]

_CARBONATE_MOLES: Final = MappingProxyType(
    {"yeelimite": 3, "belite": 2, "alite": 3, "ferrite": 4, "aluminate": 3, "lime": 1}
)


def reaction_enthalpy(name: str, yeelimite_set: str = "2022") -> float:
    """Return the heat of one reaction of `reactions.REACTIONS`.

    Parameters
    ----------
    name : str
        R1h, R1g, R1a, R2, R3, R4 or R5; hemihydrate counts as beta.
    yeelimite_set : str
        Which published formation enthalpy of ye'elimite: "2022" or "2018".

    Returns
    -------
    float
        Enthalpy, negative where heat is given off [kJ/mol of the reaction].

    References
    ----------
    Cemdata18 (Lothenbach et al. 2019), Lothenbach 2022, Skalamprinos 2018.

    Examples
    --------
    >>> round(reaction_enthalpy("R1h"), 1), round(reaction_enthalpy("R1h", "2018"), 1)
    (-528.4, -387.9)
    """
    table = {
        **ENTHALPIES,
        "hemihydrate": ENTHALPIES["hemihydrate_beta"],
        "yeelimite": YEELIMITE_ENTHALPIES[yeelimite_set],
    }
    return sum(moles * table[phase] for phase, moles in REACTIONS[name].items())


def heat_of_hydration(hemihydrate: str) -> float:
    """Return the heat hemihydrate gives off when it turns into gypsum.

    Parameters
    ----------
    hemihydrate : str
        ``hemihydrate_alpha`` or ``hemihydrate_beta``.

    Returns
    -------
    float
        Heat [J/g hemihydrate].

    References
    ----------
    Wagman et al., NBS tables, 1982 (from memory).

    Examples
    --------
    >>> round(heat_of_hydration("hemihydrate_alpha"), 1)
    118.1
    """
    table = NBS_ENTHALPIES
    heat = table[hemihydrate] + 1.5 * table["water"] - table["gypsum"]
    return 1000.0 * heat / MOLAR_MASSES["hemihydrate"]


def heat_released(hydrates: Hydrates, beta_share: Values = 0.0, yeelimite_set: str = "2022") -> Values:
    """Return the heat given off by all that has reacted.

    Parameters
    ----------
    hydrates : Hydrates
        What the mix has become [mass].
    beta_share : Values
        Beta part of the hemihydrate, by mass [fraction].
    yeelimite_set : str
        Which published formation enthalpy of ye'elimite: "2022" or "2018".

    Returns
    -------
    Values
        Heat [J per gram of the mass unit; kJ for kg].

    Notes
    -----
    Summed by way of gypsum, so that each table of enthalpies is used for its own reactions only. The
    two ye'elimite sets differ by 230 J per gram of it: that is the spread of the figure.
    """
    alpha, beta = heat_of_hydration("hemihydrate_alpha"), heat_of_hydration("hemihydrate_beta")
    plaster, gypsum_route = reaction_enthalpy("R3"), reaction_enthalpy("R1g", yeelimite_set)
    anhydrite = 0.5 * (reaction_enthalpy("R1a", yeelimite_set) - gypsum_route)
    limed = reaction_enthalpy("R5", yeelimite_set) - 8.0 * plaster
    monosulfate = hydrates.monosulfate / MOLAR_MASSES["monosulfate"]
    plain = hydrates.aluminum_hydroxide / (2.0 * MOLAR_MASSES["aluminum_hydroxide"])
    enthalpy: Values = (
        anhydrite / MOLAR_MASSES["anhydrite"] * hydrates.reacted_anhydrite
        + gypsum_route * (plain - monosulfate)
        + reaction_enthalpy("R2", yeelimite_set) * monosulfate
        + limed / (6.0 * MOLAR_MASSES["lime"]) * hydrates.reacted_lime
    )
    plaster_heat = alpha + (beta - alpha) * beta_share
    return plaster_heat * hydrates.reacted_hemihydrate - 1000.0 * enthalpy


def calcination_co2(phase: str) -> float:
    """Return the carbon dioxide that leaves limestone for one gram of a clinker phase.

    Parameters
    ----------
    phase : str
        ``yeelimite``, ``belite``, ``alite``, ``ferrite``, ``aluminate`` or ``lime``.

    Returns
    -------
    float
        Carbon dioxide [g/g]; in ye'elimite one lime of four comes with the sulfate.

    Examples
    --------
    >>> round(calcination_co2("yeelimite"), 4)
    0.2163
    """
    return _CARBONATE_MOLES[phase] * MOLAR_MASSES["carbon_dioxide"] / MOLAR_MASSES[phase]
