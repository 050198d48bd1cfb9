"""What a trial of a blend is worth in money: what it may save over an order, less what it costs.

A blend that is cheaper than today's and not yet sure is worth a cast where its chance to hold, times what it
then saves on every vessel planned, is more than the cast. With nothing known but the shipped ranges the same
sum holds: an empty book has a first cast.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.samples import Samples
from optimizer.engine.chance_constraints import chance_blends, surest_blends
from optimizer.engine.chance_rows import ChanceQuestion
from optimizer.problem import Problem
from optimizer.verdict.assess import held_and_cost, is_open

__all__ = ["LEAST_WORTH", "TrialWorth", "curve_mixes", "trial_cost", "trial_worths"]

Array = NDArray[np.float64]

LEAST_WORTH: Final = 0.02
"""Worth of a trial for each vessel planned below which casting for knowledge stops [currency]."""

_CHANCES: Final = (0.2, 0.35, 0.5, 0.65)
"""Chances at which the curve of cost against chance is looked at, below the one asked for [-]."""

_LEAST_CHANCE: Final = 0.02


@dataclass(frozen=True)
class TrialWorth:
    """One blend that might be cast.

    Attributes
    ----------
    mix : tuple[float, ...]
        Kilograms per liter by material and, last, of water [kg/L].
    chance : float
        Chance that all its limits hold [-].
    cost_if_it_holds : float
        Cost expected of a good vessel in the draws in which they do [currency].
    saves : float
        What a vessel then costs less than today's design [currency].
    trial_cost : float
        What the cast costs [currency].
    vessels : float
        Vessels planned [count].
    """

    mix: tuple[float, ...]
    chance: float
    cost_if_it_holds: float
    saves: float
    trial_cost: float
    vessels: float

    @property
    def gain(self) -> float:
        """What it may save over the vessels planned, at its chance [currency]."""
        return self.chance * max(self.saves, 0.0) * self.vessels

    @property
    def worth(self) -> float:
        """The same less what the cast costs [currency]."""
        return self.gain - self.trial_cost

    @property
    def pays(self) -> bool:
        """True where the cast is worth `LEAST_WORTH` or more for each vessel planned."""
        return self.worth >= LEAST_WORTH * self.vessels

    @property
    def pays_from_vessels(self) -> float:
        """Vessels from which the cast pays for itself; infinite where it saves nothing [count]."""
        each = self.chance * self.saves
        return float(math.ceil(self.trial_cost / each)) if each > 0.0 else math.inf


def trial_cost(problem: Problem, mix: Array) -> float:
    """Return what a trial costs: one mix of the shop with its waste, and the minutes it takes [currency].

    Parameters
    ----------
    problem
        Prices, wage, molds a mix fills, and the minutes of a trial, its burn and its readings among them.
    mix
        Kilograms per liter by material and, last, of water, shape (n + 1,) [kg/L].
    """
    shop = problem.job.shop
    liters = problem.liters * shop.molds_per_mix * (1.0 + shop.waste)
    used = np.where(mix > 0.0, mix * np.nan_to_num(problem.prices), 0.0)
    return float(used.sum()) * liters + shop.trial_minutes * shop.wage / 60.0


def trial_worths(
    problem: Problem, today: Array, mixes: Sequence[Array], samples: Samples | None = None
) -> tuple[TrialWorth, ...]:
    """Return what a trial of each of `mixes` is worth beside today's design.

    Parameters
    ----------
    problem
        What is asked; `order_vessels` of its shop are the vessels planned.
    today
        The blend that would be cast without a trial, shape (n + 1,) [kg/L].
    mixes
        Blends that might be tried.
    samples
        Draws; default: those for what is printed.

    Returns
    -------
    tuple[TrialWorth, ...]
        One for each mix, in order; empty where a material has no price.

    Notes
    -----
    A design that is less sure than was asked for is no design to save against: its vessels that miss a limit
    are thrown away, so that its cost counts over its chance.
    """
    samples = problem.samples.printed if samples is None else samples
    held, total = held_and_cost(problem, today, samples)
    if total is None:
        return ()
    chance = float(held.mean())
    standing = _mean(total)
    if chance < problem.job.confidence:
        standing = standing / max(chance, _LEAST_CHANCE)
    return tuple(_worth(problem, mix, standing, samples) for mix in mixes)


def _worth(problem: Problem, mix: Array, standing: float, samples: Samples) -> TrialWorth:
    held, total = held_and_cost(problem, mix, samples)
    cost = _mean(total[held]) if total is not None and held.any() else math.inf
    return TrialWorth(
        mix=tuple(float(x) for x in mix),
        chance=float(held.mean()),
        cost_if_it_holds=cost,
        saves=standing - cost if math.isfinite(cost) else 0.0,
        trial_cost=trial_cost(problem, mix),
        vessels=problem.job.shop.order_vessels,
    )


def _mean(total: Array) -> float:
    """Return the mean of what can be sold, the rest paid for by it; infinite where nothing can [currency]."""
    sold = np.isfinite(total)
    return float(total[sold].mean() / sold.mean()) if sold.any() else math.inf


def curve_mixes(problem: Problem) -> tuple[Array, ...]:
    """Return blends along the curve of expected cost against chance, below the chance asked for.

    The surest blend is among them: where no blend is sure enough, it is the first to be tried.
    """
    judged = tuple(x for x in problem.job.limits if x.property != "cost" and not is_open(problem, x))
    if not judged:
        return ()
    chances = [chance for chance in _CHANCES if chance < problem.job.confidence]
    asked = [ChanceQuestion(problem, judged, chance) for chance in chances]
    found = [*chance_blends(asked), *surest_blends([ChanceQuestion(problem, judged, 0.5)])]
    return tuple(np.asarray(each.candidate.mix) for each in found if each is not None)
