"""Invented materials, jobs and mixes: shipped specs shaken at random, limits around a mix that exists.

Nothing here is a real product; seeds make every instance repeatable.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.cases import cases_of
from optimizer.engine.grid_search import with_doses
from optimizer.formulation import Case, curved_rows, linear_rows
from optimizer.job import Candle, Job, Limit, Price, Shop, Vessel
from optimizer.materials import Catalogue, Figure, Material
from optimizer.problem import Problem, problem_of
from optimizer.property_model.microstructure import demand_of, per_liter
from optimizer.property_model.predict import cast_of, predict

Array = NDArray[np.float64]

BASES = {
    "binder": ("gypsum_cement", "molding_plaster", "white_csa_cement", "csa_cement", "rapid_set_mortar"),
    "filler": ("marble_flour", "silica_sand", "expanded_perlite", "hollow_glass"),
    "pigment": ("titanium_white",),
}
PLAIN_PRICES = {
    "gypsum_cement": 1.6,
    "molding_plaster": 0.9,
    "white_csa_cement": 1.9,
    "csa_cement": 1.4,
    "rapid_set_mortar": 0.7,
    "marble_flour": 0.5,
    "silica_sand": 0.3,
    "expanded_perlite": 6.0,
    "hollow_glass": 12.0,
    "titanium_white": 9.0,
}
SHAKEN = ("density", "water_demand", "set_initial", "set_final", "reflectance", "scattering", "dry_wet_ratio")
"""Figures of a material that are shaken; set times together."""


def shaken(material: Material, name: str, rng: np.random.Generator) -> Material:
    """Return a made-up relative of a material; of a gypsum, one no stronger in the same pores."""
    figures = dict(material.figures)
    gypsum = material.kind == "gypsum"
    pace = rng.lognormal(0.0, 0.2)
    for key in SHAKEN:
        if key in figures and not (gypsum and key in ("density", "water_demand")):
            factor = pace if key.startswith("set") else rng.lognormal(0.0, 0.05)
            figures[key] = _scaled(figures[key], factor, 0.97 if key == "reflectance" else np.inf)
    strength = rng.lognormal(0.0, 0.15) * (0.7 if gypsum else 1.0)
    strength = min(strength, 0.98) if gypsum else strength
    points = tuple(replace(p, strength=_scaled(p.strength, strength)) for p in material.reference_points)
    return replace(
        material,
        name=name,
        label=name,
        cement="",
        figures=figures,
        reference_points=points,
    )


def _scaled(figure: Figure, factor: float, most: float = np.inf) -> Figure:
    values = (min(x * factor, most) for x in (figure.value, figure.low, figure.high))
    value, low, high = values
    return replace(figure, value=value, low=min(low, value), high=max(high, value))


def invented_catalogue(catalogue: Catalogue, count: int, seed: int) -> tuple[Catalogue, dict[str, Price]]:
    """Return the catalogue with `count` made-up materials more, and their prices."""
    rng = np.random.default_rng(seed)
    roles = ["binder", "filler", "binder", "filler", "binder", "pigment"]
    materials, prices = dict(catalogue.materials), {}
    for k in range(count):
        bases = BASES[roles[k % len(roles)]]
        base = bases[int(rng.integers(len(bases)))]
        name = f"invented_{k}"
        materials[name] = shaken(catalogue[base], name, rng)
        prices[name] = Price(25.0, 25.0 * PLAIN_PRICES[base] * rng.lognormal(0.0, 0.25))
    return Catalogue(materials, catalogue.model, catalogue.sources), prices


def invented_problem(catalogue: Catalogue, count: int, seed: int, **changes: object) -> Problem:
    """Return a job over made-up materials with limits near the properties of some mix of three or four."""
    rng = np.random.default_rng(10_000 + seed)
    own, prices = invented_catalogue(catalogue, count, seed)
    shop = Shop(temperature=float(rng.uniform(18.0, 25.0)), damp_service=bool(rng.random() < 0.2))
    job = Job(
        title="invented",
        currency="EUR",
        materials=tuple(prices),
        vessel=Vessel(float(rng.uniform(180.0, 260.0))),
        shop=shop,
        candle=Candle(measured_outer=float(rng.uniform(40.0, 47.0))),
        prices=prices,
        at_most_materials=min(4, count),
    )
    problem = problem_of(replace(job, **changes), own)
    return problem.with_limits(limits_near(problem, rng))


def limits_near(problem: Problem, rng: np.random.Generator) -> tuple[Limit, ...]:
    """Return limits that some random mix meets, most of them not by much."""
    case = cases_of(problem)[-1]
    found = random_mixes(problem, case, rng, 300, held=False)
    values = predict(cast_of(problem.model, problem.conditions, found))
    usable = np.flatnonzero((values["dry_strength"] > 8.0) & np.isfinite(values["demold_time"]))
    at = int(rng.choice(usable)) if usable.size else 0
    wanted = (
        ("dry_strength", ">=", 0.97),
        ("working_window", ">=", 0.93),
        ("demold_time", "<=", 1.08),
        ("dry_mass", "<=", 1.01),
        ("whiteness", ">=", 0.99),
        ("heat_margin", ">=", 1.0),
    )
    limits = [
        Limit(name, sense, float(values[name][at]) * factor)
        for name, sense, factor in wanted
        if rng.random() < 0.75 and np.isfinite(values[name][at])
    ]
    return tuple(limits) or (Limit("dry_strength", ">=", 12.0),)


def random_mixes(
    problem: Problem, case: Case, rng: np.random.Generator, count: int, *, held: bool = True, most: int = 4
) -> Array:
    """Return random mixes of a case, shape (found, n + 1) [kg/L]; with `held` those that hold every row."""
    shares = np.zeros((count, len(problem.names)))
    binders = [k for k in problem.solids if problem.materials[k].role == "binder"]
    for row in shares:
        size = int(rng.integers(1, most + 1))
        others = rng.choice(problem.solids, min(size, len(problem.solids)), replace=False)
        chosen = sorted({int(rng.choice(binders)), *map(int, others)})[:most]
        row[chosen] = rng.dirichlet(np.full(len(chosen), rng.choice([0.5, 1.0, 3.0])))
    capped = np.minimum(shares, [bounds.most for bounds in problem.bounds])
    mixes = with_doses(problem, case, capped / capped.sum(axis=1, keepdims=True))
    dry = mixes[:, :-1] / mixes[:, :-1].sum(axis=1, keepdims=True)
    water = demand_of(problem.model, dry) * rng.uniform(1.0, 1.25, count)
    mixes = per_liter(problem.model, dry, water)
    if not held:
        return mixes
    rows, _ = curved_rows(problem, case, mixes)
    lines = linear_rows(problem, case)
    level = mixes @ lines.matrix.T
    keeps = (rows >= 0.0).all(axis=1) & (level >= lines.lower - 1e-12).all(axis=1)
    return np.asarray(mixes[keeps & (level <= lines.upper + 1e-12).all(axis=1)])
