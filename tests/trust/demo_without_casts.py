"""The demo without its casts beside plain draws: ``python -m tests.trust.demo_without_casts [blends]``.

What is told of "cast this" and of "worth a trial" is worked out again in 20,000 plain draws of the whole
chain, with money added up a second time; and a dense random search looks for a blend that is surer, or whose
trial is worth more. With the casts, the designed blend is compared with every binder alone.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from optimizer.calibration.files import fitted_parameters
from optimizer.job import Limit
from optimizer.jobfile import parse_job, template
from optimizer.problem import Problem, problem_of
from optimizer.property_model.predict import predict
from optimizer.solution import DESIGNED, WITH_ITS_CHANCE, Solution
from optimizer.specs import load_catalogue
from optimizer.studies.design import design
from tests.property_model.helpers import plain_samples
from tests.trust.castings import cast_plainly, limits_held, mean_cost, mix_of
from tests.trust.dense_search import dense_search_of
from tests.trust.second_opinion import Opinion

__all__ = ["Seen", "Standing", "rivals", "seen"]

Array = np.ndarray

DRAWS = 20_000
SEARCHED = 256
"""Draws with which the dense search looks at a blend [count]."""

BEATEN = 0.005
"""Part by which a dense search may beat an answer, and points of its chance [-]."""

_BLENDS_AT_ONCE = 64
_COST_DRIVERS = ("demold_time", "sealer_coats", "drying_time", "dry_mass")


@dataclass(frozen=True)
class Seen:
    """One blend in plain draws: its chance [-], its expected cost, and that given that all limits hold."""

    chance: float
    cost: float
    cost_if_it_holds: float


def seen(problem: Problem, solution: Solution, mix: Array, draws: int = DRAWS, seed: int = 71) -> Seen:
    """Return what plain draws say of a mix [kg/L]; the same seed draws the same for every mix."""
    cast = cast_plainly(problem, mix, draws, seed)
    held = limits_held(problem, solution, cast)
    cost = cast.values["cost"]
    return Seen(float(held.mean()), mean_cost(cost), mean_cost(cost[held]) if held.any() else np.inf)


@dataclass(frozen=True)
class Standing:
    """What a trial is measured by: cost of a vessel of today's blend, with its own trial where it needs one.

    A blend that is not as sure as asked costs what it does if it holds, and its trial over the vessels of
    the orders in which it holds.
    """

    problem: Problem
    cost: float

    @classmethod
    def of(cls, problem: Problem, today: Seen, mix: Array) -> Standing:
        if today.chance >= problem.job.confidence:
            return cls(problem, today.cost)
        own = _trial(problem, mix) / (today.chance * problem.job.shop.order_vessels)
        return cls(problem, today.cost_if_it_holds + own)

    def worth(self, one: Seen, mix: Array) -> float:
        """Return what a trial of a mix is worth over the order [currency]."""
        saves = max(self.cost - one.cost_if_it_holds, 0.0) if one.chance > 0.0 else 0.0
        return self.problem.job.shop.order_vessels * one.chance * saves - _trial(self.problem, mix)


def _trial(problem: Problem, mix: Array) -> float:
    """Return what one mix of the shop and the minutes of a trial cost [currency]."""
    shop = problem.job.shop
    liters = problem.liters * shop.molds_per_mix * (1.0 + shop.waste)
    return float(mix @ Opinion(problem).prices) * liters + shop.trial_minutes * shop.wage / 60.0


def rivals(problem: Problem, solution: Solution, standing: Standing, blends: int) -> tuple[Array, Array]:
    """Return the blends of dense searches that are surest, and whose trials are worth most, best first.

    Each of shape (blends, n + 1) [kg/L]; both as a few draws see them.
    """
    look = _Look(problem, solution)

    def surest(mixes: Array) -> tuple[Array, Array]:
        chance, _, missed = look(mixes)
        return missed, -chance

    def worthiest(mixes: Array) -> tuple[Array, Array]:
        chance, cost, missed = look(mixes)
        rows = zip(chance, cost, mixes, strict=True)
        worths = [standing.worth(Seen(q, np.nan, c), mix) for q, c, mix in rows]
        return missed, -np.array(worths)

    found = [dense_search_of(problem, judged, blends) for judged in (surest, worthiest)]
    return found[0].mixes, found[1].mixes


class _Look:
    """Looks at many mixes in a few draws: chance, cost where all limits hold, and rules of mixing broken."""

    def __init__(self, problem: Problem, solution: Solution) -> None:
        self.problem, self.opinion = problem, Opinion(problem)
        self.plain = plain_samples(problem, SEARCHED, seed=83)
        self.limits = [v.limit for v in solution.limits if v.judged == WITH_ITS_CHANCE]

    def __call__(self, mixes: Array) -> tuple[Array, Array, Array]:
        parts = np.array_split(mixes, max(1, len(mixes) // _BLENDS_AT_ONCE))
        looked = [self._few(part) for part in parts]
        values = self.opinion.values(mixes)
        missed = sum(self.opinion.broken(mixes, values).values(), np.zeros(len(mixes)))
        chance, cost = (np.concatenate(each) for each in zip(*looked, strict=True))
        return chance, cost, missed

    def _few(self, mixes: Array) -> tuple[Array, Array]:
        shape = (SEARCHED, len(mixes))
        names = {limit.property for limit in self.limits} | set(_COST_DRIVERS)
        with np.errstate(all="ignore"):
            cast = self.plain.cast(self.problem.conditions, mixes)
            values = {name: np.broadcast_to(x, shape) for name, x in predict(cast, names).items()}
            flat = {name: x.ravel() for name, x in values.items()}
            cost = self.opinion.cost(cast.mixes.reshape(-1, mixes.shape[1]), flat).reshape(shape)
            held = np.all([_held(limit, values[limit.property]) for limit in self.limits], axis=0)
            held &= np.isfinite(cost)
            return held.mean(axis=0), np.where(held, cost, 0.0).sum(axis=0) / held.sum(axis=0)


def _held(limit: Limit, value: Array) -> Array:
    return value <= limit.bound if limit.sense == "<=" else value >= limit.bound


def _best(problem: Problem, solution: Solution, mixes: Array, score: Callable[[Seen, Array], float]) -> int:
    """Return which of the first mixes found is best in other draws than those it was found in."""
    return int(np.argmax([score(seen(problem, solution, mix, 4_000, seed=97), mix) for mix in mixes[:40]]))


def without_casts(blends: int) -> bool:
    """Print the demo's answer without casts beside plain draws and dense searches; True where they agree."""
    catalogue = load_catalogue()
    job = replace(parse_job(template("demo"), catalogue, "demo"), calibration="")
    problem, solution = problem_of(job, catalogue), design(job, catalogue)
    mix = mix_of(problem, solution)
    today = seen(problem, solution, mix)
    standing = Standing.of(problem, today, mix)
    _tell(
        f"cast this ({solution.status}): chance {solution.joint_probability:.4f}, drawn {today.chance:.4f}; "
        f"cost {solution.cost:.4f}, drawn {today.cost:.4f}"
    )
    right = abs(solution.joint_probability - today.chance) <= 0.02
    right &= abs(solution.cost / today.cost - 1.0) <= 0.005
    ours = -np.inf
    for told in solution.worth_a_trial:
        one = seen(problem, solution, np.array(told.mix))
        ours = standing.worth(one, np.array(told.mix))
        _tell(
            f"worth a trial: chance {told.chance:.4f}, drawn {one.chance:.4f}; cost if it holds "
            f"{told.cost_if_it_holds:.4f}, drawn {one.cost_if_it_holds:.4f}; worth {told.worth:.2f}, drawn "
            f"{ours:.2f}"
        )
        right &= abs(told.chance - one.chance) <= 0.02 and abs(told.worth / ours - 1.0) <= 0.05
        right &= abs(told.cost_if_it_holds / one.cost_if_it_holds - 1.0) <= 0.005
    surest, worthiest = rivals(problem, solution, standing, blends)
    k = _best(problem, solution, surest, lambda one, _: one.chance)
    rival = seen(problem, solution, surest[k])
    _tell(f"surest of a dense search: {_words(problem, surest[k])}: {rival.chance:.4f} at {rival.cost:.4f}")
    k = _best(problem, solution, worthiest, standing.worth)
    other = seen(problem, solution, worthiest[k])
    theirs = standing.worth(other, worthiest[k])
    _tell(
        f"worth most of a dense search: {_words(problem, worthiest[k])}: {theirs:.2f}; {other.chance:.4f}, "
        f"{other.cost_if_it_holds:.4f} if it holds"
    )
    return bool(right and rival.chance <= today.chance + BEATEN and theirs <= ours * (1.0 + BEATEN))


