"""Whiteness of mixtures, as predicted: two-constant Kubelka-Munk by mass, then CIE lightness."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.certificate.limits import line_of
from optimizer.job import Limit
from optimizer.materials import Catalogue
from tests.property_model.helpers import all_materials, cast, values, with_figures

FIRST, SECOND = "gypsum_cement", "marble_flour"
GYPSUM, CSA = (0.90, 1.0), (0.55, 1.0)
TITANIUM, RED = (0.96, 20.0), (0.08, 15.0)
reflectances = st.floats(0.01, 0.99)


def problem_of_two(catalogue: Catalogue, job, first, second):
    """Return the problem with two powders of given (reflectance, scattering)."""
    for name, (reflected, scattering) in ((FIRST, first), (SECOND, second)):
        catalogue = with_figures(catalogue, name, reflectance=reflected, scattering=scattering)
    return all_materials(job, catalogue)


def white(problem, second_share):
    """Return the predicted lightness of a mixture of the two powders."""
    return values(problem, {FIRST: 1.0 - second_share, SECOND: second_share}, 0.4)["whiteness"]


def lightness_of(reflected):
    """Return CIE 1976 lightness by the colour library."""
    return float(colour.lightness(100.0 * reflected, method="CIE 1976"))


@pytest.mark.parametrize("reflected", [0.02, 0.2, 0.55, 0.85, 0.97])
def test_one_powder_alone_looks_as_its_reflectance_says_colour_lightness(catalogue, demo, reflected):
    problem = problem_of_two(catalogue, demo, (reflected, 3.0), GYPSUM)
    assert white(problem, 0.0) == pytest.approx(lightness_of(reflected), abs=1e-6)


@pytest.mark.parametrize(
    ("first", "second", "share", "expected"),
    [
        pytest.param((0.9, 1.0), (0.6, 1.0), 0.3, 0.74438, id="Kubelka-Munk-1931-single-constant"),
        pytest.param((0.9, 1.0), (0.6, 2.0), 0.3, 0.69953, id="Kubelka-Munk-1931-two-constant"),
        pytest.param(GYPSUM, CSA, 0.3, 0.710, id="own-arithmetic-70-gypsum"),
        pytest.param(GYPSUM, CSA, 0.5, 0.649, id="own-arithmetic-50-gypsum"),
        pytest.param(GYPSUM, CSA, 0.7, 0.603, id="own-arithmetic-30-gypsum"),
        pytest.param(GYPSUM, (0.35, 1.0), 0.1, 0.698, id="own-arithmetic-gray-in-gypsum"),
        pytest.param(GYPSUM, RED, 0.01, 0.33, id="own-arithmetic-red-oxide-in-gypsum"),
    ],
)
def test_two_powders(catalogue, demo, first, second, share, expected):
    """Averaging the first pair's reflectances would give 0.81."""
    found = white(problem_of_two(catalogue, demo, first, second), share)
    assert found == pytest.approx(lightness_of(expected), abs=0.1 if expected > 0.4 else 0.5)


def test_titanium_white_lifts_cement_with_falling_return(catalogue, demo):
    """Own arithmetic with default scattering: 0/1/2/3/5/10 % titanium white by mass."""
    problem = problem_of_two(catalogue, demo, CSA, TITANIUM)
    doses = (0.0, 0.01, 0.02, 0.03, 0.05, 0.10)
    wanted = [lightness_of(y) for y in (0.550, 0.579, 0.603, 0.623, 0.656, 0.713)]
    found = [white(problem, dose) for dose in doses]
    assert found == pytest.approx(wanted, abs=0.06)
    assert np.all(np.diff(np.diff(found) / np.diff(doses)) < 0.0)


@settings(max_examples=25)
@given(reflectances, reflectances, st.floats(0.1, 30.0), st.floats(0.0, 1.0))
def test_a_mixture_lies_between_its_parts(catalogue, demo, first, second, scattering, share):
    found = white(problem_of_two(catalogue, demo, (first, 1.0), (second, scattering)), share)
    ends = sorted((lightness_of(first), lightness_of(second)))
    assert ends[0] - 1e-6 <= found <= ends[1] + 1e-6


@settings(max_examples=25)
@given(reflectances, reflectances, st.floats(0.0, 1.0), st.floats(1.0, 99.0))
def test_the_row_of_the_proof_agrees_with_the_prediction(catalogue, demo, first, second, share, least):
    """What the proof holds as a linear row over the masses is the predicted lightness, exactly."""
    problem = problem_of_two(catalogue, demo, (first, 1.0), (second, 5.0))
    there = cast(problem, {FIRST: 1.0 - share, SECOND: share}, 0.4)
    sums = {name: problem.model.column(name) for name in ("absorb", "scatter")}
    line = line_of(problem, sums, Limit("whiteness", ">=", least), 0.0)
    assert line is not None
    found = white(problem, share)
    if abs(found - least) > 0.01:
        assert (float(there.mixes[0] @ line[0]) <= line[2]) == (found > least)
