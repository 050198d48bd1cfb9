"""Castings one by one beside what a design promises: ``python -m tests.trust.castings [jobs castings]``.

Every casting draws the figures of the materials and of the laws, what the laws lack, and the scatter of its
batch with a plain generator, not with the product's own draws; limits are compared as numbers, and money is
added up a second time (`tests.trust.second_opinion`). The chance that is printed is to be the share of
castings in which all limits held, the expected cost their mean. All jobs are invented.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from optimizer.calibration.files import fitted_parameters
from optimizer.job import Job
from optimizer.jobfile import parse_job, template
from optimizer.materials import Catalogue
from optimizer.problem import Problem, problem_of
from optimizer.property_model.model import compile_model
from optimizer.property_model.parameters import DISCREPANT
from optimizer.property_model.predict import Cast, cast_of, predict
from optimizer.property_model.samples import Straightening
from optimizer.solution import WITH_ITS_CHANCE, Solution
from optimizer.specs import load_catalogue
from optimizer.studies.design import design
from tests.trust.job_maker import job_text
from tests.trust.second_opinion import Opinion

__all__ = ["Castings", "Compared", "cast_plainly", "compared", "jobs", "limits_held", "mean_cost", "mix_of"]

Array = np.ndarray

SEED = 17
"""Of the random jobs and of their castings."""

NEAR_EACH, NEAR_ALL, NEAR_COST = 0.07, 0.02, 0.01
"""How far share and printed chance may lie apart in a job and over all jobs [-], and costs [-]."""

_COLDEST, _WARMEST = 1.0, 60.0
"""Room temperatures that the drying law covers [degC]."""


@dataclass(frozen=True)
class Castings:
    """Castings of one mix.

    Attributes
    ----------
    values : dict[str, Array]
        Each property by name, and ``cost`` [currency]; shape (castings,).
    """

    values: dict[str, Array]


@dataclass(frozen=True)
class Compared:
    """A design's promise beside its castings: chances [-] and costs [currency], None without prices."""

    chance: float
    share: float
    expected: float | None
    mean: float | None
    castings: int

    @property
    def points(self) -> float:
        """Share of castings in which all limits held, less the printed chance [-]."""
        return self.share - self.chance

    @property
    def dearer(self) -> float:
        """Mean cost over the expected one, less one [-]; 0 without prices."""
        return 0.0 if self.mean is None or self.expected is None else self.mean / self.expected - 1.0


def cast_plainly(problem: Problem, mix: Array, count: int, seed: int) -> Castings:
    """Cast one mix `count` times, every time with figures and a batch of its own.

    Parameters
    ----------
    problem
        Job, catalogue, and what is known of the figures.
    mix
        Kilograms per liter by material and, last, of water, shape (n + 1,) [kg/L].
    count
        Castings [count].
    seed
        Of the generator.
    """
    dice = np.random.default_rng(seed)
    cast = _cast(problem, mix, count, dice)
    with np.errstate(all="ignore"):
        values = {
            name: np.broadcast_to(np.asarray(x, float), (count, 1))[:, 0] for name, x in predict(cast).items()
        }
        values["cost"] = Opinion(problem).cost(cast.mixes[:, 0, :], values)
    return Castings(values)


def _cast(problem: Problem, mix: Array, count: int, dice: np.random.Generator) -> Cast:
    known, shop, conditions = problem.parameters, problem.job.shop, problem.conditions
    figures = dice.multivariate_normal(known.centers, known.covariance(), count, method="eigh")
    # what is known of figures after casts; a Markov chain checks it in tests/calibration/test_update.py
    figures = Straightening(problem.catalogue, problem.names, known).straightened(figures)
    lacking = dice.standard_normal((count, len(DISCREPANT)))
    model = compile_model(problem.catalogue, problem.names, known, figures, lacking)
    air = model["air"] + shop.air_error * dice.standard_normal((count, 1))
    model = replace(model, constants={**model.constants, "air": np.clip(air, 0.0, 0.5)})
    room = shop.temperature + shop.temperature_error * dice.standard_normal((count, 1))
    weighed = _weighed(problem, mix, count, dice)
    return cast_of(model, conditions.at(np.clip(room, _COLDEST, _WARMEST)), weighed, mix[None, :])


