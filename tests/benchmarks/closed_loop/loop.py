"""Casting in invented studios: which blend each strategy ends with, and what that truly does and costs."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from scipy.stats import norm
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel

from optimizer.calibration.fit import calibrate
from optimizer.calibration.next_trial import next_trial
from optimizer.calibration.readings import studio_of
from optimizer.calibration.record import parameter_set
from optimizer.errors import NoBlend, NoVerdict
from optimizer.job import Job
from optimizer.jobfile import parse_job, template
from optimizer.materials import Catalogue
from optimizer.problem import Problem, problem_of
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.parameters import ParameterSet, parameters_of
from optimizer.property_model.predict import PREDICTORS, cast_of
from optimizer.studies.design import design_problem
from optimizer.trials.records import Trial
from tests.benchmarks.closed_loop.truth import NAMES, Properties, Truth

__all__ = ["JUDGED", "STRATEGIES", "Outcome", "Studio", "run"]

_BATCHES: Final = 400
"""Batches of a blend in which its stated chance and ranges are judged [count]."""

_SLACK: Final = 0.002
"""Share of a bound a limit may be missed by and be met [-]."""

_WARMTH, _LIMIT = 0.8, (51.7, 0.7)
"""What an informed studio knows: warmth of rooms with which the chain's set times scatter as truths' do [K],
mean and spread of the heat limit of cement [degC]. The shop's 1.5 K times what a kelvin does there, 0.034 on
the mean, over the 0.063 of the chain's 45 kJ/mol at 21 degC."""

JUDGED: Final = ("demold_time", "dry_strength", "dry_mass", "working_window", "whiteness", "absorption")
"""Properties whose ranges are compared with the truth."""

_READ_WITHIN: Final[Mapping[str, tuple[float, float]]] = {
    "demold_time": (0.07, 0.0),
    "dry_strength": (0.08, 0.0),
    "dry_mass": (0.0, 1.2),
    "working_window": (0.0, 1.5),
    "whiteness": (0.0, 0.8),
    "heat_margin": (0.0, 1.0),
}
"""Error of one reading, a share of it and a part in the property's unit."""


@dataclass(frozen=True)
class Blend:
    """What a strategy would sell: shares of the dry mass in the order of `NAMES`, and water."""

    shares: np.ndarray
    water: float
    chance: float = float("nan")
    ranges: Mapping[str, tuple[float, float]] | None = None


@dataclass(frozen=True)
class Outcome:
    """What a strategy's blend truly is after some casts.

    Attributes
    ----------
    seed, casts : int
        Studio, and casts made.
    strategy : str
        Which.
    good : bool
        True when it truly meets all limits.
    over, over_reserve : float
        True cost over the studio's optimum, and over its `reserve_cost`, less one [-].
    stated : float
        Joint chance stated [-]; nan where none is.
    true_chance : float
        Share of the batches of the blend that meet all limits [-].
    held : Mapping[str, float]
        Share of the batches that the stated 90 % range holds, by property; empty where none is stated.
    """

    seed: int
    casts: int
    strategy: str
    good: bool
    over: float
    over_reserve: float
    stated: float
    true_chance: float
    held: Mapping[str, float]


