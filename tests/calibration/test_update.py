"""The update against hand-worked normal algebra, brute force, and sampling."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from optimizer.calibration.fit import Seen, calibrate
from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.observe import expected
from optimizer.calibration.outliers import Blocks, standardized, trust
from optimizer.calibration.readings import Reading
from optimizer.calibration.record import parameter_set
from optimizer.calibration.task import Task
from optimizer.calibration.update import Measured, Slopes, absorb, pulls, update
from optimizer.property_model.model import compile_model
from optimizer.property_model.samples import DrawSet, Straightening, standard_normals
from tests.calibration.studios import NAMES, World


def measured(value, error, shared=0.0, side=0, sizes=None):
    count = len(value)
    sizes = np.array([1] * count if sizes is None else sizes)
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    return Measured(
        np.asarray(value, float),
        np.full(count, error),
        np.full(count, shared),
        np.full(count, side),
        Blocks(starts, sizes),
    )


def straight(design):
    """Return the slopes of readings that are straight in the unknowns."""
    return lambda point: Slopes(design @ point, design)


def test_batch_is_one_by_one():
    rng = np.random.default_rng(1)
    rows, values = rng.standard_normal((30, 6)), rng.standard_normal(30)
    whole = absorb(np.eye(6), np.zeros(6), rows, values)
    state = np.eye(6), np.zeros(6)
    for k in rng.permutation(30):
        state = absorb(*state, rows[k : k + 1], values[k : k + 1])
    mean, batch = (np.linalg.solve(*one) for one in (state, whole))
    assert mean == pytest.approx(batch, abs=1e-12)


@pytest.mark.parametrize("shared", [0.0, 0.7], ids=["alone", "with a batch error"])
def test_straight_update_is_the_conjugate_normal_one(shared):
    """Own arithmetic: posterior covariance (I + X' R^-1 X)^-1 and mean, R with blocks of a batch error."""
    rng = np.random.default_rng(2)
    design, value = rng.standard_normal((8, 3)), 0.3 * rng.standard_normal(8)
    sizes = [3, 1, 2, 2]
    block = np.repeat(np.arange(4), sizes)
    errors = 0.25 * np.eye(8) + shared**2 * (block[:, None] == block)
    covariance = np.linalg.inv(np.eye(3) + design.T @ np.linalg.solve(errors, design))
    found = update(measured(value, 0.5, shared, sizes=sizes), straight(design), 3)
    assert found.covariance == pytest.approx(covariance, abs=1e-10)
    assert found.point == pytest.approx(covariance @ design.T @ np.linalg.solve(errors, value), abs=1e-9)


def test_distance_is_that_of_a_fit_without_the_block():
    """Brute force: leave each block out, fit again, and compare its readings with that fit."""
    rng = np.random.default_rng(3)
    design, value = rng.standard_normal((9, 3)), rng.standard_normal(9)
    shared, sizes = np.full(9, 0.6), [2, 3, 1, 3]
    block = np.repeat(np.arange(4), sizes)
    errors = np.eye(9) + 0.36 * (block[:, None] == block)
    covariance = np.linalg.inv(np.eye(3) + design.T @ np.linalg.solve(errors, design))
    point = covariance @ design.T @ np.linalg.solve(errors, value)
    blocks = Blocks(np.array([0, 2, 5, 6]), np.array(sizes))
    found = standardized(design, value - design @ point, shared, covariance, np.ones(4), blocks)
    for one in range(4):
        out, rest = block == one, block != one
        kept = errors[np.ix_(rest, rest)]
        alone = np.linalg.inv(np.eye(3) + design[rest].T @ np.linalg.solve(kept, design[rest]))
        other = alone @ design[rest].T @ np.linalg.solve(kept, value[rest])
        spread = np.sqrt(np.diag(design[out] @ alone @ design[out].T + errors[np.ix_(out, out)]))
        assert found[out] == pytest.approx((value[out] - design[out] @ other) / spread, abs=1e-9)


@pytest.mark.parametrize("side", [1, -1])
def test_a_bound_moves_the_mean_as_integration_says(side):
    """One standard normal unknown, held at 0.8 or broke at it, error 0.5.

    The answer has the mean and the spread of that lopsided density, exactly.
    """
    found = update(measured([0.8], 0.5, side=side), straight(np.ones((1, 1))), 1)

    def density(x):
        return norm.pdf(x) * norm.cdf(side * (x - 0.8) / 0.5)

    total = quad(density, -8, 8)[0]
    mean = quad(lambda x: x * density(x), -8, 8)[0] / total
    spread = np.sqrt(quad(lambda x: (x - mean) ** 2 * density(x), -8, 8)[0] / total)
    assert found.point[0] == pytest.approx(mean, abs=1e-5)
    assert np.sqrt(found.covariance[0, 0]) == pytest.approx(spread, rel=1e-5)


def test_pulls_of_readings_are_what_each_moved():
    """Brute force: the columns of C X' R^-1 of the conjugate normal update; together the whole move."""
    rng = np.random.default_rng(4)
    design, value = rng.standard_normal((6, 3)), 0.3 * rng.standard_normal(6)
    block = np.repeat(np.arange(3), [2, 3, 1])
    errors = 0.25 * np.eye(6) + 0.36 * (block[:, None] == block)
    covariance = np.linalg.inv(np.eye(3) + design.T @ np.linalg.solve(errors, design))
    readings = measured(value, 0.5, 0.6, sizes=[2, 3, 1])
    found = update(readings, straight(design), 3)
    moves = pulls(readings, found)
    for row in range(6):
        parts = (design[row] @ covariance @ np.linalg.solve(errors, design).T) * value
        assert moves(row) == pytest.approx(parts, abs=1e-8)
        assert moves(row).sum() == pytest.approx(design[row] @ found.point, abs=1e-8)


def test_a_bound_pulls_only_towards_its_side():
    found = update(measured([0.8], 0.5, side=1), straight(np.ones((1, 1))), 1)
    (own,) = pulls(measured([0.8], 0.5, side=1), found)(0)
    assert own == pytest.approx(found.point[0], abs=1e-6)
    assert own > 0.0


def test_a_wild_reading_pulls_less_the_wilder_it_is():
    design = np.ones((6, 1))
    calm = [0.1, -0.1, 0.2, 0.0, -0.2]
    points = [update(measured([*calm, wild], 0.3), straight(design), 1).point[0] for wild in (2.0, 4.0, 8.0)]
    assert points[0] > points[1] > points[2] > 0.0
    without = update(measured(calm, 0.3), straight(design[:5]), 1).point[0]
    assert points[2] == pytest.approx(without, abs=0.01)


def test_trust_is_full_for_ordinary_scatter():
    assert np.all(trust(np.linspace(-2.5, 2.5, 11)) == 1.0)
    assert np.all(np.diff(trust(np.linspace(2.5, 20.0, 50))) < 0.0)


WALKERS, STEPS, SETTLED, STEP = 120, 160, 40, 0.35
"""Chains side by side, their steps, those left out at the start, and the share of a step that is new."""


@pytest.fixture(scope="module")
def chain(catalogue):
    """Return three full trials as a task, its update, and what a Markov chain of the unknowns walked through.

    Preconditioned Crank-Nicolson steps (Cotter et al. 2013, from memory). Proposals keep the normal
    distribution of the answer, so that what is accepted depends on prior times likelihood over that
    distribution alone. Errors of a batch enter as a full covariance: the whitening is checked on the way.
    """
    world = World(catalogue, 77)
    task = Task(calibrate([world.trial(k) for k in range(3)], catalogue).evidence)
    assert not task.effects
    found = update(task.measured, task.slopes, task.unknowns)
    root = np.linalg.cholesky(found.covariance)
    rng = np.random.default_rng(5)
    normal = rng.standard_normal((WALKERS, task.unknowns))
    level = _surplus(task, catalogue, found.point + normal @ root.T, normal)
    kept, taken = [], []
    for step in range(STEPS):
        new = np.sqrt(1.0 - STEP**2) * normal + STEP * rng.standard_normal(normal.shape)
        there = _surplus(task, catalogue, found.point + new @ root.T, new)
        accepted = np.log(rng.uniform(size=WALKERS)) < there - level
        normal, level = np.where(accepted[:, None], new, normal), np.where(accepted, there, level)
        taken.append(accepted.mean())
        if step >= SETTLED:
            kept.append(normal)
    assert np.mean(taken) > 0.25, "the chains move"
    walked = np.array(kept)
    # own arithmetic: the means of halves of the walkers are alike, so the chains have settled
    first, second = np.split(walked.mean(axis=0), 2)
    assert np.abs(first.mean(axis=0) - second.mean(axis=0)).max() < 0.45
    return task, found, found.point + walked.reshape(-1, task.unknowns) @ root.T


def test_laplace_agrees_with_a_markov_chain(chain):
    _, found, draws = chain
    mean, spread = draws.mean(axis=0), draws.std(axis=0)
    told = np.sqrt(np.diag(found.covariance))
    assert np.max(np.abs(mean - found.point) / spread) < 0.35
    assert np.max(np.abs(told / spread - 1.0)) < 0.25
    assert np.median(np.abs(told / spread - 1.0)) < 0.06


def test_draws_expect_of_the_casts_what_a_markov_chain_does(chain, catalogue):
    """Both setting times, dry strength and whiteness of each cast: spreads within a sixth, means within half.

    Draws of the normal distribution alone spread up to twice as wide there.
    """
    task, _, draws = chain
    told = parameter_set(calibrate(task.evidence.trials, catalogue).calibration, catalogue, NAMES)
    normal = told.fitted_at(standard_normals(DrawSet(2048, 8), told.names))
    ours = Straightening(catalogue, tuple(NAMES), told).straightened(normal)
    level = _levels(task, catalogue, draws[::5])
    kinds = np.array([reading.kind for reading in task.readings])
    held = np.isin(kinds, ["initial_set", "final_set", "dry_strength", "whiteness"])

    def expected_of(values):
        return expected(task.evidence, compile_model(catalogue, NAMES, told, values))[:, task.order][:, held]

    mean, spread = level[:, held].mean(axis=0), level[:, held].std(axis=0)
    straight, plain = expected_of(ours), expected_of(normal)
    assert np.abs(straight.std(axis=0) / spread - 1.0).max() < 1.0 / 6.0
    assert np.abs((straight.mean(axis=0) - mean) / spread).max() < 0.5
    assert (plain.std(axis=0) / spread).max() > 1.3


def _levels(task, catalogue, draws):
    """Return what is expected of every reading at draws of the unknowns, shape (draws, readings)."""
    fitted = np.repeat(task.common.centers[None, :], len(draws), axis=0)
    count = len(task.active)
    fitted[:, task.active] += task.common.spreads[task.active] * draws[:, :count]
    model = compile_model(catalogue, NAMES, task.common, fitted)
    supports = len(task.discrepancy.supports)
    values = {
        name: draws[:, task.first_process + k * supports : task.first_process + (k + 1) * supports]
        for k, name in enumerate(task.discrepancy.taught)
    }
    model = replace(model, discrepancy=replace(task.discrepancy, values=values))
    level = expected(task.evidence, model)[:, task.order]
    bars = np.array([0.08 if reading.kind.endswith("flexural") else 0.0 for reading in task.readings])
    return level + draws[:, [task.first_process - 1]] * bars


def _surplus(task, catalogue, draws, normal):
    """Return ln of prior times likelihood at draws, less that of the normal distribution they come from."""
    level = _levels(task, catalogue, draws)
    block = task.measured.blocks.of_row
    errors = np.diag(task.measured.error**2)
    errors += np.outer(task.measured.shared, task.measured.shared) * (block[:, None] == block)
    residual = level - task.measured.value
    surprise = np.sum(residual * np.linalg.solve(errors, residual.T).T, axis=1)
    return -0.5 * (surprise + np.sum(draws**2, axis=1)) + 0.5 * np.sum(normal**2, axis=1)


def test_every_kind_of_reading_has_errors():
    assert all(kind.error > 0.0 and kind.batch > 0.0 for kind in KINDS.values())


@pytest.mark.parametrize(
    ("side", "before", "after", "worse"),
    [
        (0, 0.05, 0.0595, False),
        (0, 0.05, 0.0605, True),
        (0, -0.05, 0.0605, True),
        (0, 0.05, 0.0, False),
        (1, -0.05, -0.0520, False),
        (1, -0.05, -0.0530, True),
        (1, 0.05, 0.5, False),
        (-1, 0.05, 0.0530, True),
        (-1, 0.05, -0.5, False),
    ],
)
def test_a_fit_is_worse_where_it_moves_off_a_reading_by_a_fifth_of_its_error(side, before, after, worse):
    """Errors of 0.04 and 0.03 are 0.05 together; of a bound, on its wrong side, a twentieth is told."""
    reading = Reading("a", 0, "wet_strength", 20.0, 0.04, side)
    levels = (np.log(20.0) + before, np.log(20.0) + after)
    assert Seen(reading, 20.0, 20.0, 0.0, False, 1.0, levels).worse == worse
