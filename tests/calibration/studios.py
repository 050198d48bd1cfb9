"""Studios made up for the checks: true figures drawn from the priors, trials read with real lab errors."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.observe import expected, observe
from optimizer.job import Job, Vessel
from optimizer.materials import Catalogue
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.model import compile_model
from optimizer.property_model.parameters import ParameterSet, parameters_of
from optimizer.property_model.predict import PREDICTORS, Cast, cast_of, conditions_of
from optimizer.property_model.samples import Straightening
from optimizer.trials.records import Portion, Strength, Trial, Weighing

NAMES = ("gypsum_cement", "rapid_set_mortar", "marble_flour")
DAY = dt.date(2026, 3, 2)
TARGET = {"gypsum_cement": 0.55, "rapid_set_mortar": 0.25, "marble_flour": 0.20}
WATER = 0.31
BENCH = conditions_of(Job("studio", "", (), Vessel(215.0)))


def blank(
    number: int, blend: Mapping[str, float], water: float = WATER, lots: Mapping[str, str] | None = None
) -> Trial:
    """Return a trial with every reading a careful studio takes, still to be filled in."""
    return Trial(
        DAY + dt.timedelta(days=number),
        id=f"t{number:03d}",
        portions=tuple(Portion(name, 500.0 * s, (lots or {}).get(name, "")) for name, s in blend.items()),
        water=500.0 * water,
        cavity_volume=215.0,
        fresh_density=1.8,
        initial_set=14.0,
        final_set=22.0,
        whiteness=80.0,
        weighings=(Weighing(0.0, 400.0), Weighing(2.0, 365.0), Weighing(3.0, 365.0)),
        strengths=(
            Strength(20.0, 1440.0, "wet", "compressive", "cube"),
            Strength(30.0, None, "dry", "compressive", "cube"),
            Strength(6.0, None, "dry", "flexural", "bent bar"),
        ),
    )


def filled(
    trials: Sequence[Trial],
    catalogue: Catalogue,
    parameters: ParameterSet,
    truth: np.ndarray,
    rng: np.random.Generator | None = None,
) -> list[Trial]:
    """Return trials with readings as the chain at `truth` has them; with `rng`, read with lab errors."""
    evidence = replace(observe(trials, catalogue), names=NAMES)
    level = expected(evidence, compile_model(catalogue, NAMES, parameters, truth[None, :]))[0]
    batch: dict[tuple[int, str], float] = {}
    read: list[dict[str, list[float]]] = [{} for _ in evidence.trials]
    for reading, value in zip(evidence.readings, level, strict=True):
        kind = KINDS[reading.kind]
        if rng is not None:
            shared = batch.setdefault((reading.place, kind.group), rng.standard_normal())
            error = kind.error_of(float(np.exp(value))) if kind.absolute else reading.error
            value = value + kind.batch * shared + error * rng.standard_normal()
        natural = float(np.exp(value)) if kind.log else float(value)
        read[reading.place].setdefault(reading.kind, []).append(natural)
    return [_with_readings(trial, values) for trial, values in zip(evidence.trials, read, strict=True)]


def _with_readings(trial: Trial, values: dict[str, list[float]]) -> Trial:
    plain = {
        name: values[name][0]
        for name in ("fresh_density", "initial_set", "final_set", "whiteness")
        if name in values
    }
    strengths = tuple(
        replace(
            one, value=values[f"{one.state}_{'flexural' if one.kind == 'flexural' else 'strength'}"].pop(0)
        )
        for one in trial.strengths
    )
    weighings = trial.weighings
    if "demolded_mass" in values:
        first = values["demolded_mass"][0]
        last = first * values["dry_share"][0]
        weighings = (Weighing(0.0, first), Weighing(2.0, last), Weighing(3.0, last))
    return replace(trial, **plain, strengths=strengths, weighings=weighings)


@dataclass(frozen=True)
class World:
    """The figures of one made-up studio."""

    catalogue: Catalogue
    seed: int

    @cached_property
    def prior(self) -> ParameterSet:
        return parameters_of(self.catalogue, NAMES)

    @cached_property
    def rng(self) -> np.random.Generator:
        return np.random.default_rng(self.seed)

    @cached_property
    def normal(self) -> np.ndarray:
        return self.rng.standard_normal(len(self.prior))

    def truth(self) -> np.ndarray:
        """Return the true figures of the studio."""
        return np.asarray(self.prior.centers + self.normal * self.prior.spreads)

    def trial(self, number: int) -> Trial:
        """Return one trial of a blend somewhere about."""
        gypsum = self.rng.uniform(0.3, 0.8)
        mortar = self.rng.uniform(0.05, 0.95 - gypsum)
        blend = dict(zip(NAMES, (gypsum, mortar, 1.0 - gypsum - mortar), strict=True))
        water = 0.33 * gypsum + 0.25 * (1.0 - gypsum) + self.rng.uniform(-0.01, 0.03)
        return filled([blank(number, blend, water)], self.catalogue, self.prior, self.truth(), self.rng)[0]

    def target(self) -> dict[str, float]:
        """Return what the blend of interest truly does."""
        return values(cast(self.catalogue, self.prior, self.truth()))


def cast(catalogue: Catalogue, parameters: ParameterSet, fitted: np.ndarray | None = None) -> Cast:
    """Return the blend of interest cast with the figures at `fitted`, or at their centers."""
    model = compile_model(catalogue, NAMES, parameters, fitted)
    shares = np.array([[TARGET[name] for name in NAMES]])
    return cast_of(model, BENCH, per_liter(model, shares, np.array([WATER])))


PROPERTIES = ("fresh_density", "dry_mass", "wet_strength", "dry_strength", "working_window", "whiteness")


def values(there: Cast) -> dict[str, float]:
    """Return the properties of a cast."""
    return {name: float(np.ravel(PREDICTORS[name](there))[0]) for name in PROPERTIES}


def ranges(catalogue: Catalogue, parameters: ParameterSet) -> dict[str, tuple[float, float]]:
    """Return the 90 % ranges that the figures give the blend of interest."""
    drawn = Straightening(catalogue, tuple(NAMES), parameters).straightened(parameters.draws(1000, seed=3))
    model = compile_model(catalogue, NAMES, parameters, drawn)
    mix = cast(catalogue, parameters).mixes[:1]
    there = cast_of(model, BENCH, mix.reshape(1, -1))
    return {
        name: tuple(map(float, np.quantile(PREDICTORS[name](there), (0.05, 0.95)))) for name in PROPERTIES
    }
