"""Four studios and two casts of the closed loop; `python -m tests.benchmarks.closed_loop` runs it whole."""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.closed_loop.loop import NAMES, Studio, random_blends, run


@pytest.mark.slow
def test_two_casts_lead_to_good_blends(catalogue):
    ends = [run(seed, "worth", 2, catalogue)[-1] for seed in range(4)]
    assert sum(one.good for one in ends) >= 3
    # an optimum that touches its limits cannot be had surely by anyone who reads with errors
    assert np.median([one.over_reserve for one in ends]) < 0.06
    held = [inside for one in ends for inside in one.held.values()]
    assert np.mean(held) > 0.7


def test_the_truth_is_a_studio(catalogue):
    """More water is weaker, wetter and lighter, and the optimum is no worse than what it starts from."""
    studio = Studio(3, catalogue)
    shares, water = random_blends(np.random.default_rng(0), 400, studio.shipped)
    true, wetter = studio.truth.of(shares, water), studio.truth.of(shares, 1.1 * water)
    assert np.mean(wetter.dry_strength < true.dry_strength) > 0.95, "thinned stone may strengthen a little"
    assert np.all(wetter.absorption > true.absorption)
    assert np.all(wetter.demolded_mass < true.demolded_mass)
    assert np.all(true.demold_time >= true.final_set)
    good = studio.missed(true) <= 0.002
    assert not good.any() or studio.best_cost <= studio.cost(shares, true)[good].min() + 1e-9
    assert set(NAMES) == set(studio.job.materials)