def with_casts() -> bool:
    """Print the demo's design beside every binder alone; True where the blend of two binders pays."""
    catalogue = load_catalogue()
    job = parse_job(template("demo"), catalogue, "demo")
    best = design(job, catalogue, fitted_parameters(job, catalogue), explain=False)
    assert best.mix is not None
    assert best.cost is not None
    binders = [name for name in job.materials if catalogue[name].role == "binder"]
    used = [name for name in binders if best.mix.blend.get(name, 0.0) > 0.02]
    alone = {}
    for binder in binders:
        only = replace(job, materials=tuple(x for x in job.materials if x == binder or x not in binders))
        one = design(only, catalogue, fitted_parameters(only, catalogue), explain=False)
        if one.status == DESIGNED and one.cost is not None:
            alone[binder] = one.cost
    saved = 1.0 - best.cost / min(alone.values())
    costs = ", ".join(f"{name} {cost:.3f}" for name, cost in alone.items())
    _tell(
        f"with casts: {' and '.join(used)} at {best.cost:.3f} with {best.joint_probability:.3f}; alone and "
        f"sure enough: {costs}; saves {100 * saved:.1f} %"
    )
    return len(used) >= 2 and saved >= 0.05 and (best.joint_probability or 0.0) >= job.confidence


def _words(problem: Problem, mix: Array) -> str:
    powder = mix[:-1].sum()
    parts = [f"{100 * mix[k] / powder:.2f} % {n}" for k, n in enumerate(problem.names) if mix[k] > 1e-9]
    return f"{', '.join(parts)}, water ratio {mix[-1] / powder:.4f}"


def main(words: list[str]) -> int:
    """Print both comparisons; the exit code is 1 where one is outside its band."""
    blends = int(words[0]) if words else 24_000
    agreed = [without_casts(blends), with_casts()]
    return int(not all(agreed))


def _tell(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