@dataclass(frozen=True)
class Studio:
    """One invented studio and the job it asks.

    Attributes
    ----------
    seed, catalogue
        Which, and the figures it starts from.
    informed : bool
        True where the heat limit and what a warm room does are known as well as truths scatter in them. No
        cast reads the first, and handbooks leave both wider than truths are drawn.
    """

    seed: int
    catalogue: Catalogue
    informed: bool = False

    @cached_property
    def _demo(self) -> Job:
        return replace(parse_job(template("demo"), self.catalogue, "demo"), confidence=0.8)

    @cached_property
    def job(self) -> Job:
        shop = self._demo.shop
        return (
            replace(self._demo, shop=replace(shop, temperature_error=_WARMTH))
            if self.informed
            else self._demo
        )

    @cached_property
    def truth(self) -> Truth:
        candle = self._demo.candle
        assert candle is not None
        assert candle.measured_outer is not None
        return Truth(self.seed, self._demo.shop, candle.measured_outer)

    @cached_property
    def shipped(self) -> Problem:
        return self._asked(parameters_of(self.catalogue, NAMES))

    def problem(self, trials: Sequence[Trial]) -> Problem:
        """Return the question with what the trials taught."""
        if not trials:
            return self.shipped
        kept = calibrate(trials, self.catalogue, studio_of(self.job)).calibration
        return self._asked(parameter_set(kept, self.catalogue, NAMES))

    def _asked(self, known: ParameterSet) -> Problem:
        if self.informed:
            limit = next(item for item in known if item.name == "ettringite_limit")
            known = known.moved({limit.name: replace(limit, center=_LIMIT[0], spread=_LIMIT[1])})
        return problem_of(self.job, self.catalogue, known)

    def cost(self, shares: np.ndarray, true: Properties) -> np.ndarray:
        """Return what a good vessel truly costs, by the shop's own figures [currency]."""
        shop, price = self.job.shop, self.shipped.prices[:-1]
        powder = true.demolded_mass / (1.0 + true.water) * 1e-3 * (shares @ price)
        cast = powder * (1.0 + shop.waste) + shop.cast_minutes * shop.wage / 60.0
        cast = (cast + shop.mold_price / shop.mold_life) / (1.0 - shop.reject)
        coats = true.coats * (shop.coat_cost + shop.seal_minutes * shop.wage / 60.0)
        return cast + coats + shop.packing_cost + shop.pack_minutes * shop.wage / 60.0

    def missed(self, true: Properties, reserve: float = 0.0) -> np.ndarray:
        """Return the largest share by which a limit is missed [-]; negative where all hold.

        With `reserve` a limit holds only with the error of so many readings to spare.
        """
        out = np.full(len(true.dry_mass), -np.inf)
        for limit in self.job.limits:
            value, size = getattr(true, limit.property), max(abs(limit.bound), 1.0)
            share, fixed = _READ_WITHIN[limit.property]
            sign = 1.0 if limit.sense == "<=" else -1.0
            spare = reserve * (share * np.abs(value) + fixed)
            out = np.maximum(out, (sign * (value - limit.bound) + spare) / size)
        return out

    @cached_property
    def best_cost(self) -> float:
        """Cost of the studio's optimum [currency]."""
        return self._cheapest(0.0)

    @cached_property
    def reserve_cost(self) -> float:
        """Cost of the cheapest blend that clears every limit by the error of one reading [currency].

        An optimum that touches its limits cannot be had surely by anyone who reads with errors.
        """
        return self._cheapest(1.0)

    def _cheapest(self, reserve: float) -> float:
        """Return the least cost: random blends of few materials, then smaller and smaller steps."""
        rng = np.random.default_rng([80, self.seed])
        shares, water = random_blends(rng, 30_000, self.shipped)
        best = np.inf
        for step in (0.0, 0.08, 0.04, 0.02, 0.01, 0.005):
            if step:
                keep = np.argsort(self._rank(shares, water, reserve))[:60]
                shares = np.repeat(shares[keep], 100, axis=0)
                moved = shares * np.exp(step * rng.standard_normal(shares.shape)) * (shares > 0.0)
                moved[:, :2] += (
                    step * rng.uniform(0.0, 0.3, (len(moved), 2)) * (rng.uniform(size=(len(moved), 2)) < 0.1)
                )
                shares = within(moved / moved.sum(axis=1, keepdims=True))
                water = np.repeat(water[keep], 100) * np.exp(step * rng.standard_normal(len(shares)))
            true = self.truth.of(shares, water)
            good = self.missed(true, reserve) <= _SLACK
            if good.any():
                best = min(best, float(self.cost(shares, true)[good].min()))
        return best

    def _rank(self, shares: np.ndarray, water: np.ndarray, reserve: float) -> np.ndarray:
        true = self.truth.of(shares, water)
        return self.cost(shares, true) + 100.0 * np.maximum(self.missed(true, reserve) - _SLACK, 0.0)

    def outcome(self, strategy: str, casts: int, blend: Blend) -> Outcome:
        """Return what a blend truly is."""
        shares = blend.shares[None, :]
        true = self.truth.of(shares, np.array([blend.water]))
        batches, ranges = self.truth.batches(blend.shares, blend.water, _BATCHES), blend.ranges or {}
        held = {
            name: float(np.mean((low <= getattr(batches, name)) & (getattr(batches, name) <= high)))
            for name, (low, high) in ranges.items()
            if name in JUDGED
        }
        chance = float(np.mean(self.missed(batches) <= _SLACK))
        cost = float(self.cost(shares, true)[0])
        good = bool(self.missed(true)[0] <= _SLACK)
        over = (cost / self.best_cost - 1.0, cost / self.reserve_cost - 1.0)
        return Outcome(self.seed, casts, strategy, good, *over, blend.chance, chance, held)

    def cast(self, number: int, blend: Blend) -> Trial:
        """Return the trial of a blend cast and read."""
        named = dict(zip(NAMES, map(float, blend.shares), strict=True))
        return self.truth.cast(number, named, blend.water, number)


