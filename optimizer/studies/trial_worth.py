"""What a trial of a blend is worth in money: what it may save over an order, less what it costs.

A blend that is cheaper than today's and not yet sure is worth a cast where its chance to hold, times what it
then saves on every vessel planned, is more than the cast. With nothing known but the shipped ranges the same
sum holds: an empty book has a first cast.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.problem import Problem
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.samples import DrawSet, Samples, samples_of
from optimizer.solution import Alternative, TrialWorth, WeighedMix
from optimizer.studies.explain import blend_shares
from optimizer.studies.trial_candidates import Candidate, candidates
from optimizer.verdict.assess import held_and_cost, joint_probability

__all__ = ["TOLD", "best_trial", "most_worth", "trial_cost", "trial_worths"]

Array = NDArray[np.float64]

_FEWEST: Final = 1.0
"""Good vessels over which the trials of a blend are spread, at least [count]."""

TOLD: Final = DrawSet(8192, 3)
"""Draws for the worth that is told: what is saved is a small difference of two costs, and takes four times
the draws of a chance to be known within 5 %."""


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
    A design that is less sure than was asked for is not yet one to save against. It stands at the price at
    which trying it and having it are worth the same, its cost if it holds with the trials that this takes,
    ``cost + trial / (chance x vessels)`` (the reservation price of Weitzman 1979, Econometrica 47:641, from
    memory): its own trial is worth nothing more, and one of a cheaper or surer blend what it is ahead.
    """
    samples = problem.samples.printed if samples is None else samples
    held, total = held_and_cost(problem, today, samples)
    if total is None:
        return ()
    standing = _mean(total)
    if joint_probability(problem, today) < problem.job.confidence:  # by the draws that called it sure or not
        vessels = max(held.mean() * problem.job.shop.order_vessels, _FEWEST)
        standing = (_mean(total[held]) if held.any() else standing) + trial_cost(problem, today) / vessels
    return tuple(_worth(problem, mix, standing, samples) for mix in mixes)


def _worth(problem: Problem, mix: Array, standing: float, samples: Samples) -> TrialWorth:
    held, total = held_and_cost(problem, mix, samples)
    cost = _mean(total[held]) if total is not None and held.any() else math.inf
    blend, water_ratio = blend_shares(problem, mix)
    return TrialWorth(
        mix=tuple(float(x) for x in mix),
        blend=blend,
        water_ratio=water_ratio,
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


def most_worth(problem: Problem, today: Array, casts: Sequence[Candidate]) -> tuple[int, TrialWorth] | None:
    """Return which of some casts is worth most, and what it is worth; the first where none pays.

    None where money does not count, or a material has no price.

    Parameters
    ----------
    problem, today
        As for `trial_worths`.
    casts
        What may be cast, today's design first.
    """
    if problem.job.objective != "cost" or not all(name in problem.job.prices for name in problem.names):
        return None
    shares = np.array([[cast.blend.get(name, 0.0) for name in problem.names] for cast in casts])
    mixes = per_liter(problem.model, shares, np.array([cast.water_ratio for cast in casts]))
    seen = trial_worths(problem, today, list(mixes))
    best = max(range(len(casts)), key=lambda k: seen[k].worth)
    if not seen[best].pays:  # nothing is told to be worth anything, and draws by the thousand take time
        return 0, seen[0]
    many = samples_of(problem.catalogue, problem.names, problem.parameters, TOLD)
    told = trial_worths(problem, today, [mixes[best], mixes[0]], many)
    return (best, told[0]) if told[0].pays else (0, told[1])


def best_trial(
    problem: Problem, mix: WeighedMix, alternatives: Sequence[Alternative] = ()
) -> TrialWorth | None:
    """Return the trial that is worth most beside today's design; None where none pays.

    Parameters
    ----------
    problem
        What is asked.
    mix, alternatives
        Today's design, and the blends that cost about the same.
    """
    found = most_worth(problem, np.array(mix.per_liter), list(candidates(problem, mix, alternatives)))
    return found[1] if found is not None and found[1].pays else None
