"""Physical constants and phase data of the binders, with their sources. Nothing here is tunable.

Sources
-------
.. [iupac] IUPAC abridged standard atomic weights, Pure Appl. Chem. 94 (2022) 573 (from memory).
.. [cemdata] Lothenbach et al., Cemdata18, Cem. Concr. Res. 115 (2019) 472 (data file opened):
   molar volumes and formation enthalpies except where said otherwise.
.. [nbs] Wagman et al., NBS tables of chemical thermodynamic properties, J. Phys. Chem. Ref. Data 11
   (1982) suppl. 2 (from memory): the calcium sulfates and water.
.. [loth22] Lothenbach 2022 and [skal18] Skalamprinos 2018: the two published formation enthalpies of
   ye'elimite (seen opened through the open data files that carry them).
.. [minerals] Crystal densities: alpha-hemihydrate 2.757, beta 2.63, gypsum 2.32 g/cm3 (from memory).
   The 61.73 cm3/mol some data files give hemihydrate contradicts its crystal density and is not used.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

GAS_CONSTANT: Final = 8.314462618
"""Molar gas constant [J/(mol K)]: exact in the SI of 2019."""

ZERO_CELSIUS: Final = 273.15
"""0 degC [K]: exact by definition."""

MPA_PER_PSI: Final = 0.006894757293168
"""One pound-force per square inch [MPa]: from 0.45359237 kg, 9.80665 m/s2 and 25.4 mm, all exact."""

WATER_DENSITY: Final = 0.998
"""Water at 21 degC [g/cm3] (handbook value, from memory)."""


ATOMIC_WEIGHTS: Final[Mapping[str, float]] = MappingProxyType(
    {
        "H": 1.008,
        "Li": 6.94,
        "C": 12.011,
        "O": 15.999,
        "Al": 26.982,
        "Si": 28.085,
        "S": 32.06,
        "Ca": 40.078,
        "Fe": 55.845,
    }
)
"""Standard atomic weights, abridged [g/mol] [iupac]."""

_FORMULAS: Final[dict[str, dict[str, float]]] = {
    "water": {"H": 2, "O": 1},
    "carbon_dioxide": {"C": 1, "O": 2},
    "yeelimite": {"Ca": 4, "Al": 6, "S": 1, "O": 16},
    "hemihydrate": {"Ca": 1, "S": 1, "O": 4.5, "H": 1},
    "anhydrite": {"Ca": 1, "S": 1, "O": 4},
    "gypsum": {"Ca": 1, "S": 1, "O": 6, "H": 4},
    "lime": {"Ca": 1, "O": 2, "H": 2},
    "belite": {"Ca": 2, "Si": 1, "O": 4},
    "alite": {"Ca": 3, "Si": 1, "O": 5},
    "aluminate": {"Ca": 3, "Al": 2, "O": 6},
    "ferrite": {"Ca": 4, "Al": 2, "Fe": 2, "O": 10},
    "ettringite": {"Ca": 6, "Al": 2, "S": 3, "O": 50, "H": 64},
    "monosulfate": {"Ca": 4, "Al": 2, "S": 1, "O": 22, "H": 24},
    "aluminum_hydroxide": {"Al": 2, "O": 6, "H": 6},
    "iron_hydroxide": {"Fe": 2, "O": 6, "H": 6},
    "straetlingite": {"Ca": 2, "Al": 2, "Si": 1, "O": 15, "H": 16},
    "calcium_silicate_hydrate": {"Ca": 1.7, "Si": 1, "O": 7.7, "H": 8},
}

FORMULAS: Final[Mapping[str, Mapping[str, float]]] = MappingProxyType(_FORMULAS)
"""Atoms per formula unit. `lime` is slaked lime Ca(OH)2; `aluminum_hydroxide` is two Al(OH)3."""


def molar_mass(formula: Mapping[str, float]) -> float:
    """Return the molar mass of `formula` [g/mol].

    Parameters
    ----------
    formula : Mapping[str, float]
        Atoms per formula unit by element symbol [-].

    Examples
    --------
    >>> round(molar_mass({"H": 2, "O": 1}), 3)
    18.015
    """
    return sum(count * ATOMIC_WEIGHTS[element] for element, count in formula.items())


MOLAR_MASSES: Final[Mapping[str, float]] = MappingProxyType(
    {name: molar_mass(formula) for name, formula in _FORMULAS.items()}
)
"""Molar mass by phase [g/mol], from the atomic weights so that reactions keep mass exactly."""

MOLAR_VOLUMES: Final[Mapping[str, float]] = MappingProxyType(
    {
        "water": 18.051,
        "yeelimite": 234.53,
        "hemihydrate_alpha": 52.65,
        "hemihydrate_beta": 55.19,
        "anhydrite": 45.94,
        "gypsum": 74.21,
        "lime": 33.06,
        "belite": 51.79,
        "ettringite": 707.03,
        "monosulfate": 310.1,
        "aluminum_hydroxide": 63.91,
    }
)
"""Molar volume by phase [cm3/mol] [cemdata]; calcium sulfate hydrates from [minerals], water at 21 degC."""

ENTHALPIES: Final[Mapping[str, float]] = MappingProxyType(
    {
        "water": -285.881,
        "hemihydrate_beta": -1575.275,
        "gypsum": -2023.361,
        "anhydrite": -1434.601,
        "lime": -984.675,
        "ettringite": -17535.007,
        "monosulfate": -8758.633,
        "aluminum_hydroxide": 2 * -1276.0,
    }
)
"""Formation enthalpies of the cement data set [kJ/mol] [cemdata]; aluminum hydroxide, nanocrystalline,
from [loth22], the set its ye'elimite belongs to."""

YEELIMITE_ENTHALPIES: Final[Mapping[str, float]] = MappingProxyType({"2022": -8382.5, "2018": -8523.0})
"""Both published formation enthalpies of ye'elimite [kJ/mol]: "2022" [loth22], "2018" [skal18]."""

NBS_ENTHALPIES: Final[Mapping[str, float]] = MappingProxyType(
    {
        "water": -285.83,
        "steam": -241.82,
        "hemihydrate_alpha": -1576.74,
        "hemihydrate_beta": -1574.65,
        "gypsum": -2022.63,
        "anhydrite": -1434.11,
    }
)
"""Formation enthalpies of the calcium sulfates [kJ/mol] [nbs]; not to be mixed with `ENTHALPIES`."""