def within(shares: np.ndarray) -> np.ndarray:
    """Return shares with traces left out and the most of sand, flour and white kept."""
    out = np.where(shares < 0.02, 0.0, shares)
    out[:, 6] = np.clip(shares[:, 6], 0.0, 0.05)
    out[:, 4], out[:, 5] = np.minimum(out[:, 4], 0.4), np.minimum(out[:, 5], 0.7)
    return out / out.sum(axis=1, keepdims=True)


def random_blends(rng: np.random.Generator, count: int, problem: Problem) -> tuple[np.ndarray, np.ndarray]:
    """Return blends of up to four materials with a binder, at about the water they ask for."""
    shares = rng.dirichlet(np.full(len(NAMES), 0.6), count) * (rng.uniform(size=(count, len(NAMES))) < 0.55)
    shares[:, 0] += 1e-6
    shares = within(shares / shares.sum(axis=1, keepdims=True))
    shares = shares[shares[:, :4].sum(axis=1) > 0.3]
    mixes = per_liter(problem.model, shares)
    asked = mixes[:, -1] / mixes[:, :-1].sum(axis=1)
    return shares, asked * rng.uniform(0.95, 1.35, len(shares))


def _designed(studio: Studio, problem: Problem) -> tuple[Blend, object]:
    solution = design_problem(problem)
    if solution.mix is None:
        return Blend(np.eye(len(NAMES))[0], 0.33), solution
    shares = np.array([solution.mix.blend.get(name, 0.0) for name in NAMES])
    ranges = {name: (p.low, p.high) for name, p in solution.properties.items()}
    chance = solution.joint_probability
    return Blend(
        shares / shares.sum(), solution.mix.water_ratio, float("nan") if chance is None else chance, ranges
    ), solution


def by_worth(studio: Studio, trials: Sequence[Trial]) -> tuple[Blend, Blend]:
    """Sell the design, cast what is worth most: this project's way."""
    problem = studio.problem(trials)
    blend, solution = _designed(studio, problem)
    try:
        found = next_trial(problem, solution)
    except (NoBlend, NoVerdict):
        return blend, blend
    shares = np.array([found.cast.blend.get(name, 0.0) for name in NAMES])
    return blend, blend if found.stop else Blend(shares / shares.sum(), found.cast.water_ratio)


def by_design(studio: Studio, trials: Sequence[Trial]) -> tuple[Blend, Blend]:
    """Sell the design and cast it again and again."""
    blend, _ = _designed(studio, studio.problem(trials))
    return blend, blend


def _limits_of(studio: Studio) -> list[tuple[str, float, float]]:
    return [(x.property, 1.0 if x.sense == "<=" else -1.0, x.bound) for x in studio.job.limits]


def _readings(trial: Trial, mixing: float) -> dict[str, float]:
    return {
        "demold_time": trial.demold_first or np.nan,
        "dry_strength": trial.strengths[0].value,
        "dry_mass": trial.weighings[-1].mass,
        "working_window": (trial.initial_set or np.nan) - mixing,
        "whiteness": trial.whiteness or np.nan,
        "absorption": trial.absorption or np.nan,
    }


def _law(studio: Studio, shares: np.ndarray, water: np.ndarray) -> dict[str, np.ndarray]:
    problem = studio.shipped
    cast = cast_of(problem.model, problem.conditions, per_liter(problem.model, shares, water))
    return {name: np.ravel(PREDICTORS[name](cast)) for name in (*JUDGED, "heat_margin")}


def _cheapest(studio: Studio, shares: np.ndarray, told: Mapping[str, np.ndarray], least: float) -> np.ndarray:
    """Return the order of blends by cost among those whose chance, product over limits, reaches `least`."""
    chance = told["chance"]
    coats = studio.truth.coats(told["absorption"])
    money = shares @ studio.shipped.prices[:-1] * 0.27 + coats * 0.95
    return np.argsort(np.where(chance >= least, money, 100.0 - chance))


