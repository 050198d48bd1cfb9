"""What one bag, or one blend, has of its own: effects that later bags and blends do not share.

Where the trials name more than one lot of a binder, each lot gets its own factor on strength and on time
of set, and the binder's figure is what all lots have in common. A blend of gypsum and cement departs from
the law of mixing partly in its own way. Such effects are fitted beside the figures and summed over; what
is handed on for the next bag or the next blend keeps their full spread.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.calibration.lab_errors import BAG, OWN_DEPARTURE
from optimizer.chain.parameters import ParameterSet
from optimizer.materials import Catalogue
from optimizer.trials.records import Trial

__all__ = ["Effect", "common_part", "effects_of", "own_parts"]

Array = NDArray[np.float64]

_DEPARTURE = "blend_departure"


@dataclass(frozen=True, eq=False)
class Effect:
    """A shift of one parameter in some of the trials.

    An effect of a single batch is told apart from that batch's error by nothing: see `alone`.

    Attributes
    ----------
    parameter : str
        Name in the parameter set.
    lot : str
        Lot of the bag; empty for what belongs to a blend.
    shares : Array
        Part of the shift each trial takes, shape (trials,).
    """

    parameter: str
    lot: str
    shares: Array

    @property
    def alone(self) -> bool:
        """True when one batch only is moved, and it is no named bag's."""
        return not self.lot and np.count_nonzero(self.shares) == 1


def effects_of(trials: Sequence[Trial], catalogue: Catalogue) -> tuple[Effect, ...]:
    """Return the effects of bags and of single blends in `trials`, in order of name."""
    return (*_of_bags(trials, catalogue), *_of_blends(trials, catalogue))


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
    return OWN_DEPARTURE if parameter == _DEPARTURE else BAG[parameter.rpartition(".")[2]]


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


def _of_blends(trials: Sequence[Trial], catalogue: Catalogue) -> Iterator[Effect]:
    groups: dict[tuple[tuple[str, float], ...], list[int]] = {}
    for place, trial in enumerate(trials):
        shares = {name: round(share, 2) for name, share in trial.blend.items()}
        kinds = {catalogue[name].kind for name, share in shares.items() if share > 0.0}
        if {"gypsum", "csa"} <= kinds:
            groups.setdefault(tuple(sorted(shares.items())), []).append(place)
    for _, places in sorted(groups.items()):
        shares_of = np.zeros(len(trials))
        shares_of[places] = 1.0
        yield Effect(_DEPARTURE, "", shares_of)
