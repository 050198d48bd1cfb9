"""Small helpers to evaluate blends by name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from optimizer.job import Job
from optimizer.materials import Catalogue
from optimizer.problem import Problem, problem_of
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.model import compile_model
from optimizer.property_model.parameters import DISCREPANT, ParameterSet
from optimizer.property_model.predict import PREDICTORS, Cast, cast_of, predict
from optimizer.property_model.samples import PRINTED, Samples, Straightening, points_of, samples_of

EVERYTHING = (
    "gypsum_cement",
    "molding_plaster",
    "rapid_set_mortar",
    "csa_cement",
    "white_csa_cement",
    "marble_flour",
    "silica_sand",
    "expanded_perlite",
    "hollow_glass",
    "titanium_white",
    "red_oxide",
    "citric_acid",
    "superplasticizer",
)


def all_materials(job: Job, catalogue: Catalogue) -> Problem:
    """Return the job's problem over every shipped material."""
    return problem_of(replace(job, materials=EVERYTHING), catalogue)


def with_figures(catalogue: Catalogue, name: str, **figures: float) -> Catalogue:
    """Return the catalogue with figures of one material set to a published case."""
    material = catalogue[name]
    changed = {
        key: replace(material.figures[key], value=value, low=value, high=value)
        for key, value in figures.items()
    }
    case = replace(material, figures={**material.figures, **changed})
    return replace(catalogue, materials={**catalogue.materials, name: case})


def shares_of(problem: Problem, blend: Mapping[str, float]) -> np.ndarray:
    """Return the shares of a blend by name, shape (1, n)."""
    parts = np.array([[blend.get(name, 0.0) for name in problem.names]])
    return parts / parts.sum()


def cast(problem: Problem, blend: Mapping[str, float], water_ratio: float | None = None) -> Cast:
    """Return the cast of one blend."""
    water = None if water_ratio is None else np.array([water_ratio])
    mix = per_liter(problem.model, shares_of(problem, blend), water)
    return cast_of(problem.model, problem.conditions, mix)


def values(
    problem: Problem, blend: Mapping[str, float], water_ratio: float | None = None
) -> dict[str, float]:
    """Return every property of one blend."""
    return {k: float(v[0]) for k, v in predict(cast(problem, blend, water_ratio)).items()}


def ranges(
    problem: Problem,
    there: Cast,
    names: Iterable[str] = tuple(PREDICTORS),
    parameters: ParameterSet | None = None,
) -> dict[str, tuple[float, float]]:
    """Return the 90 % ranges of properties of one cast, with other parameters than the problem's if given."""
    known = problem.samples.printed
    if parameters is not None:
        known = samples_of(problem.catalogue, problem.names, parameters, PRINTED)
    drawn = predict(known.cast(there.conditions, there.intended), names)
    return {name: ends_of(values) for name, values in drawn.items()}


def ends_of(values: np.ndarray) -> tuple[float, float]:
    """Return the 5 % and the 95 % point of draws; nan where they are none."""
    low, high = points_of(values, (0.05, 0.95))
    return float(low), float(high)


def plain_samples(problem: Problem, count: int, seed: int) -> Samples:
    """Return draws by a random generator, nothing stratified: what common draws are compared with."""
    rng = np.random.default_rng(seed)
    known, names = problem.parameters, problem.names
    fitted = Straightening(problem.catalogue, tuple(names), known).straightened(known.draws(count, seed + 1))
    departures = rng.standard_normal((count, len(DISCREPANT)))
    model = compile_model(problem.catalogue, names, known, fitted, departures)
    rest = [rng.standard_normal((count, *tail)) for tail in ((1, len(names) + 1), (1,), (1,))]
    return Samples(model, *rest)
