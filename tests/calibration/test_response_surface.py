"""Where the chain is wrong: a planted error is found where it was put, and scatter is not taken for one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.calibration.fit import calibrate
from optimizer.calibration.response_surface import misfits, scheffe_names, scheffe_terms
from tests.calibration.studios import DAY, NAMES, World, blank, filled


def spread_trials(catalogue, seed, wrong):
    """Return 16 trials of gypsum cement with marble flour; `wrong` bends their dry strength by blend."""
    world = World(catalogue, seed)
    truth, out = world.truth(), []
    for number, flour in enumerate(np.repeat([0.0, 0.15, 0.3, 0.45], 4)):
        one = blank(number, {"gypsum_cement": 1.0 - flour, "marble_flour": flour}, 0.33)
        one = filled([one], catalogue, world.prior, truth, world.rng)[0]
        bent = tuple(replace(each, value=each.value * wrong(flour)) for each in one.strengths)
        out.append(replace(one, strengths=bent, date=DAY))
    return out


def test_a_hump_no_figure_can_take_up_is_found(catalogue):
    """Strength 60 % up in the middle of the range of flour only: no law of the chain has a hump."""
    fit = calibrate(spread_trials(catalogue, 41, lambda flour: 1.6 if 0.1 < flour < 0.4 else 1.0), catalogue)
    found = [one for one in misfits(fit) if "strength" in one.kind or "flexural" in one.kind]
    assert found
    worst = found[0]
    assert worst.chance < 0.01
    assert worst.blend.keys() <= set(NAMES)
    assert "near" in worst.sentence()


@pytest.mark.parametrize("seed", [43, 44, 45])
def test_scatter_is_not_taken_for_a_pattern(catalogue, seed):
    fit = calibrate(spread_trials(catalogue, seed, lambda flour: 1.0), catalogue)
    assert misfits(fit) == ()


def test_too_few_trials_lay_no_surface(catalogue):
    fit = calibrate(spread_trials(catalogue, 45, lambda flour: 2.0 if flour else 1.0)[:4], catalogue)
    assert misfits(fit) == ()


def test_terms_match_their_names():
    terms = scheffe_terms(np.array([[0.2, 0.3, 0.5]]))
    names = scheffe_names(("a", "b", "c"))
    known = {"a": 0.2, "b": 0.3, "c": 0.5}
    assert len(names) == terms.shape[1] == 6
    for name, term in zip(names, terms[0], strict=True):
        assert term == pytest.approx(np.prod([known[part] for part in name.split(" * ")]))
