"""The discrepancy that trials teach: against a reference library, in limits, and as casts see it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF

from optimizer.calibration.fit import calibrate
from optimizer.calibration.observe import expected, observe
from optimizer.calibration.process import LENGTH, TaughtDiscrepancy, chosen_supports
from optimizer.calibration.record import parameter_set
from optimizer.calibration.update import absorb
from optimizer.property_model.model import compile_model
from optimizer.property_model.parameters import PRIOR_SPREADS, parameters_of
from tests.calibration.studios import NAMES, TARGET, WATER, World, blank, cast, filled, values

SPREAD = PRIOR_SPREADS["strength"]
NOISE = 0.08


def mixes(count, seed):
    """Return coordinates of made-up mixes of the three materials."""
    rng = np.random.default_rng(seed)
    return np.column_stack([rng.dirichlet(np.ones(3), count), rng.uniform(0.5, 0.8, count)])


def test_values_at_supports_are_the_gaussian_process_of_scikit_learn():
    """Mean and standard deviation between eleven noisy readings, supports at all of them."""
    seen, asked = mixes(11, 1), mixes(7, 2)
    residual = 0.2 * np.random.default_rng(3).standard_normal(11)
    reference = GaussianProcessRegressor(SPREAD**2 * RBF(LENGTH), alpha=NOISE**2, optimizer=None)
    mean, spread = reference.fit(seen, residual).predict(asked, return_std=True)
    supports = seen[chosen_supports(seen)]
    ours = TaughtDiscrepancy(NAMES, supports, ("strength",), NAMES)
    rows = SPREAD * ours.basis(seen) / NOISE
    information, pull = absorb(np.eye(len(supports)), np.zeros(len(supports)), rows, residual / NOISE)
    covariance = np.linalg.inv(information)
    told = TaughtDiscrepancy(NAMES, supports, ("strength",), NAMES, {"strength": covariance @ pull})
    basis = told.basis(asked)
    whole = np.sqrt(told.sd("strength", asked) ** 2 + SPREAD**2 * np.sum(basis @ covariance * basis, axis=1))
    assert told.mean("strength", asked) == pytest.approx(mean, abs=2e-3)
    assert whole == pytest.approx(spread, abs=2e-3)


def test_what_no_trial_taught_keeps_its_spread():
    told = TaughtDiscrepancy(NAMES, mixes(3, 4), ("strength",), NAMES)
    assert told.sd("set", mixes(2, 5)) == pytest.approx([PRIOR_SPREADS["set"]] * 2)
    far = np.array([[9.0, -4.0, -4.0, 9.0]])
    assert told.sd("strength", far) == pytest.approx([SPREAD])
    assert told.sd("strength", told.supports) == pytest.approx(np.zeros(3), abs=1e-4)


def test_a_material_no_cast_held_is_far_from_all_casts():
    told = TaughtDiscrepancy(NAMES, mixes(3, 4), ("strength",))
    other = told.over((*NAMES, "white_csa_cement"))
    with_it = np.column_stack([0.2 * mixes(2, 6)[:, :3], [0.8, 0.8], [0.6, 0.6]])
    without = np.column_stack([mixes(2, 6)[:, :3], [0.0, 0.0], [0.6, 0.6]])
    assert np.all(other.sd("strength", with_it) > 0.9 * SPREAD)
    assert np.all(other.sd("strength", without) < 0.8 * SPREAD)


def test_a_cast_is_predicted_as_it_was_read_where_the_law_cannot(catalogue):
    """A blend a third stronger than any figure allows: the process takes up what figures do not."""
    prior = parameters_of(catalogue, NAMES)
    pure = [{"gypsum_cement": 1.0}, {"rapid_set_mortar": 1.0}]
    trials = [blank(k, blend, 0.33 if k == 0 else 0.25) for k, blend in enumerate(pure * 4)]
    trials = filled(
        [*trials, *(blank(20 + k, TARGET, WATER) for k in range(4))], catalogue, prior, prior.centers
    )

    stronger = [
        replace(one, strengths=tuple(replace(s, value=1.35 * s.value) for s in one.strengths))
        if len(one.portions) > 1
        else one
        for one in trials
    ]
    told = parameter_set(calibrate(stronger, catalogue).calibration, catalogue, NAMES)
    plain = values(cast(catalogue, prior))["dry_strength"]
    assert values(cast(catalogue, told))["dry_strength"] == pytest.approx(1.35 * plain, rel=0.06)


def test_leaving_a_cast_out_is_fitting_without_it(catalogue):
    """The lemma against brute force: the others fitted anew predict the wet density of the cast left out."""
    world = World(catalogue, 31)
    trials = [world.trial(number) for number in range(5)]
    fit = calibrate(trials, catalogue)
    (whole,) = (one for one in fit.left_out if one.kind == "fresh_density")
    errors = []
    for trial in trials:
        told = parameter_set(
            calibrate([t for t in trials if t is not trial], catalogue).calibration, catalogue, NAMES
        )

        evidence = replace(observe([trial], catalogue), names=NAMES)
        level = expected(evidence, compile_model(catalogue, NAMES, told, told.centers[None, :]))[0]
        errors.append(
            next(
                r.fitted - x
                for r, x in zip(evidence.readings, level, strict=True)
                if r.kind == "fresh_density"
            )
        )
    assert whole.after == pytest.approx(float(np.sqrt(np.mean(np.square(errors)))), rel=0.1)
    assert whole.readings == 5


def test_a_cast_with_its_bags_mixed_up_is_named(catalogue):

    world = World(catalogue, 13)
    trials = [world.trial(number) for number in range(8)]
    assert calibrate(trials, catalogue).unexplained == ()
    turned = replace(
        trials[4],
        portions=tuple(
            replace(one, material=other.material)
            for one, other in zip(trials[4].portions, trials[4].portions[::-1], strict=True)
        ),
    )
    odd = calibrate([*trials[:4], turned, *trials[5:]], catalogue).unexplained
    assert turned.id in {one.trial for one in odd}
