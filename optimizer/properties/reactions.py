"""The reactions of the binder phases as data, and what follows from their balance.

R1h, R1g, R1a: ye'elimite with hemihydrate, gypsum or anhydrite to ettringite. R2: ye'elimite alone to
monosulfate. R3: hemihydrate to gypsum. R4: monosulfate to ettringite when sulfate comes late. R5:
ye'elimite with lime. R6, R7: belite, late (the formula of the silicate hydrate is a convention).
R8: ferrite. Each balances in every element (Glasser and Zhang 2001; Taylor, Cement Chemistry, 2nd
ed., from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from optimizer.constants import FORMULAS, MOLAR_MASSES

__all__ = ["REACTIONS", "Reaction", "imbalance", "reactions", "water_per_gram"]

Reaction = Mapping[str, float]
"""Moles by phase: negative used up, positive formed."""

REACTIONS: Final[Mapping[str, Reaction]] = MappingProxyType(
    {
        "R1h": {
            "yeelimite": -1,
            "hemihydrate": -2,
            "water": -37,
            "ettringite": 1,
            "aluminum_hydroxide": 2,
        },
        "R1g": {"yeelimite": -1, "gypsum": -2, "water": -34, "ettringite": 1, "aluminum_hydroxide": 2},
        "R1a": {"yeelimite": -1, "anhydrite": -2, "water": -38, "ettringite": 1, "aluminum_hydroxide": 2},
        "R2": {"yeelimite": -1, "water": -18, "monosulfate": 1, "aluminum_hydroxide": 2},
        "R3": {"hemihydrate": -1, "water": -1.5, "gypsum": 1},
        "R4": {"monosulfate": -1, "gypsum": -2, "water": -16, "ettringite": 1},
        "R5": {"yeelimite": -1, "lime": -6, "hemihydrate": -8, "water": -86, "ettringite": 3},
        "R6": {"belite": -1, "aluminum_hydroxide": -1, "water": -5, "straetlingite": 1},
        "R7": {"belite": -1, "water": -4.3, "calcium_silicate_hydrate": 1, "lime": 0.3},
        "R8": {
            "ferrite": -1,
            "gypsum": -3,
            "water": -30,
            "ettringite": 1,
            "lime": 1,
            "iron_hydroxide": 1,
        },
    }
)
"""All reactions by their short names."""


def reactions() -> Mapping[str, Reaction]:
    """Return the table of reactions: moles by phase, negative used up and positive formed.

    Examples
    --------
    >>> reactions()["R2"]["water"]
    -18
    """
    return REACTIONS


def imbalance(reaction: Reaction) -> dict[str, float]:
    """Return the atoms formed from nothing, by element [mol]; all zero when the reaction balances.

    Parameters
    ----------
    reaction : Reaction
        Moles by phase.

    Examples
    --------
    >>> imbalance({"hemihydrate": -1, "water": -1.0, "gypsum": 1})["O"]
    0.5
    """
    total: dict[str, float] = {}
    for phase, moles in reaction.items():
        for element, count in FORMULAS[phase].items():
            total[element] = total.get(element, 0.0) + moles * count
    return total


def water_per_gram(reaction: Reaction, phase: str) -> float:
    """Return the water a reaction takes up per gram of `phase` [g/g].

    Parameters
    ----------
    reaction : Reaction
        Moles by phase.
    phase : str
        A phase the reaction uses up.

    Examples
    --------
    >>> round(water_per_gram(REACTIONS["R3"], "hemihydrate"), 4)
    0.1862
    """
    return reaction["water"] * MOLAR_MASSES["water"] / (reaction[phase] * MOLAR_MASSES[phase])
