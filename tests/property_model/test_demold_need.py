"""The need to leave the mold and how a thinner wall raises it: an elastic cup pinched at its rim."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.property_model.strength import bending_need
from tests.property_model.helpers import all_materials
from tests.property_model.pinched_cup import MODULUS, POISSON, amplitudes, pinch_stress, shapes

WALLS = np.array([4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0])


def rim_moves(n, wall, radius, height, load):
    """Return how far the rim moves under a load per length of it, even or a wave of `n` [mm]."""
    rim = shapes(1, np.array([1.0]), height)[0, :, 0]
    moved = amplitudes(n, wall, radius, height, load * rim * np.pi * radius * (1.0 if n else 2.0))
    return float(moved[-len(rim) :] @ rim)


def test_a_rim_pushed_evenly_moves_as_a_beam_on_its_hoops_timoshenko_from_memory():
    """Long cylinder, force Q per length of its edge: 2 b Q R2 / (E t), b4 = 3 (1 - nu2) / (R t)2."""
    radius, wall = 40.0, 2.0
    beam = (3.0 * (1.0 - POISSON**2) / (radius * wall) ** 2) ** 0.25
    expected = 2.0 * beam * radius**2 / (MODULUS * wall)
    assert rim_moves(0, wall, radius, 60.0, 1.0) == pytest.approx(expected, rel=0.02)


def test_a_thin_cup_bends_without_stretching_rayleigh_from_memory():
    """Rings that move in step with their height: the load does the work of their bending and twist."""
    n, radius, wall, height = 2, 40.0, 0.4, 95.0
    plate = MODULUS * wall**3 / 12.0 / (1.0 - POISSON**2)
    rings = (n**2 - 1) ** 2 / (3.0 * radius**4)
    twist = 2.0 * (1.0 - POISSON) * (n**2 - 1) ** 2 / (n**2 * radius**2 * height**2)
    expected = 1.0 / (plate * height * (rings + twist))
    assert rim_moves(n, wall, radius, height, 1.0) == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize("patch", [10.0, 20.0])
@pytest.mark.parametrize(("radius", "height"), [(36.0, 70.0), (38.5, 95.0), (45.0, 120.0)])
def test_a_pinched_cup_is_strained_nearly_as_the_square_of_a_thinner_wall(
    demo, catalogue, radius, height, patch
):
    stress = np.array([pinch_stress(wall, radius, height, patch) for wall in WALLS])
    model = all_materials(demo, catalogue).model
    need = np.array([float(bending_need(model, wall)) for wall in WALLS])
    powers, law = (-np.diff(np.log(each)) / np.diff(np.log(WALLS)) for each in (stress, need))
    np.testing.assert_allclose(law, 2.0)
    np.testing.assert_allclose(powers, law, atol=0.17)
    assert np.all(need > stress), "twenty newtons of two fingers break no vessel that may leave its mold"


def test_the_figure_lies_between_two_fingers_and_full_suction(catalogue):
    """Suction of one atmosphere on the demo's base, clamped and resting (circular plate, from memory)."""
    figure = catalogue.model["demold_bending"]
    fingers = [pinch_stress(8.0, patch=patch) for patch in (20.0, 10.0)]
    assert [round(each, 1) for each in fingers] == [0.5, 0.7]
    radius, atmosphere = 0.5 * (85.0 - 8.0), 0.101
    clamped, resting = (
        factor * atmosphere * (radius / 8.0) ** 2 for factor in (0.75, 3.0 * (3.0 + POISSON) / 8.0)
    )
    assert fingers[0] < figure.low <= fingers[1] * 1.05
    assert figure.value < clamped
    assert clamped < figure.high == pytest.approx(resting, rel=0.05)
