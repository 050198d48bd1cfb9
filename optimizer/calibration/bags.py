"""What one bag has of its own: effects that later bags do not share.

Where the trials name more than one lot of a binder, each lot gets its own factor on strength and on time
of set, and the binder's figure is what all lots have in common. Such effects are fitted beside the figures
and summed over; what is handed on for the next bag keeps their full spread.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.calibration.measurement_errors import BAG
from optimizer.materials import Catalogue
from optimizer.property_model.parameters import ParameterSet
from optimizer.trials.records import Trial

__all__ = ["Effect", "common_part", "effects_of", "own_parts"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Effect:
    """A shift of one parameter in some of the trials.

    Attributes
    ----------
    parameter : str
        Name in the parameter set.
    lot : str
        Lot of the bag.
    shares : Array
        Part of the shift each trial takes, shape (trials,).
    """

    parameter: str
    lot: str
    shares: Array


def effects_of(trials: Sequence[Trial], catalogue: Catalogue) -> tuple[Effect, ...]:
    """Return the effects of bags in `trials`, in order of name."""
    return tuple(_of_bags(trials, catalogue))


def own_parts(effects: Sequence[Effect]) -> Mapping[str, float]:
    """Return the spread of what is not common, by parameter [its fitted scale]."""
    return {effect.parameter: _own(effect.parameter) for effect in effects}


def common_part(parameters: ParameterSet, own: Mapping[str, float]) -> ParameterSet:
    """Return the parameters with the own parts taken out of their spreads: parts add up to the prior."""
    changes = {
        item.name: replace(item, spread=math.sqrt(max(item.spread**2 - own[item.name] ** 2, 0.0)))
        for item in parameters
        if item.name in own
    }
    return parameters.moved(changes)


def _own(parameter: str) -> float:
    return BAG[parameter.rpartition(".")[2]]


def _of_bags(trials: Sequence[Trial], catalogue: Catalogue) -> Iterator[Effect]:
    binders = sorted(
        {p.material for trial in trials for p in trial.portions if catalogue[p.material].role == "binder"}
    )
    for name in binders:
        lots = sorted({p.lot for trial in trials for p in trial.portions if p.material == name})
        if len(lots) < 2:
            continue
        for lot in lots:
            shares = np.array([_lot_share(trial, name, lot) for trial in trials])
            for factor in BAG:
                yield Effect(f"{name}.{factor}", lot or "not noted", shares)


def _lot_share(trial: Trial, material: str, lot: str) -> float:
    masses = [(p.lot == lot, p.mass) for p in trial.portions if p.material == material]
    total = sum(mass for _, mass in masses)
    return sum(mass for own, mass in masses if own) / total if total > 0.0 else 0.0
