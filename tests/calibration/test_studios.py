"""Many made-up studios: error falls with trials, and 90 % ranges hold the truth nine times in ten."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

import numpy as np
import pytest

from optimizer.calibration.fit import calibrate
from optimizer.calibration.record import parameter_set
from tests.calibration.studios import NAMES, PROPERTIES, World, cast, ranges, values


def watch(catalogue, studios, counts):
    """Return the share of ranges that hold, and the relative errors, by number of trials."""
    held, errors = defaultdict(list), defaultdict(lambda: defaultdict(list))
    for seed in range(studios):
        world = World(catalogue, 1000 + seed)
        truth = world.target()
        trials = [world.trial(number) for number in range(max(counts))]
        for count in counts:
            parameters = world.prior
            if count:
                kept = calibrate(trials[:count], catalogue).calibration
                parameters = parameter_set(kept, catalogue, NAMES)
            expected, wide = values(cast(catalogue, parameters)), ranges(catalogue, parameters)
            for name in PROPERTIES:
                low, high = wide[name]
                held[count].append(low <= truth[name] <= high)
                errors[count][name].append(expected[name] / truth[name] - 1.0)
    return held, errors


def root(errors):
    return {name: float(np.sqrt(np.mean(np.square(column)))) for name, column in errors.items()}


def test_forty_studios(catalogue):
    """40 studios times 6 properties: the share that holds has a spread of some 3 points."""
    held, errors = watch(catalogue, 40, (0, 6))
    before, after = root(errors[0]), root(errors[6])
    # what the laws lack of the dry mass differs from blend to blend, by as much as the figures leave open
    left = {name: 0.7 if name == "dry_mass" else 0.5 for name in PROPERTIES}
    assert all(after[name] < left[name] * before[name] for name in PROPERTIES), (before, after)
    assert 0.82 <= np.mean(held[6]) <= 0.96


@pytest.mark.slow
def test_five_hundred_studios(catalogue):
    held, errors = watch(catalogue, 500, (0, 3, 6, 10))
    roots = [root(errors[count]) for count in (0, 3, 6, 10)]
    for fewer, more in pairwise(roots):
        assert all(more[name] < fewer[name] for name in PROPERTIES), (fewer, more)
    for count in (3, 6, 10):
        assert 0.87 <= np.mean(held[count]) <= 0.93, count