def _weighed(problem: Problem, mix: Array, count: int, dice: np.random.Generator) -> Array:
    """Return what lies on the scale for each casting: a part of the amount off, and anywhere in a step."""
    shop = problem.job.shop
    fine = [material.role in ("pigment", "admixture") for material in problem.materials]
    steps = np.array([*(shop.dose_step if each else shop.weigh_step for each in fine), shop.weigh_step])
    parts = np.array([shop.powder_error] * len(fine) + [shop.water_error])
    grams = mix * problem.job.vessel.cavity_volume * shop.molds_per_mix * (1.0 + shop.waste)
    off = grams * parts * dice.standard_normal((count, len(grams)))
    read = grams + off + steps * dice.uniform(-0.5, 0.5, (count, len(grams)))
    out = np.where(grams > 0.0, np.maximum(read, 0.0), 0.0) / grams.sum()
    return np.asarray(out[:, None, :])


def limits_held(problem: Problem, solution: Solution, cast: Castings) -> Array:
    """Return in which castings all limits held that the answer counts in its chance, shape (castings,)."""
    counted = {
        f"{v.limit.property} {v.limit.sense} {v.limit.bound:g}"
        for v in solution.limits
        if v.judged == WITH_ITS_CHANCE
    }
    missed = [x for name, x in Opinion(problem).missed(cast.values).items() if name in counted]
    return np.asarray(np.sum([x > 0.0 for x in missed], axis=0) == 0) if missed else np.ones(1, dtype=bool)


def mean_cost(cost: Array) -> float:
    """Return the mean cost of a good vessel where what cannot be sold is paid for by the rest [currency]."""
    sold = np.isfinite(cost)
    return float(cost[sold].sum() / sold.sum() / sold.mean())


def mix_of(problem: Problem, solution: Solution) -> Array:
    """Return what is weighed for one vessel, per liter, shape (n + 1,) [kg/L]."""
    assert solution.mix is not None
    grams = np.array([solution.mix.grams.get(name, 0.0) for name in (*problem.names, "water")])
    volume = float(grams @ problem.model.column("volume")) / (1.0 - float(problem.model["air"]))
    return np.asarray(grams / volume)


def compared(problem: Problem, solution: Solution, castings: int, seed: int) -> Compared:
    """Cast an answer and return its promise beside what came of it."""
    cast = cast_plainly(problem, mix_of(problem, solution), castings, seed)
    share = float(limits_held(problem, solution, cast).mean())
    cost = None if solution.cost is None else mean_cost(cast.values["cost"])
    assert solution.joint_probability is not None
    return Compared(solution.joint_probability, share, solution.cost, cost, castings)


def jobs(count: int, catalogue: Catalogue) -> Iterator[tuple[str, Job]]:
    """Yield the demo, with its casts and without, a fresh job, and random jobs that ask for some limit."""
    demo = parse_job(template("demo"), catalogue, "demo")
    yield "demo", demo
    yield "fresh job", parse_job(template("job"), catalogue, "job")
    yield "demo without casts", replace(demo, calibration="")
    number = 0
    while number < count:
        job = parse_job(job_text(SEED, number, catalogue), catalogue, "job")
        if job.limits:
            yield f"random job {SEED}/{number}", job
        number += 1


def _answers(count: int, catalogue: Catalogue) -> Iterator[tuple[str, Problem, Solution]]:
    """Yield the first `count` jobs that have an answer, sure enough or not."""
    found = 0
    for name, job in jobs(10 * count, catalogue):
        known = fitted_parameters(job, catalogue)
        solution = design(job, catalogue, known, explain=False)
        if solution.mix is not None and found < count:
            found += 1
            yield name, problem_of(job, catalogue, known), solution
        if found == count:
            return


def main(words: list[str]) -> int:
    """Print each job's promise beside its castings; the exit code is 1 where one lies outside its band."""
    count, castings = (int(word) for word in words) if words else (20, 300)
    catalogue = load_catalogue()
    seen = []
    for number, (name, problem, solution) in enumerate(_answers(count, catalogue)):
        one = compared(problem, solution, castings, 1000 * SEED + number)
        seen.append(one)
        cost = "no cost" if one.mean is None else f"cost {one.expected:.3f}, cast {one.mean:.3f}"
        _tell(
            f"{name}: {solution.status}; chance {one.chance:.3f}, held {one.share:.3f} "
            f"({100 * one.points:+.1f} points); {cost} ({100 * one.dearer:+.2f} %)"
        )
    points, dearer = np.array([x.points for x in seen]), np.array([x.dearer for x in seen])
    _tell(
        f"{len(seen)} jobs of {castings} castings: over all {100 * points.mean():+.2f} points and "
        f"{100 * dearer.mean():+.2f} % of the cost; furthest {100 * abs(points).max():.1f} points, "
        f"{100 * abs(dearer).max():.2f} %"
    )
    near = abs(points.mean()) <= NEAR_ALL and np.all(abs(points) <= NEAR_EACH)
    return int(not (near and np.all(abs(dearer) <= NEAR_COST)))


def _tell(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
