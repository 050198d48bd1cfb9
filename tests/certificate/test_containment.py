"""No mix that holds a job's rows may break a row of any relaxation: the relaxations' own arithmetic.

Random mixes are judged by the property chain, lifted into the columns of the relaxation and put through
every row, at the root and in random boxes and in-or-out choices that hold them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.certificate.assemble import relaxation_of, shifts_of
from optimizer.certificate.case_constants import EXCESS, SHORT
from optimizer.certificate.limits import _CURVED, LOWER
from optimizer.certificate.linear_bounds import ImpossibleError
from optimizer.certificate.relax import Relaxation
from optimizer.certificate.terms import Box
from optimizer.engine.cases import cases_of
from optimizer.formulation import Case
from optimizer.job import Candle, Limit
from optimizer.problem import Problem, problem_of
from optimizer.property_model.predict import cast_of, predict
from optimizer.property_model.strength import ln_end_strength
from tests.certificate.invented import invented_problem, random_mixes
from tests.property_model.helpers import EVERYTHING

LOOSE = (
    ("dry_strength", ">=", 0.5),
    ("wet_strength", ">=", 0.5),
    ("flexural_strength", ">=", 0.6),
    ("working_window", ">=", 0.4),
    ("working_window", "<=", 3.0),
    ("demold_time", "<=", 3.0),
    ("whiteness", ">=", 0.8),
    ("dry_mass", "<=", 1.2),
    ("drying_time", "<=", 1.5),
    ("crystalline_silica", "<=", 1.5),
    ("inner_wall_temperature", "<=", 1.05),
    ("outer_wall_temperature", "<=", 1.05),
    ("heat_margin", ">=", 1.0),
    ("absorption", "<=", 1.3),
    ("embodied_co2", "<=", 1.8),
    ("sealer_coats", "<=", 1.0),
    ("fresh_density", "<=", 1.3),
    ("demolded_mass", "<=", 1.3),
    ("porosity", "<=", 1.3),
)
"""Limits around one mix: property, sense, factor on its value there (heat margin: kelvin below)."""


def _problem(catalogue, demo, seed: int) -> Problem:
    if seed % 3:
        return invented_problem(catalogue, 6, seed)
    burned = None if seed % 2 else 44.0
    return problem_of(replace(demo, materials=EVERYTHING, candle=Candle(measured_outer=burned)), catalogue)


def _case(problem: Problem, rng: np.random.Generator) -> Case:
    """Return the case of most coats, every other time with some admixture."""
    cases = [case for case in cases_of(problem) if case.coats == max(c.coats for c in cases_of(problem))]
    dosed = [case for case in cases if 0.0 < sum(case.doses.values()) < 2e-3]
    plain = [case for case in cases if not any(case.doses.values())]
    return dosed[0] if dosed and rng.random() < 0.5 else plain[-1]


def _with_many_limits(problem: Problem, rng: np.random.Generator) -> Problem:
    case = _case(problem.with_limits(()), rng)
    mixes = random_mixes(problem.with_limits(()), case, rng, 400)
    values = predict(cast_of(problem.model, problem.conditions, mixes))
    usable = np.flatnonzero(np.isfinite(values["demold_time"]) & (values["dry_strength"] > 3.0))
    at = int(rng.choice(usable))
    limits = []
    for name, sense, factor in LOOSE:
        value = float(values[name][at])
        bound = value - 6.0 if name == "heat_margin" else value * factor
        if rng.random() < 0.6 and np.isfinite(bound):
            limits.append(Limit(name, sense, max(bound, 1e-3) if name == "crystalline_silica" else bound))
    return problem.with_limits(tuple(limits))


def _worst_row(relaxation: Relaxation, point: np.ndarray) -> float:
    """Return the worst violation of a row or column bound, over the size of its terms."""
    program = relaxation.program
    level = program.matrix @ point
    size = np.maximum(1.0, np.abs(program.matrix) @ np.abs(point))
    rows = np.maximum(program.row_lower - level, level - program.row_upper) / size
    columns = np.maximum(program.lower - point, point - program.upper)
    return float(max(rows.max(), columns.max()))


def _random_box(relaxation: Relaxation, point: np.ndarray, rng: np.random.Generator) -> Box:
    low, high = relaxation.root.low.copy(), relaxation.root.high.copy()
    for k, ratio in enumerate(relaxation.builder.layout.ratios):
        value = ratio.of(point)
        if not np.isfinite(value) or rng.random() < 0.3:
            continue
        width = high[k] - low[k] if np.isfinite(high[k] - low[k]) else 4.0
        near = rng.choice([0.0, 0.02, 0.3, 1.0], size=2) * width
        low[k], high[k] = max(low[k], value - near[0]), min(high[k], value + near[1])
    return Box(low, high)


def _random_flags(problem: Problem, mix: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    flags = np.full(len(problem.names), -1)
    powder = mix[:-1].sum()
    for k in problem.solids:
        if rng.random() < 0.5:
            used = mix[k] > 0.0
            flags[k] = 0 if not used else 1 if mix[k] >= problem.bounds[k].least * powder else -1
    return flags


def _mixes_of(problem: Problem, case: Case, regime: str, rng: np.random.Generator) -> np.ndarray:
    mixes = random_mixes(problem, case, rng, 600, most=problem.job.at_most_materials or 4)
    lean = mixes @ problem.model.column("sulfate") < 2.0 * (mixes @ problem.model.column("yeelimite"))
    return mixes[lean == (regime == SHORT)][:12]


@pytest.mark.parametrize("seed", range(9))
def test_every_mix_that_holds_the_limits_holds_the_relaxation(catalogue, demo, seed):
    rng = np.random.default_rng(seed)
    problem = _with_many_limits(_problem(catalogue, demo, seed), rng)
    case = _case(problem, rng)
    for regime in (EXCESS, SHORT):
        mixes = _mixes_of(problem, case, regime, rng)
        try:
            relaxation = relaxation_of(problem, case, regime, shifts_of({}))
        except ImpossibleError:
            assert not len(mixes)
            continue
        for mix in mixes:
            _hold(problem, relaxation, case, mix, rng)


def _hold(
    problem: Problem, relaxation: Relaxation, case: Case, mix: np.ndarray, rng: np.random.Generator
) -> None:
    point = relaxation.lift(mix)
    nothing_settled = np.full(len(problem.names), -1)
    relaxation.enter(case, relaxation.root, nothing_settled)
    assert _worst_row(relaxation, point) < 1e-7
    assert relaxation.solve().bound <= relaxation.goal @ point + 1e-9
    for turn in range(3):
        box = _random_box(relaxation, point, rng)
        relaxation.enter(case, box, _random_flags(problem, mix, rng), point if turn else None)
        assert _worst_row(relaxation, point) < 1e-7
        answer = relaxation.solve()
        assert answer.bound <= relaxation.goal @ point + 1e-9
        if answer.x.size:
            relaxation.sharpen(box, answer.x)
            assert _worst_row(relaxation, point) < 1e-7


@pytest.mark.parametrize("seed", range(0, 9, 2))
def test_lifted_columns_are_what_the_chain_says(catalogue, demo, seed):
    """The relaxation's own set time against the property chain's; its strength never below the chain's."""
    rng = np.random.default_rng(100 + seed)
    problem = _with_many_limits(_problem(catalogue, demo, seed), rng)
    problem = problem.with_limits(
        (*problem.job.limits, Limit("dry_strength", ">=", 0.01), Limit("demold_time", "<=", 1e4))
    )
    case = _case(problem, rng)
    damp = problem.job.shop.damp_service
    seen = 0
    for regime in (EXCESS, SHORT):
        for mix in _mixes_of(problem, case, regime, rng):
            relaxation = relaxation_of(problem, case, regime, shifts_of({}))
            point, names = relaxation.lift(mix), relaxation.builder.layout.names
            cast = cast_of(problem.model, problem.conditions, mix[None, :])
            hydrates = float(cast.body.hydrates[0])
            strength = float(ln_end_strength(problem.model, cast.body, damp=damp)[0])
            assert point[names["end strength"]] >= hydrates * strength - 1e-9
            if cast.body.gypsum_share[0] > 1.0 - 1e-12:
                assert point[names["end strength"]] == pytest.approx(hydrates * strength, abs=1e-9)
            assert point[names["final set"]] == pytest.approx(
                hydrates * np.log(cast.clock.final[0]), abs=1e-9
            )
            seen += 1
    assert seen


def test_every_relaxation_of_a_limit_is_put_to_random_mixes():
    """A law restated for the proof without a place in `LOOSE` would be held against nothing."""
    linear = {name for name, _, _ in LOOSE}
    assert set(_CURVED) - {(name, sense) for name, sense, _ in LOOSE} == set()
    assert {"dry_mass", "embodied_co2", "whiteness", "crystalline_silica", *LOWER} <= linear