def by_factor(studio: Studio, trials: Sequence[Trial]) -> tuple[Blend, Blend]:
    """Correct the shipped laws by one factor per property: sell and cast the cheapest that then holds."""
    rng = np.random.default_rng([81, studio.seed])
    shares, water = random_blends(rng, 20_000, studio.shipped)
    told = _law(studio, shares, water)
    for name in JUDGED if trials else ():
        seen = np.array([_readings(t, studio.job.shop.mixing)[name] for t in trials])
        at = _law(studio, *_mixed(trials))[name]
        told[name] = (
            told[name] + (seen - at).mean()
            if name == "whiteness"
            else told[name] * np.exp(np.log(np.maximum(seen, 0.1) / np.maximum(at, 0.1)).mean())
        )
    held = [sign * (told[name] - bound) <= 0.0 for name, sign, bound in _limits_of(studio)]
    told["chance"] = np.logical_and.reduce(held).astype(float)
    best = int(_cheapest(studio, shares, told, 0.5)[0])
    blend = Blend(shares[best], float(water[best]))
    return blend, blend


def by_gaussian_process(studio: Studio, trials: Sequence[Trial]) -> tuple[Blend, Blend]:
    """Learn a Gaussian process per property from scratch, on logs; cast by expected improvement."""
    rng = np.random.default_rng([82, studio.seed, len(trials)])
    shares, water = random_blends(rng, 4_000, studio.shipped)
    points = np.column_stack([shares, 2.0 * water])
    law = _law(studio, shares, water)
    told, chance = {}, np.ones(len(shares))
    for name, sign, bound in (*_limits_of(studio), ("absorption", 1.0, np.inf)):
        mean, spread = law[name], np.full(len(shares), 1e-3)
        if name in JUDGED:
            mean, spread = _learned(studio, trials, name, points)
        told[name] = mean
        if np.isfinite(bound):
            edge = np.log(bound) if name in JUDGED else bound
            here = mean if name not in JUDGED else np.log(np.maximum(mean, 1e-6))
            chance = chance * norm.cdf(sign * (edge - here) / spread)
    told["chance"] = chance
    sold = int(_cheapest(studio, shares, told, 0.5)[0])
    money = shares @ studio.shipped.prices[:-1] * 0.27 + studio.truth.coats(told["absorption"]) * 0.95
    improving = int(np.argmax(chance * np.maximum(money.max() - money, 0.0)))
    return tuple(Blend(shares[k], float(water[k])) for k in (sold, improving))


def _learned(
    studio: Studio, trials: Sequence[Trial], name: str, points: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    if not trials:
        typical = {"demold_time": 40.0, "dry_strength": 40.0, "dry_mass": 380.0, "working_window": 9.0}
        center = typical.get(name, 88.0 if name == "whiteness" else 0.1)
        return np.full(len(points), center), np.full(len(points), 0.4)
    seen = np.log([max(_readings(t, studio.job.shop.mixing)[name], 1e-3) for t in trials])
    at = np.column_stack([_mixed(trials)[0], 2.0 * _mixed(trials)[1]])
    model = GaussianProcessRegressor(
        ConstantKernel(0.16) * RBF(0.5) + WhiteKernel(0.005), optimizer=None, normalize_y=False
    ).fit(at, seen - seen.mean())
    mean, spread = model.predict(points, return_std=True)
    return np.exp(mean + seen.mean()), spread


def _mixed(trials: Sequence[Trial]) -> tuple[np.ndarray, np.ndarray]:
    shares = np.array([[t.blend.get(name, 0.0) for name in NAMES] for t in trials])
    return shares, np.array([t.water_ratio for t in trials])


INFORMED: Final = "worth, heat known"
"""Strategy of an informed studio."""

STRATEGIES: Final[Mapping[str, Callable[[Studio, Sequence[Trial]], tuple[Blend, Blend]]]] = {
    "worth": by_worth,
    INFORMED: by_worth,
    "design again": by_design,
    "one factor": by_factor,
    "process from scratch": by_gaussian_process,
}
"""What is sold and what is cast next, by strategy."""


def run(seed: int, strategy: str, casts: int, catalogue: Catalogue) -> list[Outcome]:
    """Return what a strategy ends with after 0, 1 ... `casts` casts in one studio."""
    studio, trials, out = Studio(seed, catalogue, strategy == INFORMED), [], []
    for number in range(casts + 1):
        sold, tried = STRATEGIES[strategy](studio, trials)
        out.append(studio.outcome(strategy, number, sold))
        if number < casts:
            trials.append(studio.cast(number, tried))
    return out
